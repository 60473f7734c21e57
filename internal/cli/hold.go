package cli

import (
	"context"
	"fmt"
	"slices"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) holdCommand() *cobra.Command {
	return group("hold", "Holds: what must not be used or handed over, and its release", a.holdPlace(), a.holdRelease(), a.holdList())
}

func (a *app) holdPlace() *cobra.Command {
	var entry entryOptions
	record := &pb.Hold{Action: pb.HoldAction_HOLD_ACTION_PLACED}
	cmd := a.command("place [PLACE]", "Put a joint, a cell, a lot or a tool on hold",
		"Exactly one is held: PLACE, a joint or a cell; the lot of --lot; the tool of\n--tool. A lot or a tool needs --site, in whose chain the hold stands.")
	cmd.Example = "  trackctl hold place rvb/ct2/c3/j014 --reason \"gasket doubtful\"\n  trackctl hold place --lot M10-ST-2640C --site rvb --reason \"galls\""
	f := newFields(cmd)
	f.resource(&record.Lot, "lots", "lot", "lot", "LOT", "the lot")
	f.resource(&record.Tool, "tools", "tool", "tool", "SERIAL", "the tool")
	f.site(&record.Site, "site", "site", "the site, for a lot or a tool")
	f.text(&record.Reason, "reason", "reason", "why")
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if err := holdTarget(f, record, args); err != nil {
			return err
		}
		if err := f.require("reason"); err != nil {
			return err
		}
		id, e, err := a.entry(&entry, true)
		if err != nil {
			return err
		}
		record.Name, record.Entry = "holds/"+id, e
		names := f.names()
		names["place"] = "PLACE"
		s := sent{kind: ledger.KindHold, id: id, summary: sentence("on hold: "+held(record), record.GetReason()), names: names}
		return a.sendHold(ctx, s, &entry, record)
	})
}

// holdTarget reads what is held.
func holdTarget(f *fields, record *pb.Hold, args []string) error {
	targets := len(args)
	for _, name := range []string{record.GetLot(), record.GetTool()} {
		if name != "" {
			targets++
		}
	}
	if targets != 1 {
		return usage("%s needs exactly one of PLACE, --lot and --tool; got %d", f.cmd.CommandPath(), targets)
	}
	if len(args) == 0 {
		return f.require("site")
	}
	place, err := placeArg(args[0], 3, 4)
	record.Place = place.Resource()
	return err
}

// held names what a hold is of.
func held(h *pb.Hold) string {
	switch {
	case h.GetLot() != "":
		return "lot " + ledger.ShortName(h.GetLot())
	case h.GetTool() != "":
		return "tool " + ledger.ShortName(h.GetTool())
	}
	return ledger.ShortName(h.GetPlace())
}

func (a *app) holdRelease() *cobra.Command {
	var entry entryOptions
	record := &pb.Hold{Action: pb.HoldAction_HOLD_ACTION_RELEASED}
	cmd := a.command("release HOLD", "Release a hold",
		"HOLD is the id of an open hold, which hold list shows. The decision is rework,\nrepair, use-as-is or scrap (ISO 9000:2015, 3.12). It takes\n"+releasers+".")
	cmd.Example = "  trackctl hold release 019cadd3-6bc0-77c9-9e41-58325664ba11 --decision rework --reason \"torqued again with TW-RVB-02\""
	f := newFields(cmd)
	wordField(f, &record.Decision, ledger.Decisions, "decision", "decision", "what is done with what was held")
	f.text(&record.Reason, "reason", "reason", "why it may be released")
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		hold, err := recordArg("HOLD", args[0], "holds")
		if err != nil {
			return err
		}
		if err := f.require("decision", "reason"); err != nil {
			return err
		}
		id, e, err := a.entry(&entry, true)
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		placed, err := pb.NewControlServiceClient(conn).GetHold(ctx, &pb.GetHoldRequest{Name: hold})
		if err != nil {
			return err
		}
		record.Name, record.Releases, record.Entry = "holds/"+id, hold, e
		record.Place, record.Lot, record.Tool, record.Site = placed.GetPlace(), placed.GetLot(), placed.GetTool(), placed.GetSite()
		names := f.names()
		names["releases"] = "HOLD"
		s := sent{kind: ledger.KindHold, id: id, summary: sentence("released: "+held(record), wordOf(ledger.Decisions, record.GetDecision()), record.GetReason()), names: names}
		return a.sendHold(ctx, s, &entry, record)
	})
}

func (a *app) sendHold(ctx context.Context, s sent, o *entryOptions, record *pb.Hold) error {
	return a.sendRecord(ctx, s, o, func(ctx context.Context, conn *grpc.ClientConn) ([]*pb.Outcome, error) {
		return outcomesOf(pb.NewControlServiceClient(conn).RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{record}}))
	})
}

// holdFilter are the flags that cut a list of holds.
type holdFilter struct {
	place, lot, tool string
	span
}

func (h *holdFilter) flags(f *fields) {
	f.resource(&h.lot, "lots", "lot", "lot", "LOT", "only of this lot")
	f.resource(&h.tool, "tools", "tool", "tool", "SERIAL", "only of this tool")
	h.span.flags(f)
}

