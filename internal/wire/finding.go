package wire

import (
	"jointledger/internal/rules"
	pb "jointledger/proto/jointledger/v1"
)

// FindingTo writes a finding.
func FindingTo(f rules.Finding) *pb.Finding {
	return &pb.Finding{
		Rule:     f.Rule,
		Severity: pb.Severity(f.Severity),
		Message:  f.Message,
		Figure:   Copied(f.Figure),
		Limit:    Copied(f.Limit),
		Unit:     f.Unit,
		Source:   f.Source,
	}
}

// FindingsTo writes a findings.
func FindingsTo(found []rules.Finding) []*pb.Finding {
	var out []*pb.Finding
	for _, f := range found {
		out = append(out, FindingTo(f))
	}
	return out
}

// FindingFrom reads a finding as a server gives it.
func FindingFrom(m *pb.Finding) rules.Finding {
	f := rules.Finding{
		Rule:     m.GetRule(),
		Severity: Word[rules.Severity](m.GetSeverity()),
		Message:  m.GetMessage(),
		Unit:     m.GetUnit(),
		Source:   m.GetSource(),
	}
	if m != nil {
		f.Figure, f.Limit = Copied(m.Figure), Copied(m.Limit)
	}
	return f
}

// FindingsFrom reads findings in their order.
func FindingsFrom(found []*pb.Finding) []rules.Finding {
	var out []rules.Finding
	for _, m := range found {
		out = append(out, FindingFrom(m))
	}
	return out
}
