package service

import "jointledger/internal/ledger"

var toolFields = []field[ledger.Tool]{
	{"kind", func(dst, src *ledger.Tool) { dst.Kind = src.Kind }},
	{"type_class", func(dst, src *ledger.Tool) { dst.TypeClass = src.TypeClass }},
	{"minimum_newton_metres", func(dst, src *ledger.Tool) { dst.MinimumNewtonMetres = src.MinimumNewtonMetres }},
	{"maximum_newton_metres", func(dst, src *ledger.Tool) { dst.MaximumNewtonMetres = src.MaximumNewtonMetres }},
	{"resolution_newton_metres", func(dst, src *ledger.Tool) { dst.ResolutionNewtonMetres = src.ResolutionNewtonMetres }},
	{"home_site", func(dst, src *ledger.Tool) { dst.HomeSite = src.HomeSite }},
	{"interval_months", func(dst, src *ledger.Tool) { dst.IntervalMonths = src.IntervalMonths }},
	{"interval_cycles", func(dst, src *ledger.Tool) { dst.IntervalCycles = src.IntervalCycles }},
	{"rated_load_kilograms", func(dst, src *ledger.Tool) { dst.RatedLoadKilograms = src.RatedLoadKilograms }},
	{"policies", func(dst, src *ledger.Tool) { dst.Policies = src.Policies }},
	{"due_after_event", func(dst, src *ledger.Tool) { dst.DueAfterEvent = src.DueAfterEvent }},
}
