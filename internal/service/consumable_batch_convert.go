package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func batchFrom(_ *problems, m *pb.Batch) ledger.Batch {
	b := ledger.Batch{
		Kind:       word[ledger.ConsumableKind](m.GetKind()),
		Product:    m.GetProduct(),
		ExpireDate: m.GetExpireDate(),
	}
	if m != nil {
		b.MinimumCelsius, b.MaximumCelsius = copied(m.MinimumCelsius), copied(m.MaximumCelsius)
	}
	return b
}

func batchTo(b ledger.Batch) *pb.Batch {
	return &pb.Batch{
		Name:           resourceName("batches", b.Number),
		Kind:           pb.ConsumableKind(b.Kind),
		Product:        b.Product,
		ExpireDate:     b.ExpireDate,
		MinimumCelsius: copied(b.MinimumCelsius),
		MaximumCelsius: copied(b.MaximumCelsius),
		Etag:           etagOf(b.Version),
		CreateTime:     timestamp(b.CreateTime),
		UpdateTime:     timestamp(b.UpdateTime),
	}
}

var batchFields = []field[ledger.Batch]{
	{"kind", func(dst, src *ledger.Batch) { dst.Kind = src.Kind }},
	{"product", func(dst, src *ledger.Batch) { dst.Product = src.Product }},
	{"expire_date", func(dst, src *ledger.Batch) { dst.ExpireDate = src.ExpireDate }},
	{"minimum_celsius", func(dst, src *ledger.Batch) { dst.MinimumCelsius = src.MinimumCelsius }},
	{"maximum_celsius", func(dst, src *ledger.Batch) { dst.MaximumCelsius = src.MaximumCelsius }},
}

func batchName(p *problems, field, name string) string { return p.required(field, "batches", name) }
