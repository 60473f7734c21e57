package csvfolder

import (
	"context"

	"google.golang.org/grpc"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func cells() *kind {
	return &kind{
		file:    cellsFile,
		needs:   []string{"sites.csv", "towers.csv"},
		columns: join(required("site", "tower", "cell"), optional("description")),
		fields:  map[string]string{"parent": "tower", "cell_id": "cell", "name": "cell"},
		read:    readCells,
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewStructureServiceClient(conn).BatchCreateCells(ctx, &pb.BatchCreateCellsRequest{
				Requests: messages[*pb.CreateCellRequest](batch), ValidateOnly: validateOnly}))
		},
	}
}

const (
	cellsFile  = "cells.csv"
	jointsFile = "joints.csv"
)

// readCells gives the cells of cells.csv, which may be missing, and those that
// joints.csv names besides.
func readCells(f *folder, k *kind, problems *csvfile.Problems, emit func(*Item) error) error {
	seen := map[string]bool{}
	if f.has(cellsFile) {
		err := f.scan(k, problems, func(row *csvfile.Row) error {
			p := place(row, 3)
			item := newItem(row, p.Resource(), &pb.CreateCellRequest{
				Parent: p.Parent().Resource(), CellId: p.Last(), Cell: &pb.Cell{Description: row.Text("description")}})
			if item == nil {
				return nil
			}
			seen[item.Name] = true
			return emit(item)
		})
		if err != nil {
			return err
		}
	}
	implied, err := impliedCells(f, seen)
	if err != nil {
		return err
	}
	for _, item := range implied {
		if err := emit(item); err != nil {
			return err
		}
	}
	return nil
}

// impliedCells gives the cells that joints.csv names and that were not seen yet;
// none when joints.csv can't be taken, since nothing of such a file is.
func impliedCells(f *folder, seen map[string]bool) ([]*Item, error) {
	if !f.has(jointsFile) {
		return nil, nil
	}
	var implied []*Item
	var problems csvfile.Problems
	k := joints()
	err := f.scan(k, &problems, func(row *csvfile.Row) error {
		if k.decode(row) == nil {
			return nil
		}
		p := place(row, 4).Parent()
		if seen[p.Resource()] {
			return nil
		}
		seen[p.Resource()] = true
		implied = append(implied, impliedCell(row, p))
		return nil
	})
	if err != nil || problems.Count() == 0 || f.options.KeepGood {
		return implied, err
	}
	for _, item := range implied {
		f.checkedOnly[item.Name] = true
	}
	return nil, nil
}

func impliedCell(row *csvfile.Row, p ledger.Place) *Item {
	return &Item{
		Name:    p.Resource(),
		Message: &pb.CreateCellRequest{Parent: p.Parent().Resource(), CellId: p.Last(), Cell: &pb.Cell{}},
		rows:    []*csvfile.Row{row},
		implied: true,
	}
}
