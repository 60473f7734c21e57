package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) lotWhere() *cobra.Command {
	cmd := a.command("where LOT", "Find everywhere that a lot went: sites and stock, joints, incidents, holds, alarms",
		"What is to be done when a lot is suspect: hold place --lot, which holds it at every\nsite, and this to find it. CSV has the joints.")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		name, err := resourceArg(args[0], "lots")
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		got, err := pb.NewProgressServiceClient(conn).FindLot(ctx, &pb.FindLotRequest{Lot: name})
		if err != nil {
			return err
		}
		if a.format == output.Table {
			return a.tellLotWhere(got)
		}
		w, err := output.New(a.config(), "joints", lotUseColumns())
		if err != nil {
			return err
		}
		for _, j := range got.GetJoints() {
			if err := w.Row(j); err != nil {
				return err
			}
		}
		return w.Close(
			output.Note{Key: "lot", Value: output.ObjectOf(lotColumns(), got.GetLot())},
			output.Note{Key: "stocks", Value: output.ObjectsOf(lotStockColumns(name), got.GetStocks())},
			output.Note{Key: "incidents", Value: output.ObjectsOf(incidentColumns(), got.GetIncidents())},
			output.Note{Key: "open_holds", Value: openHoldObjects(got.GetOpenHolds(), nil)},
			output.Note{Key: "alarms", Value: output.ObjectsOf(alarmColumns(), got.GetAlarms())},
		)
	})
}

func (a *app) tellLotWhere(got *pb.FindLotResponse) error {
	lot := got.GetLot()
	fasteners, failures := int64(0), int64(0)
	for _, j := range got.GetJoints() {
		fasteners += j.GetFasteners()
		failures += j.GetFailures()
	}
	state := wordOf(ledger.LotStates, lot.GetState())
	if len(got.GetOpenHolds()) > 0 {
		state = "on hold"
	}
	_, err := fmt.Fprintf(a.out, "lot %s, %s, %s: %s; %d fasteners in %s, %d lost to thread failures\n",
		output.Printable(ledger.ShortName(lot.GetName())), output.Printable(lot.GetSupplier()), output.Printable(lot.GetFastener().GetThread()),
		state, fasteners, counted(len(got.GetJoints()), "joint"), failures)
	if err != nil {
		return err
	}
	if err := section(a, "stock", lotStockColumns(lot.GetName()), got.GetStocks()); err != nil {
		return err
	}
	if err := section(a, "joints", lotUseColumns(), got.GetJoints()); err != nil {
		return err
	}
	if err := section(a, "incidents", incidentColumns(), got.GetIncidents()); err != nil {
		return err
	}
	if err := section(a, "open holds", holdColumns(), got.GetOpenHolds()); err != nil {
		return err
	}
	return section(a, "alarms", alarmColumns(), got.GetAlarms())
}

// section writes one of several tables with its title; nothing for no rows but
// that there are none.
func section[T any](a *app, title string, columns []output.Column[T], rows []T) error {
	if len(rows) == 0 {
		_, err := fmt.Fprintf(a.out, "\n%s: none\n", title)
		return err
	}
	if _, err := fmt.Fprintf(a.out, "\n%s:\n", title); err != nil {
		return err
	}
	w, err := output.New(a.config(), title, columns)
	if err != nil {
		return err
	}
	for _, r := range rows {
		if err := w.Row(r); err != nil {
			return err
		}
	}
	return w.Close()
}

func lotUseColumns() []output.Column[*pb.LotUse] {
	columns := placeColumns(4, "JOINT", (*pb.LotUse).GetJoint)
	return append(columns, []output.Column[*pb.LotUse]{
		{Name: "fasteners", Heading: "FASTENERS", Value: func(u *pb.LotUse) any { return u.GetFasteners() }},
		{Name: "failures", Heading: "FAILURES", Value: func(u *pb.LotUse) any { return u.GetFailures() }},
	}...)
}
