package cli

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"jointledger/internal/cli/output"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) cellCommand() *cobra.Command {
	n := cellNoun()
	return group("cell", "Cells of a tower", n.add(a), a.cellList(), n.show(a), n.set(a))
}

func cellNoun() *noun[*pb.Cell] {
	return &noun[*pb.Cell]{
		word: "cell", plural: "cells", arg: "SITE/TOWER/CELL",
		help:    "SITE/TOWER/CELL is its place, such as RVB/CT2/C3.",
		columns: cellColumns,
		name:    placeName(3),
		fresh:   func() *pb.Cell { return &pb.Cell{} },
		fields: func(cmd *cobra.Command, c *pb.Cell) *fields {
			f := newFields(cmd)
			f.text(&c.Description, "description", "description", "free text")
			return f
		},
		create: func(ctx context.Context, conn *grpc.ClientConn, name string, c *pb.Cell) (*pb.Cell, error) {
			return pb.NewStructureServiceClient(conn).CreateCell(ctx, &pb.CreateCellRequest{Parent: parentOf(name), CellId: lastOf(name), Cell: c})
		},
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Cell, error) {
			return pb.NewStructureServiceClient(conn).GetCell(ctx, &pb.GetCellRequest{Name: name})
		},
		update: func(ctx context.Context, conn *grpc.ClientConn, name string, c *pb.Cell, mask *fieldmaskpb.FieldMask) (*pb.Cell, error) {
			c.Name = name
			return pb.NewStructureServiceClient(conn).UpdateCell(ctx, &pb.UpdateCellRequest{Cell: c, UpdateMask: mask})
		},
	}
}

func cellColumns() []output.Column[*pb.Cell] {
	columns := placeColumns(3, "CELL", (*pb.Cell).GetName)
	columns = append(columns, output.Column[*pb.Cell]{Name: "description", Heading: "DESCRIPTION", Value: func(c *pb.Cell) any { return text(c.GetDescription()) }})
	return append(columns, stamped[*pb.Cell]()...)
}

func (a *app) cellList() *cobra.Command {
	var limit int
	cmd := a.command("list [PLACE]", "List cells", "PLACE is a site or a tower. "+everyPlaceHelp)
	limitFlag(cmd, &limit)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		parent, err := a.listPlace(args, 2)
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewStructureServiceClient(conn)
		return list(a, limit, "cells", cellColumns(), func(size int32, token string) ([]*pb.Cell, string, error) {
			page, err := client.ListCells(ctx, &pb.ListCellsRequest{Parent: parent, PageSize: size, PageToken: token})
			return page.GetCells(), page.GetNextPageToken(), err
		})
	})
}
