package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func towerFrom(_ *problems, m *pb.Tower) ledger.Tower {
	return ledger.Tower{
		Material:      word[ledger.Material](m.GetMaterial()),
		Drawing:       m.GetDrawing(),
		PlannedStart:  m.GetPlannedStart(),
		PlannedFinish: m.GetPlannedFinish(),
	}
}

func towerTo(t ledger.Tower) *pb.Tower {
	return &pb.Tower{
		Name:          t.Place.Resource(),
		Material:      pb.Material(t.Material),
		Drawing:       t.Drawing,
		PlannedStart:  t.PlannedStart,
		PlannedFinish: t.PlannedFinish,
		Etag:          etagOf(t.Version),
		CreateTime:    timestamp(t.CreateTime),
		UpdateTime:    timestamp(t.UpdateTime),
	}
}

var towerFields = []field[ledger.Tower]{
	{"material", func(dst, src *ledger.Tower) { dst.Material = src.Material }},
	{"drawing", func(dst, src *ledger.Tower) { dst.Drawing = src.Drawing }},
	{"planned_start", func(dst, src *ledger.Tower) { dst.PlannedStart = src.PlannedStart }},
	{"planned_finish", func(dst, src *ledger.Tower) { dst.PlannedFinish = src.PlannedFinish }},
}

func towerName(p *problems, field, name string) ledger.Place {
	return p.placeOf(field, name, 2, false)
}
