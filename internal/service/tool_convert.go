package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func toolFrom(p *problems, m *pb.Tool) ledger.Tool {
	t := ledger.Tool{
		Kind:                   word[ledger.ToolKind](m.GetKind()),
		TypeClass:              m.GetTypeClass(),
		MinimumNewtonMetres:    m.GetMinimumNewtonMetres(),
		MaximumNewtonMetres:    m.GetMaximumNewtonMetres(),
		ResolutionNewtonMetres: m.GetResolutionNewtonMetres(),
		HomeSite:               p.site("home_site", m.GetHomeSite()),
		IntervalMonths:         int(m.GetIntervalMonths()),
		IntervalCycles:         int(m.GetIntervalCycles()),
		DueAfterEvent:          true,
	}
	t.RatedLoadKilograms = m.GetRatedLoadKilograms()
	for _, policy := range m.GetPolicies() {
		t.Policies = append(t.Policies, ledger.Policy{
			Action:     word[ledger.PolicyAction](policy.GetAction()),
			Months:     int(policy.GetMonths()),
			Days:       int(policy.GetDays()),
			Cycles:     int(policy.GetCycles()),
			AfterEvent: policy.GetAfterEvent(),
			EachShift:  policy.GetEachShift(),
		})
	}
	if m != nil && m.DueAfterEvent != nil {
		t.DueAfterEvent = *m.DueAfterEvent
	}
	return t
}

func toolTo(t ledger.Tool) *pb.Tool {
	return &pb.Tool{
		Name:                   resourceName("tools", t.Serial),
		Kind:                   pb.ToolKind(t.Kind),
		TypeClass:              t.TypeClass,
		MinimumNewtonMetres:    t.MinimumNewtonMetres,
		MaximumNewtonMetres:    t.MaximumNewtonMetres,
		ResolutionNewtonMetres: t.ResolutionNewtonMetres,
		HomeSite:               resourceName("sites", t.HomeSite),
		IntervalMonths:         int32(t.IntervalMonths),
		IntervalCycles:         int32(t.IntervalCycles),
		DueAfterEvent:          new(t.DueAfterEvent),
		Etag:                   etagOf(t.Version),
		CreateTime:             timestamp(t.CreateTime),
		UpdateTime:             timestamp(t.UpdateTime),
		RatedLoadKilograms:     t.RatedLoadKilograms,
		Policies:               policiesTo(t.Policies),
	}
}

func policiesTo(policies []ledger.Policy) []*pb.ToolPolicy {
	var out []*pb.ToolPolicy
	for _, p := range policies {
		out = append(out, &pb.ToolPolicy{
			Action:     pb.ToolAction(p.Action),
			Months:     int32(p.Months),
			Days:       int32(p.Days),
			Cycles:     int32(p.Cycles),
			AfterEvent: p.AfterEvent,
			EachShift:  p.EachShift,
		})
	}
	return out
}

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

func toolName(p *problems, field, name string) string { return p.required(field, "tools", name) }
