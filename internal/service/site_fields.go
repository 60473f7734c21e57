package service

import (
	"strings"

	"jointledger/internal/ledger"
)

var siteFields = []field[ledger.Site]{
	{"display_name", func(dst, src *ledger.Site) { dst.Name = src.Name }},
	{"region", func(dst, src *ledger.Site) { dst.Region = src.Region }},
	{"time_zone", func(dst, src *ledger.Site) { dst.TimeZone = src.TimeZone }},
	{"status", func(dst, src *ledger.Site) { dst.Status = src.Status }},
	{"unit_preference", func(dst, src *ledger.Site) { dst.Units = src.Units }},
}

// tag is a part of a place as a request to create gives it; letters are taken as
// capitals, as in every place.
func tag(id string) string { return strings.ToUpper(id) }
