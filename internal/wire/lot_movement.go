package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// LotMovementFrom reads a lot movement that a client made, without what only the server says.
func LotMovementFrom(p *Problems, m *pb.LotMovement) *ledger.LotMovement {
	return &ledger.LotMovement{
		Entry:     EntryFrom(p, "lotMovements", m.GetName(), m.GetEntry()),
		Lot:       p.Reference("lot", "lots", m.GetLot()),
		Site:      p.Site("site", m.GetSite()),
		Kind:      Word[ledger.MovementKind](m.GetKind()),
		Quantity:  m.GetQuantity(),
		Reference: m.GetReference(),
		HandledBy: m.GetHandledBy(),
	}
}

// LotMovementTo writes a lot movement.
func LotMovementTo(r *ledger.LotMovement) *pb.LotMovement {
	return &pb.LotMovement{
		Name:      ledger.RecordResource(r),
		Lot:       ResourceName("lots", r.Lot),
		Site:      ResourceName("sites", r.Site),
		Kind:      pb.MovementKind(r.Kind),
		Quantity:  r.Quantity,
		Reference: r.Reference,
		HandledBy: r.HandledBy,
		Entry:     EntryTo(r.Entry),
	}
}
