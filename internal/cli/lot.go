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

func (a *app) lotCommand() *cobra.Command {
	n := lotNoun()
	return group("lot", "Fastener lots and their stock", n.add(a), a.lotList(), n.show(a), n.set(a), a.lotStock(), a.lotWhere())
}

func lotNoun() *noun[*pb.Lot] {
	return &noun[*pb.Lot]{
		word: "lot", plural: "lots", arg: "LOT",
		help:     "LOT is its number: letters, digits, dots, underscores and hyphens.",
		columns:  lotColumns,
		name:     collectionName("lots"),
		fresh:    func() *pb.Lot { return &pb.Lot{Fastener: &pb.Fastener{}} },
		fields:   lotFields,
		required: []string{"supplier", "thread", "material"},
		create: func(ctx context.Context, conn *grpc.ClientConn, name string, l *pb.Lot) (*pb.Lot, error) {
			return pb.NewLotServiceClient(conn).CreateLot(ctx, &pb.CreateLotRequest{LotId: lastOf(name), Lot: l})
		},
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Lot, error) {
			return pb.NewLotServiceClient(conn).GetLot(ctx, &pb.GetLotRequest{Name: name})
		},
		update: func(ctx context.Context, conn *grpc.ClientConn, name string, l *pb.Lot, mask *fieldmaskpb.FieldMask) (*pb.Lot, error) {
			l.Name = name
			return pb.NewLotServiceClient(conn).UpdateLot(ctx, &pb.UpdateLotRequest{Lot: l, UpdateMask: mask})
		},
	}
}

func lotColumns() []output.Column[*pb.Lot] {
	type lot = *pb.Lot
	columns := []output.Column[lot]{
		{Name: "lot", Heading: "LOT", Value: func(l lot) any { return ledger.ShortName(l.GetName()) }},
		{Name: "supplier", Heading: "SUPPLIER", Value: func(l lot) any { return l.GetSupplier() }},
		{Name: "heat", Heading: "HEAT", Value: func(l lot) any { return text(l.GetHeat()) }},
	}
	columns = append(columns, fastenerColumns(lot.GetFastener)...)
	columns = append(columns, []output.Column[lot]{
		{Name: "description", Value: func(l lot) any { return text(l.GetDescription()) }},
		{Name: "state", Heading: "STATE", Value: func(l lot) any { return text(wordOf(ledger.LotStates, l.GetState())) }},
	}...)
	return append(columns, stamped[lot]()...)
}

func lotFields(cmd *cobra.Command, l *pb.Lot) *fields {
	f := newFields(cmd)
	f.text(&l.Supplier, "supplier", "supplier", "supplier")
	f.text(&l.Heat, "heat", "heat", "heat number")
	f.fastener(l.Fastener, "fastener")
	f.text(&l.Description, "description", "description", "free text")
	wordField(f, &l.State, ledger.LotStates, "state", "state", "whether it may be used; what quarantines a lot is hold place --lot, and its release ends that")
	return f
}

func (a *app) lotList() *cobra.Command {
	var limit int
	request := &pb.ListLotsRequest{}
	cmd := a.command("list", "List fastener lots", "")
	limitFlag(cmd, &limit)
	f := newFields(cmd)
	f.text(&request.Supplier, "supplier", "supplier", "only of this supplier")
	f.text(&request.Thread, "thread", "thread", "only with this thread")
	wordField(f, &request.State, ledger.LotStates, "state", "state", "only in this state")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewLotServiceClient(conn)
		return list(a, limit, "lots", lotColumns(), func(size int32, token string) ([]*pb.Lot, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListLots(ctx, request)
			return page.GetLots(), page.GetNextPageToken(), err
		})
	})
}

func (a *app) lotStock() *cobra.Command {
	cmd := a.command("stock LOT", "Show the stock of a lot at each site",
		"Used counts fasteners tightened in a first pass or lost to a thread failure. On\n"+
			"hand is received less removed less used, or what was counted and what followed;\n"+
			"below zero, more was used than is known to have come.")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		name, err := resourceArg(args[0], "lots")
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewLotServiceClient(conn)
		return list(a, 0, "stocks", lotStockColumns(name), func(int32, string) ([]*pb.LotStock, string, error) {
			answer, err := client.ListLotStock(ctx, &pb.ListLotStockRequest{Lot: name})
			return answer.GetStocks(), "", err
		})
	})
}

// lotStockColumns are the columns of the stock of the lot of that name.
func lotStockColumns(lot string) []output.Column[*pb.LotStock] {
	return []output.Column[*pb.LotStock]{
		{Name: "lot", Value: func(*pb.LotStock) any { return ledger.ShortName(lot) }},
		{Name: "site", Heading: "SITE", Value: func(s *pb.LotStock) any { return ledger.ShortName(s.GetSite()) }},
		{Name: "received", Heading: "RECEIVED", Value: func(s *pb.LotStock) any { return s.GetReceived() }},
		{Name: "removed", Heading: "REMOVED", Value: func(s *pb.LotStock) any { return s.GetRemoved() }},
		{Name: "used", Heading: "USED", Value: func(s *pb.LotStock) any { return s.GetUsed() }},
		{Name: "on_hand", Heading: "ON HAND", Value: func(s *pb.LotStock) any { return s.GetOnHand() }},
	}
}
