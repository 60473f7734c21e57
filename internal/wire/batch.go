package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// BatchFrom reads a batch of a consumable that a client asks for, without its name.
func BatchFrom(_ *Problems, m *pb.Batch) ledger.Batch {
	b := ledger.Batch{
		Kind:       Word[ledger.ConsumableKind](m.GetKind()),
		Product:    m.GetProduct(),
		ExpireDate: m.GetExpireDate(),
	}
	if m != nil {
		b.MinimumCelsius, b.MaximumCelsius = Copied(m.MinimumCelsius), Copied(m.MaximumCelsius)
	}
	return b
}

// BatchTo writes a batch of a consumable.
func BatchTo(b ledger.Batch) *pb.Batch {
	return &pb.Batch{
		Name:           ResourceName("batches", b.Number),
		Kind:           pb.ConsumableKind(b.Kind),
		Product:        b.Product,
		ExpireDate:     b.ExpireDate,
		MinimumCelsius: Copied(b.MinimumCelsius),
		MaximumCelsius: Copied(b.MaximumCelsius),
		Etag:           EtagOf(b.Version),
		CreateTime:     Timestamp(b.CreateTime),
		UpdateTime:     Timestamp(b.UpdateTime),
	}
}

// BatchName reads the full resource name of a batch of a consumable in a field; it must be given.
func BatchName(p *Problems, field, name string) string { return p.Required(field, "batches", name) }
