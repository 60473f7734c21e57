package cli

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) towerCommand() *cobra.Command {
	n := towerNoun()
	return group("tower", "Towers of a site", n.add(a), a.towerList(), n.show(a), n.set(a))
}

func towerNoun() *noun[*pb.Tower] {
	return &noun[*pb.Tower]{
		word: "tower", plural: "towers", arg: "SITE/TOWER",
		help:     "SITE/TOWER is its place, such as RVB/CT2.",
		columns:  towerColumns,
		name:     placeName(2),
		fresh:    func() *pb.Tower { return &pb.Tower{} },
		fields:   towerFields,
		required: []string{"material"},
		create: func(ctx context.Context, conn *grpc.ClientConn, name string, t *pb.Tower) (*pb.Tower, error) {
			return pb.NewStructureServiceClient(conn).CreateTower(ctx, &pb.CreateTowerRequest{Parent: parentOf(name), TowerId: lastOf(name), Tower: t})
		},
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Tower, error) {
			return pb.NewStructureServiceClient(conn).GetTower(ctx, &pb.GetTowerRequest{Name: name})
		},
		update: func(ctx context.Context, conn *grpc.ClientConn, name string, t *pb.Tower, mask *fieldmaskpb.FieldMask) (*pb.Tower, error) {
			t.Name = name
			return pb.NewStructureServiceClient(conn).UpdateTower(ctx, &pb.UpdateTowerRequest{Tower: t, UpdateMask: mask})
		},
	}
}

// placeColumns are the columns of a place: one for each part in JSON and CSV, as
// the import format has them, and the short form in the table.
func placeColumns[T any](depth int, heading string, name func(T) string) []output.Column[T] {
	place := func(t T) ledger.Place {
		p, err := ledger.ParsePlaceResource(name(t))
		if err != nil {
			return ledger.Place{}
		}
		return p
	}
	columns := []output.Column[T]{
		{Name: "site", Value: func(t T) any { return text(place(t).Site) }},
		{Name: "tower", Value: func(t T) any { return text(place(t).Tower) }},
		{Name: "cell", Value: func(t T) any { return text(place(t).Cell) }},
		{Name: "joint", Value: func(t T) any { return text(place(t).Joint) }},
	}[:depth]
	return append([]output.Column[T]{{Heading: heading, Value: func(t T) any { return place(t).String() }}}, columns...)
}

func towerColumns() []output.Column[*pb.Tower] {
	columns := placeColumns(2, "TOWER", (*pb.Tower).GetName)
	columns = append(columns, []output.Column[*pb.Tower]{
		{Name: "material", Heading: "MATERIAL", Value: func(t *pb.Tower) any { return text(wordOf(ledger.Materials, t.GetMaterial())) }},
		{Name: "drawing", Heading: "DRAWING", Value: func(t *pb.Tower) any { return text(t.GetDrawing()) }},
		{Name: "planned_start", Heading: "PLANNED START", Value: func(t *pb.Tower) any { return text(t.GetPlannedStart()) }},
		{Name: "planned_finish", Heading: "PLANNED FINISH", Value: func(t *pb.Tower) any { return text(t.GetPlannedFinish()) }},
	}...)
	return append(columns, stamped[*pb.Tower]()...)
}

func towerFields(cmd *cobra.Command, t *pb.Tower) *fields {
	f := newFields(cmd)
	wordField(f, &t.Material, ledger.Materials, "material", "material", "material of the structure")
	f.text(&t.Drawing, "drawing", "drawing", "drawing reference")
	f.text(&t.PlannedStart, "planned-start", "planned_start", "planned start of erection, YYYY-MM-DD")
	f.text(&t.PlannedFinish, "planned-finish", "planned_finish", "planned finish, YYYY-MM-DD")
	return f
}

func (a *app) towerList() *cobra.Command {
	var limit int
	cmd := a.command("list [SITE]", "List towers", "SITE is the current one when it is left out (trackctl at). A / stands for all sites,\nand so does nothing where no current place is kept.")
	limitFlag(cmd, &limit)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		parent, err := a.listPlace(args, 1)
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewStructureServiceClient(conn)
		return list(a, limit, "towers", towerColumns(), func(size int32, token string) ([]*pb.Tower, string, error) {
			page, err := client.ListTowers(ctx, &pb.ListTowersRequest{Parent: parent, PageSize: size, PageToken: token})
			return page.GetTowers(), page.GetNextPageToken(), err
		})
	})
}
