package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func cellFrom(_ *problems, m *pb.Cell) ledger.Cell {
	return ledger.Cell{Description: m.GetDescription()}
}

func cellTo(c ledger.Cell) *pb.Cell {
	return &pb.Cell{
		Name:        c.Place.Resource(),
		Description: c.Description,
		Etag:        etagOf(c.Version),
		CreateTime:  timestamp(c.CreateTime),
		UpdateTime:  timestamp(c.UpdateTime),
	}
}

var cellFields = []field[ledger.Cell]{
	{"description", func(dst, src *ledger.Cell) { dst.Description = src.Description }},
}

func cellName(p *problems, field, name string) ledger.Place {
	return p.placeOf(field, name, 3, false)
}
