package cli

import (
	"context"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) cribCommand() *cobra.Command {
	var asOf time.Time
	request := &pb.GetCribPageRequest{}
	cmd := a.command("crib SITE", "The morning page of a site's tool crib",
		"What may be lent, what must stay, what is out, came back today, falls due within 14\n"+
			"days and is on hold, and the days ahead with planned joints that no tool in date\n"+
			"suits. The screen shows the first of each; JSON has all, CSV what may be lent.")
	cmd.Example = "  trackctl crib rvb"
	f := newFields(cmd)
	f.asOf(&asOf)
	f.whole(&request.DueWithinDays, "due-within-days", "due_within_days", "how far ahead the due list looks; 14 when not given")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		site, err := siteOf(args[0])
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		request.Site, request.AsOfTime = site, stamp(asOf)
		page, err := pb.NewCribServiceClient(conn).GetCribPage(ctx, request)
		if err != nil {
			names := f.names()
			names["site"] = "SITE"
			return a.callFailure(err, names)
		}
		if a.format == output.Table {
			return a.tellCrib(page)
		}
		w, err := output.New(a.config(), "to_lend", cribToolColumns())
		if err != nil {
			return err
		}
		for _, t := range page.GetToLend() {
			if err := w.Row(t); err != nil {
				return err
			}
		}
		return w.Close(cribNotes(page)...)
	})
}

// cribNoteKeys are those of cribNotes, in their order.
var cribNoteKeys = []string{"site", "day", "as_of", "not_to_lend", "out", "back_today", "away", "due", "before_use", "on_hold", "gaps", "cautions"}

func cribNotes(p *pb.CribPage) []output.Note {
	beforeUse := []string{}
	for _, t := range p.GetBeforeUse() {
		beforeUse = append(beforeUse, ledger.ShortName(t))
	}
	values := []any{
		ledger.ShortName(p.GetSite()), p.GetDay(), when(p.GetAsOfTime()), refusalObjects(p.GetNotToLend()),
		output.ObjectsOf(cribToolColumns(), p.GetOut()), output.ObjectsOf(cribToolColumns(), p.GetBackToday()), refusalObjects(p.GetAway()),
		output.ObjectsOf(dueColumns(), p.GetDue()), beforeUse, output.ObjectsOf(cribToolColumns(), p.GetOnHold()),
		output.ObjectsOf(gapColumns(), p.GetGaps()), p.GetCautions(),
	}
	notes := make([]output.Note, len(values))
	for i, v := range values {
		notes[i] = output.Note{Key: cribNoteKeys[i], Value: v}
	}
	return notes
}

func cribToolColumns() []output.Column[*pb.CribTool] {
	type tool = *pb.CribTool
	return []output.Column[tool]{
		{Name: "serial", Value: func(t tool) any { return ledger.ShortName(t.GetTool()) }},
		{Name: "kind", Value: func(t tool) any { return text(wordOf(ledger.ToolKinds, t.GetKind())) }},
		{Name: "holder", Value: func(t tool) any { return text(ledger.ShortName(t.GetHolder())) }},
		{Name: "holder_name", Value: func(t tool) any { return text(t.GetHolderName()) }},
		{Name: "since", Value: func(t tool) any { return when(t.GetSinceTime()) }},
		{Name: "next_due_at", Value: func(t tool) any { return when(t.GetNextDueTime()) }},
		{Name: "note", Value: func(t tool) any { return text(t.GetNote()) }},
		{Name: "min_n_m", Value: func(t tool) any { return figure(t.GetMinimumNewtonMetres()) }},
		{Name: "max_n_m", Value: func(t tool) any { return figure(t.GetMaximumNewtonMetres()) }},
		{Name: "rated_load_kg", Value: func(t tool) any { return figure(t.GetRatedLoadKilograms()) }},
	}
}
