package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func fastenerFrom(m *pb.Fastener) ledger.Fastener {
	return ledger.Fastener{
		Thread:            m.GetThread(),
		LengthMillimetres: m.GetLengthMillimetres(),
		Material:          word[ledger.Material](m.GetMaterial()),
		PropertyClass:     m.GetPropertyClass(),
		Coating:           m.GetCoating(),
		Head:              m.GetHead(),
	}
}

func fastenerTo(f ledger.Fastener) *pb.Fastener {
	return &pb.Fastener{
		Thread:            f.Thread,
		LengthMillimetres: f.LengthMillimetres,
		Material:          pb.Material(f.Material),
		PropertyClass:     f.PropertyClass,
		Coating:           f.Coating,
		Head:              f.Head,
	}
}

// fastenerFields are the fields of the fastener in a thing that has one.
func fastenerFields[T any](of func(*T) *ledger.Fastener) []field[T] {
	part := func(path string, copy func(dst, src *ledger.Fastener)) field[T] {
		return field[T]{path, func(dst, src *T) { copy(of(dst), of(src)) }}
	}
	return []field[T]{
		part("fastener", func(dst, src *ledger.Fastener) { *dst = *src }),
		part("fastener.thread", func(dst, src *ledger.Fastener) { dst.Thread = src.Thread }),
		part("fastener.length_millimetres", func(dst, src *ledger.Fastener) { dst.LengthMillimetres = src.LengthMillimetres }),
		part("fastener.material", func(dst, src *ledger.Fastener) { dst.Material = src.Material }),
		part("fastener.property_class", func(dst, src *ledger.Fastener) { dst.PropertyClass = src.PropertyClass }),
		part("fastener.coating", func(dst, src *ledger.Fastener) { dst.Coating = src.Coating }),
		part("fastener.head", func(dst, src *ledger.Fastener) { dst.Head = src.Head }),
	}
}
