package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// CustodyFrom reads a change of custody that a client made, without what only the server says.
func CustodyFrom(p *Problems, m *pb.CustodyChange) *ledger.Custody {
	return &ledger.Custody{
		Entry:          EntryFrom(p, "custodyChanges", m.GetName(), m.GetEntry()),
		Tool:           p.Reference("tool", "tools", m.GetTool()),
		Kind:           Word[ledger.CustodyKind](m.GetKind()),
		Site:           p.Site("site", m.GetSite()),
		Holder:         p.Reference("holder", "people", m.GetHolder()),
		OverrideBy:     p.Reference("override_by", "people", m.GetOverrideBy()),
		OverrideReason: m.GetOverrideReason(),
	}
}

// CustodyTo writes a change of custody.
func CustodyTo(r *ledger.Custody) *pb.CustodyChange {
	return &pb.CustodyChange{
		Name:           ledger.RecordResource(r),
		Tool:           ResourceName("tools", r.Tool),
		Kind:           pb.CustodyKind(r.Kind),
		Site:           ResourceName("sites", r.Site),
		Holder:         ResourceName("people", r.Holder),
		Entry:          EntryTo(r.Entry),
		OverrideBy:     ResourceName("people", r.OverrideBy),
		OverrideReason: r.OverrideReason,
	}
}
