package service

import "jointledger/internal/ledger"

var cellFields = []field[ledger.Cell]{
	{"description", func(dst, src *ledger.Cell) { dst.Description = src.Description }},
}
