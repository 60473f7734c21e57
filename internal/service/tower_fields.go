package service

import "jointledger/internal/ledger"

var towerFields = []field[ledger.Tower]{
	{"material", func(dst, src *ledger.Tower) { dst.Material = src.Material }},
	{"drawing", func(dst, src *ledger.Tower) { dst.Drawing = src.Drawing }},
	{"planned_start", func(dst, src *ledger.Tower) { dst.PlannedStart = src.PlannedStart }},
	{"planned_finish", func(dst, src *ledger.Tower) { dst.PlannedFinish = src.PlannedFinish }},
}
