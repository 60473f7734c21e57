package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// ToolFrom reads a tool that a client asks for, without its name.
func ToolFrom(p *Problems, m *pb.Tool) ledger.Tool {
	t := ledger.Tool{
		Kind:                   Word[ledger.ToolKind](m.GetKind()),
		TypeClass:              m.GetTypeClass(),
		MinimumNewtonMetres:    m.GetMinimumNewtonMetres(),
		MaximumNewtonMetres:    m.GetMaximumNewtonMetres(),
		ResolutionNewtonMetres: m.GetResolutionNewtonMetres(),
		HomeSite:               p.Site("home_site", m.GetHomeSite()),
		IntervalMonths:         int(m.GetIntervalMonths()),
		IntervalCycles:         int(m.GetIntervalCycles()),
		DueAfterEvent:          true,
	}
	t.RatedLoadKilograms = m.GetRatedLoadKilograms()
	for _, policy := range m.GetPolicies() {
		t.Policies = append(t.Policies, ledger.Policy{
			Action:     Word[ledger.PolicyAction](policy.GetAction()),
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

// ToolTo writes a tool.
func ToolTo(t ledger.Tool) *pb.Tool {
	return &pb.Tool{
		Name:                   ResourceName("tools", t.Serial),
		Kind:                   pb.ToolKind(t.Kind),
		TypeClass:              t.TypeClass,
		MinimumNewtonMetres:    t.MinimumNewtonMetres,
		MaximumNewtonMetres:    t.MaximumNewtonMetres,
		ResolutionNewtonMetres: t.ResolutionNewtonMetres,
		HomeSite:               ResourceName("sites", t.HomeSite),
		IntervalMonths:         int32(t.IntervalMonths),
		IntervalCycles:         int32(t.IntervalCycles),
		DueAfterEvent:          new(t.DueAfterEvent),
		Etag:                   EtagOf(t.Version),
		CreateTime:             Timestamp(t.CreateTime),
		UpdateTime:             Timestamp(t.UpdateTime),
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

// ToolName reads the full resource name of a tool in a field; it must be given.
func ToolName(p *Problems, field, name string) string { return p.Required(field, "tools", name) }
