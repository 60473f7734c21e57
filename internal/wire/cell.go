package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// CellFrom reads a cell that a client asks for, without its name.
func CellFrom(_ *Problems, m *pb.Cell) ledger.Cell {
	return ledger.Cell{Description: m.GetDescription()}
}

// CellTo writes a cell.
func CellTo(c ledger.Cell) *pb.Cell {
	return &pb.Cell{
		Name:        c.Place.Resource(),
		Description: c.Description,
		Etag:        EtagOf(c.Version),
		CreateTime:  Timestamp(c.CreateTime),
		UpdateTime:  Timestamp(c.UpdateTime),
	}
}

// CellName reads the full resource name of a cell in a field; it must be given.
func CellName(p *Problems, field, name string) ledger.Place {
	return p.PlaceOf(field, name, 3, false)
}
