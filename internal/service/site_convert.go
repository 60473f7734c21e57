package service

import (
	"strings"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func siteFrom(_ *problems, m *pb.Site) ledger.Site {
	return ledger.Site{
		Name:     m.GetDisplayName(),
		Region:   m.GetRegion(),
		TimeZone: m.GetTimeZone(),
		Status:   or(word[ledger.SiteStatus](m.GetStatus()), ledger.SiteActive),
		Units:    or(word[ledger.UnitPreference](m.GetUnitPreference()), ledger.UnitsSI),
	}
}

func siteTo(s ledger.Site) *pb.Site {
	return &pb.Site{
		Name:           resourceName("sites", s.Code),
		DisplayName:    s.Name,
		Region:         s.Region,
		TimeZone:       s.TimeZone,
		Status:         pb.SiteStatus(s.Status),
		UnitPreference: pb.UnitPreference(s.Units),
		Etag:           etagOf(s.Version),
		CreateTime:     timestamp(s.CreateTime),
		UpdateTime:     timestamp(s.UpdateTime),
	}
}

var siteFields = []field[ledger.Site]{
	{"display_name", func(dst, src *ledger.Site) { dst.Name = src.Name }},
	{"region", func(dst, src *ledger.Site) { dst.Region = src.Region }},
	{"time_zone", func(dst, src *ledger.Site) { dst.TimeZone = src.TimeZone }},
	{"status", func(dst, src *ledger.Site) { dst.Status = src.Status }},
	{"unit_preference", func(dst, src *ledger.Site) { dst.Units = src.Units }},
}

func siteName(p *problems, field, name string) string {
	return p.placeOf(field, name, 1, false).Site
}

// tag is a part of a place as a request to create gives it; letters are taken as
// capitals, as in every place.
func tag(id string) string { return strings.ToUpper(id) }
