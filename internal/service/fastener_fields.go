package service

import "jointledger/internal/ledger"

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
