package service

import "jointledger/internal/ledger"

var batchFields = []field[ledger.Batch]{
	{"kind", func(dst, src *ledger.Batch) { dst.Kind = src.Kind }},
	{"product", func(dst, src *ledger.Batch) { dst.Product = src.Product }},
	{"expire_date", func(dst, src *ledger.Batch) { dst.ExpireDate = src.ExpireDate }},
	{"minimum_celsius", func(dst, src *ledger.Batch) { dst.MinimumCelsius = src.MinimumCelsius }},
	{"maximum_celsius", func(dst, src *ledger.Batch) { dst.MaximumCelsius = src.MaximumCelsius }},
}
