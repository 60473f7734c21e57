package service

import "jointledger/internal/ledger"

var jointFields = []field[ledger.Joint]{
	{"kind", func(dst, src *ledger.Joint) { dst.Kind = src.Kind }},
	{"critical", func(dst, src *ledger.Joint) { dst.Critical = src.Critical }},
	{"part_a", func(dst, src *ledger.Joint) { dst.PartA = src.PartA }},
	{"part_b", func(dst, src *ledger.Joint) { dst.PartB = src.PartB }},
	{"specification", func(dst, src *ledger.Joint) { dst.Specification = src.Specification }},
	{"fasteners", func(dst, src *ledger.Joint) { dst.Fasteners = src.Fasteners }},
}
