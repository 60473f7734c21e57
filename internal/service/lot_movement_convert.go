package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func lotMovementFrom(p *problems, m *pb.LotMovement) *ledger.LotMovement {
	return &ledger.LotMovement{
		Entry:     entryFrom(p, "lotMovements", m.GetName(), m.GetEntry()),
		Lot:       p.reference("lot", "lots", m.GetLot()),
		Site:      p.site("site", m.GetSite()),
		Kind:      word[ledger.MovementKind](m.GetKind()),
		Quantity:  m.GetQuantity(),
		Reference: m.GetReference(),
		HandledBy: m.GetHandledBy(),
	}
}

func lotMovementTo(r *ledger.LotMovement) *pb.LotMovement {
	return &pb.LotMovement{
		Name:      ledger.RecordResource(r),
		Lot:       resourceName("lots", r.Lot),
		Site:      resourceName("sites", r.Site),
		Kind:      pb.MovementKind(r.Kind),
		Quantity:  r.Quantity,
		Reference: r.Reference,
		HandledBy: r.HandledBy,
		Entry:     entryTo(r.Entry),
	}
}