func (h *holdFilter) fetch(ctx context.Context, conn *grpc.ClientConn) fetch[*pb.Hold] {
	client := pb.NewControlServiceClient(conn)
	request := &pb.ListHoldsRequest{Place: h.place, Lot: h.lot, Tool: h.tool, StartTime: h.start(), EndTime: h.end()}
	return func(size int32, token string) ([]*pb.Hold, string, error) {
		request.PageSize, request.PageToken = size, token
		page, err := client.ListHolds(ctx, request)
		return page.GetHolds(), page.GetNextPageToken(), err
	}
}

func (a *app) holdList() *cobra.Command {
	var filter holdFilter
	var limit int
	var all bool
	cmd := a.command("list [PLACE]", "List open holds", "PLACE is a site, tower, cell or joint. A cell on hold holds its joints too.")
	limitFlag(cmd, &limit)
	cmd.Flags().BoolVar(&all, "all", false, "holds that were released too, and the releases")
	filter.flags(newFields(cmd))
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if len(args) > 0 {
			place, err := placeArg(args[0], 1, 2, 3, 4)
			if err != nil {
				return err
			}
			filter.place = place.Resource()
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		read := filter.fetch(ctx, conn)
		if all {
			return list(a, limit, "holds", holdColumns(), read)
		}
		open := func(_ int32, token string) ([]*pb.Hold, string, error) {
			// Whole pages, however few are asked for: most holds may be released.
			page, next, err := read(pageSize, token)
			return slices.DeleteFunc(page, func(h *pb.Hold) bool { return !holdOpen(h) }), next, err
		}
		if a.format == output.Table {
			return a.tellHolds(limit, open)
		}
		return list(a, limit, "holds", holdColumns(), open)
	})
}

// tellHolds says in a sentence for each hold what is held and why.
func (a *app) tellHolds(limit int, read fetch[*pb.Hold]) error {
	if limit < 0 {
		return usage("--limit: expected a number of at least 0, got %d", limit)
	}
	n := 0
	err := pages(limit, read, func(h *pb.Hold) error {
		n++
		_, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(heldSince(h))))
		return err
	})
	if err == nil && n == 0 {
		_, err = fmt.Fprintln(a.err, "there are no open holds to show")
	}
	return err
}

// holdOpen says whether a hold is placed and neither released nor corrected.
func holdOpen(h *pb.Hold) bool {
	return h.GetAction() == pb.HoldAction_HOLD_ACTION_PLACED && h.GetReleasedBy() == "" && h.GetEntry().GetCorrectedBy() == ""
}

func holdColumns() []output.Column[*pb.Hold] {
	type hold = *pb.Hold
	columns := []output.Column[hold]{
		{Name: "id", Heading: "HOLD", Value: func(h hold) any { return ledger.ShortName(h.GetName()) }},
		{Name: "at", Heading: "AT", Value: func(h hold) any { return occurred(h.GetEntry()) }},
		{Name: "action", Value: func(h hold) any { return text(wordOf(ledger.HoldActions, h.GetAction())) }},
		{Name: "open", Value: func(h hold) any { return holdOpen(h) }},
		{Heading: "HELD", Text: func(h hold) string {
			switch {
			case h.GetAction() == pb.HoldAction_HOLD_ACTION_RELEASED:
				return held(h) + " (release)"
			case !holdOpen(h):
				return held(h) + " (no longer)"
			}
			return held(h)
		}},
		{Name: "place", Value: func(h hold) any { return text(ledger.ShortName(h.GetPlace())) }},
		{Name: "lot", Value: func(h hold) any { return text(ledger.ShortName(h.GetLot())) }},
		{Name: "serial", Value: func(h hold) any { return text(ledger.ShortName(h.GetTool())) }},
		{Name: "site", Value: func(h hold) any { return text(ledger.ShortName(h.GetSite())) }},
		{Name: "rule", Value: func(h hold) any { return text(h.GetRule()) }},
		{Name: "cause", Value: func(h hold) any { return text(h.GetCause()) }},
		{Name: "reason", Value: func(h hold) any { return text(h.GetReason()) }},
		{Heading: "BY", Text: holdBy},
		{Name: "releases", Value: func(h hold) any { return text(ledger.ShortName(h.GetReleases())) }},
		{Name: "decision", Value: func(h hold) any { return text(wordOf(ledger.Decisions, h.GetDecision())) }},
		{Name: "released_by", Value: func(h hold) any { return text(ledger.ShortName(h.GetReleasedBy())) }},
	}
	return append(columns, entryColumns[hold]()...)
}

// holdReason is why something is held, and by which rule or person.
func holdReason(h *pb.Hold) string {
	if by := holdBy(h); by != "" {
		return by + ": " + h.GetReason()
	}
	return h.GetReason()
}

// holdBy is the rule or the person that placed or released a hold.
func holdBy(h *pb.Hold) string {
	if h.GetRule() != "" {
		return h.GetRule()
	}
	return ledger.ShortName(h.GetEntry().GetPerson())
}

// heldSince says of an open hold for a person what is held, since when and why.
func heldSince(h *pb.Hold) string {
	return fmt.Sprintf("%s is on hold since %s: %s  (hold %s)", held(h), output.Moment(occurred(h.GetEntry())), holdReason(h), ledger.ShortName(h.GetName()))
}
