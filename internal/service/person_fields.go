package service

import "jointledger/internal/ledger"

var personFields = []field[ledger.Person]{
	{"display_name", func(dst, src *ledger.Person) { dst.Name = src.Name }},
	{"employer", func(dst, src *ledger.Person) { dst.Employer = src.Employer }},
	{"home_site", func(dst, src *ledger.Person) { dst.HomeSite = src.HomeSite }},
	{"roles", func(dst, src *ledger.Person) { dst.Roles = src.Roles }},
	{"qualifications", func(dst, src *ledger.Person) { dst.Qualifications = src.Qualifications }},
}
