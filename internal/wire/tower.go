package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// TowerFrom reads a tower that a client asks for, without its name.
func TowerFrom(_ *Problems, m *pb.Tower) ledger.Tower {
	return ledger.Tower{
		Material:      Word[ledger.Material](m.GetMaterial()),
		Drawing:       m.GetDrawing(),
		PlannedStart:  m.GetPlannedStart(),
		PlannedFinish: m.GetPlannedFinish(),
	}
}

// TowerTo writes a tower.
func TowerTo(t ledger.Tower) *pb.Tower {
	return &pb.Tower{
		Name:          t.Place.Resource(),
		Material:      pb.Material(t.Material),
		Drawing:       t.Drawing,
		PlannedStart:  t.PlannedStart,
		PlannedFinish: t.PlannedFinish,
		Etag:          EtagOf(t.Version),
		CreateTime:    Timestamp(t.CreateTime),
		UpdateTime:    Timestamp(t.UpdateTime),
	}
}

// TowerName reads the full resource name of a tower in a field; it must be given.
func TowerName(p *Problems, field, name string) ledger.Place {
	return p.PlaceOf(field, name, 2, false)
}
