package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func toolCheckFrom(p *problems, m *pb.ToolCheck) *ledger.ToolCheck {
	return &ledger.ToolCheck{
		Entry:       entryFrom(p, "toolChecks", m.GetName(), m.GetEntry()),
		Tool:        p.reference("tool", "tools", m.GetTool()),
		Site:        p.site("site", m.GetSite()),
		Action:      word[ledger.PolicyAction](m.GetAction()),
		Result:      word[ledger.InspectionResult](m.GetResult()),
		Certificate: m.GetCertificate(),
	}
}

func toolCheckTo(r *ledger.ToolCheck) *pb.ToolCheck {
	return &pb.ToolCheck{
		Name:        ledger.RecordResource(r),
		Tool:        resourceName("tools", r.Tool),
		Site:        resourceName("sites", r.Site),
		Action:      pb.ToolAction(r.Action),
		Result:      pb.InspectionResult(r.Result),
		Certificate: r.Certificate,
		Entry:       entryTo(r.Entry),
	}
}
