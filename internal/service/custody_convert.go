package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func custodyFrom(p *problems, m *pb.CustodyChange) *ledger.Custody {
	return &ledger.Custody{
		Entry:          entryFrom(p, "custodyChanges", m.GetName(), m.GetEntry()),
		Tool:           p.reference("tool", "tools", m.GetTool()),
		Kind:           word[ledger.CustodyKind](m.GetKind()),
		Site:           p.site("site", m.GetSite()),
		Holder:         p.reference("holder", "people", m.GetHolder()),
		OverrideBy:     p.reference("override_by", "people", m.GetOverrideBy()),
		OverrideReason: m.GetOverrideReason(),
	}
}

func custodyTo(r *ledger.Custody) *pb.CustodyChange {
	return &pb.CustodyChange{
		Name:           ledger.RecordResource(r),
		Tool:           resourceName("tools", r.Tool),
		Kind:           pb.CustodyKind(r.Kind),
		Site:           resourceName("sites", r.Site),
		Holder:         resourceName("people", r.Holder),
		Entry:          entryTo(r.Entry),
		OverrideBy:     resourceName("people", r.OverrideBy),
		OverrideReason: r.OverrideReason,
	}
}
