package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// LotFrom reads a lot that a client asks for, without its name.
func LotFrom(_ *Problems, m *pb.Lot) ledger.Lot {
	return ledger.Lot{
		Supplier:    m.GetSupplier(),
		Heat:        m.GetHeat(),
		Fastener:    FastenerFrom(m.GetFastener()),
		Description: m.GetDescription(),
		State:       Or(Word[ledger.LotState](m.GetState()), ledger.LotReleased),
	}
}

// LotTo writes a lot.
func LotTo(l ledger.Lot) *pb.Lot {
	return &pb.Lot{
		Name:        ResourceName("lots", l.Number),
		Supplier:    l.Supplier,
		Heat:        l.Heat,
		Fastener:    FastenerTo(l.Fastener),
		Description: l.Description,
		State:       pb.LotState(l.State),
		Etag:        EtagOf(l.Version),
		CreateTime:  Timestamp(l.CreateTime),
		UpdateTime:  Timestamp(l.UpdateTime),
	}
}

// LotName reads the full resource name of a lot in a field; it must be given.
func LotName(p *Problems, field, name string) string { return p.Required(field, "lots", name) }
