package cli

import (
	"context"
	"strconv"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) movementCommand() *cobra.Command {
	return group("movement", "Movements of fastener lots to and from sites", a.movementAdd(), a.movementList(), a.movementShow())
}

func (a *app) movementAdd() *cobra.Command {
	var entry entryOptions
	record := &pb.LotMovement{}
	cmd := a.command("add KIND LOT QUANTITY", "Record that a quantity of a lot came to a site or left it",
		"KIND is received, sent, returned, scrapped or counted.")
	cmd.Example = "  trackctl movement add received M10-ST-2640C 4800 --site rvb --reference DN-2922"
	cmd.ValidArgsFunction = func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) > 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return ledger.MovementKinds.All(), cobra.ShellCompDirectiveNoFileComp
	}
	f := newFields(cmd)
	movementFields(f, record, ofCurrentPlace)
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error { return a.move(ctx, args, f, record, &entry) })
}

// movementFields binds the flags of what a movement tells besides its kind, lot
// and quantity; otherSite says what holds where no site is given.
func movementFields(f *fields, record *pb.LotMovement, otherSite string) {
	f.site(&record.Site, "site", "site", "the site"+otherSite)
	f.text(&record.Reference, "reference", "reference", "delivery note or other paper")
	f.text(&record.HandledBy, "by", "handled_by", "who handled it, as written on the paper")
}

func (a *app) move(ctx context.Context, args []string, f *fields, record *pb.LotMovement, o *entryOptions) error {
	kind, err := ledger.MovementKinds.Parse(args[0])
	if err != nil {
		return usage("%v", err)
	}
	lot, err := resourceArg(args[1], "lots")
	if err != nil {
		return err
	}
	least := int64(1)
	if kind == ledger.MovementCounted {
		least = 0
	}
	quantity, err := parseCount("QUANTITY", args[2], least, ledger.MaxQuantity)
	if err != nil {
		return err
	}
	if err := a.siteHere(f, &record.Site); err != nil {
		return err
	}
	id, entry, err := a.entry(ctx, o, false)
	if err != nil {
		return err
	}
	record.Name, record.Kind, record.Lot, record.Quantity, record.Entry = "lotMovements/"+id, pb.MovementKind(kind), lot, quantity, entry
	names := f.names()
	names["kind"], names["lot"], names["quantity"] = "KIND", "LOT", "QUANTITY"
	summary := sentence(ledger.MovementKinds.Name(kind), strconv.FormatInt(quantity, 10), "lot "+ledger.ShortName(lot), ledger.ShortName(record.GetSite()))
	s := sent{kind: ledger.KindLotMovement, id: id, summary: summary, names: names}
	return a.sendRecord(ctx, s, o, record)
}

func movementColumns() []output.Column[*pb.LotMovement] {
	type movement = *pb.LotMovement
	columns := idColumns[movement]()
	columns = append(columns, []output.Column[movement]{
		{Name: "lot", Heading: "LOT", Value: func(m movement) any { return ledger.ShortName(m.GetLot()) }},
		{Name: "site", Heading: "SITE", Value: func(m movement) any { return ledger.ShortName(m.GetSite()) }},
		{Name: "kind", Heading: "KIND", Value: func(m movement) any { return text(wordOf(ledger.MovementKinds, m.GetKind())) }},
		{Name: "quantity", Heading: "QUANTITY", Value: func(m movement) any { return m.GetQuantity() }},
		{Name: "by", Heading: "BY", Value: func(m movement) any { return text(m.GetHandledBy()) }},
		{Name: "reference", Heading: "REFERENCE", Value: func(m movement) any { return text(m.GetReference()) }},
	}...)
	return append(columns, entryColumns[movement]()...)
}

func (a *app) movementList() *cobra.Command {
	var limit int
	var span span
	request := &pb.ListLotMovementsRequest{}
	cmd := a.command("list", "List lot movements", "")
	narrowedByFlags(cmd)
	limitFlag(cmd, &limit)
	f := newFields(cmd)
	f.site(&request.Site, "site", "site", "only at this site")
	f.resource(&request.Lot, "lots", "lot", "lot", "LOT", "only of this lot")
	span.flags(f)
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		request.StartTime, request.EndTime = span.start(), span.end()
		client := pb.NewLotServiceClient(conn)
		return list(a, limit, "movements", movementColumns(), func(size int32, token string) ([]*pb.LotMovement, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListLotMovements(ctx, request)
			return page.GetLotMovements(), page.GetNextPageToken(), err
		})
	})
}

func (a *app) movementShow() *cobra.Command {
	return a.runs(a.command("show ID", "Show a lot movement", ""), func(ctx context.Context, args []string) error {
		name, err := resourceArg(args[0], "lotMovements")
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		got, err := pb.NewLotServiceClient(conn).GetLotMovement(ctx, &pb.GetLotMovementRequest{Name: name})
		if err != nil {
			return err
		}
		return output.Show(a.config(), "movements", movementColumns(), got)
	})
}
