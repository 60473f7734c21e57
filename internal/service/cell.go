package service

import (
	"context"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var cells = thing[ledger.Cell, ledger.Place, *pb.Cell, *pb.CreateCellRequest]{
	what:    "cell",
	message: (*pb.CreateCellRequest).GetCell,
	from:    wire.CellFrom,
	to:      wire.CellTo,
	identify: func(p *problems, r *pb.CreateCellRequest, c *ledger.Cell) {
		if c.Place = p.PlaceOf("parent", r.Parent, 2, false); c.Place.Depth() == 2 {
			c.Place.Cell = tag(r.CellId)
		}
	},
	parse:    wire.CellName,
	key:      func(c ledger.Cell) ledger.Place { return c.Place },
	resource: func(c ledger.Cell) string { return c.Place.Resource() },
	validate: ledger.Cell.Validate,
	fields:   cellFields,
	register: (*store.Store).RegisterCells,
	get:      (*store.Store).Cell,
	update:   (*store.Store).UpdateCell,
}

// CreateCell registers a cell.
func (s structureService) CreateCell(ctx context.Context, r *pb.CreateCellRequest) (*pb.Cell, error) {
	return cells.create(ctx, s.Services, r)
}

// BatchCreateCells registers many and answers for each.
func (s structureService) BatchCreateCells(ctx context.Context, r *pb.BatchCreateCellsRequest) (*pb.BatchCreateCellsResponse, error) {
	outcomes, err := cells.createBatch(ctx, s.Services, r.Requests, r.ValidateOnly)
	return &pb.BatchCreateCellsResponse{Outcomes: outcomes}, err
}

// GetCell reads one cell.
func (s structureService) GetCell(ctx context.Context, r *pb.GetCellRequest) (*pb.Cell, error) {
	return cells.fetch(ctx, s.Services, r.Name)
}

// ListCells pages through the cells of its parent.
func (s structureService) ListCells(ctx context.Context, r *pb.ListCellsRequest) (*pb.ListCellsResponse, error) {
	var p problems
	filter := store.PlaceFilter{Within: p.PlaceOf("parent", r.Parent, 2, true)}
	items, next, err := listPage(r, p, func(page store.Page) ([]ledger.Cell, string, error) {
		return s.store.Cells(ctx, filter, page)
	}, wire.CellTo)
	return &pb.ListCellsResponse{Cells: items, NextPageToken: next}, err
}

// UpdateCell changes the fields in the mask.
func (s structureService) UpdateCell(ctx context.Context, r *pb.UpdateCellRequest) (*pb.Cell, error) {
	return cells.change(ctx, s.Services, r, r.Cell)
}
