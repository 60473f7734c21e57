package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// ToolCheckFrom reads a tool check that a client made, without what only the server says.
func ToolCheckFrom(p *Problems, m *pb.ToolCheck) *ledger.ToolCheck {
	return &ledger.ToolCheck{
		Entry:       EntryFrom(p, "toolChecks", m.GetName(), m.GetEntry()),
		Tool:        p.Reference("tool", "tools", m.GetTool()),
		Site:        p.Site("site", m.GetSite()),
		Action:      Word[ledger.PolicyAction](m.GetAction()),
		Result:      Word[ledger.InspectionResult](m.GetResult()),
		Certificate: m.GetCertificate(),
	}
}

// ToolCheckTo writes a tool check.
func ToolCheckTo(r *ledger.ToolCheck) *pb.ToolCheck {
	return &pb.ToolCheck{
		Name:        ledger.RecordResource(r),
		Tool:        ResourceName("tools", r.Tool),
		Site:        ResourceName("sites", r.Site),
		Action:      pb.ToolAction(r.Action),
		Result:      pb.InspectionResult(r.Result),
		Certificate: r.Certificate,
		Entry:       EntryTo(r.Entry),
	}
}
