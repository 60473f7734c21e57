package cli

import (
	"context"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

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
		"Exactly one is held: PLACE, a joint or a cell; the lot of --lot; the tool of\n--tool. A lot or a tool needs a site, in whose chain the hold\nstands; it counts at every site all the same.")
	cmd.Example = "  trackctl hold place rvb/ct2/c3/j014 --reason \"gasket doubtful\"\n  trackctl hold place --lot M10-ST-2640C --site rvb --reason \"galls\""
	f := newFields(cmd)
	f.resource(&record.Lot, "lots", "lot", "lot", "LOT", "the lot")
	f.resource(&record.Tool, "tools", "tool", "tool", "SERIAL", "the tool")
	f.site(&record.Site, "site", "site", "the site, for a lot or a tool; that of the current place when not given")
	f.text(&record.Reason, "reason", "reason", "why")
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if err := a.holdTarget(f, record, args); err != nil {
			return err
		}
		if err := a.require(ctx, f, "reason"); err != nil {
			return err
		}
		id, e, err := a.entry(ctx, &entry, true)
		if err != nil {
			return err
		}
		record.Name, record.Entry = "holds/"+id, e
		names := f.names()
		names["place"] = "PLACE"
		s := sent{kind: ledger.KindHold, id: id, summary: sentence("on hold: "+held(record), record.GetReason()), names: names}
		if record.GetPlace() == "" {
			s.remark = held(record) + " is on hold at every site, not at " + ledger.ShortName(record.GetSite()) + " alone"
		}
		return a.sendHold(ctx, s, &entry, record)
	})
}

// holdTarget reads what is held.
func (a *app) holdTarget(f *fields, record *pb.Hold, args []string) error {
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
		return a.siteHere(f, &record.Site)
	}
	place, err := a.placeHere(args[0], 3, 4)
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

func (a *app) sendHold(ctx context.Context, s sent, o *entryOptions, record *pb.Hold) error {
	return a.sendRecord(ctx, s, o, record)
}

// holdOpen says whether a hold is placed and neither released nor corrected.
func holdOpen(h *pb.Hold) bool {
	return h.GetAction() == pb.HoldAction_HOLD_ACTION_PLACED && h.GetReleasedBy() == "" && h.GetEntry().GetCorrectedBy() == ""
}

// holdColumns are the columns of holds and releases; more come before those that
// every record ends with.
func holdColumns(more ...output.Column[*pb.Hold]) []output.Column[*pb.Hold] {
	type hold = *pb.Hold
	columns := []output.Column[hold]{
		{Name: "id", Value: func(h hold) any { return ledger.ShortName(h.GetName()) }},
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
		{Name: "rule", Heading: "RULE", Value: func(h hold) any { return text(h.GetRule()) }},
		{Name: "cause", Value: func(h hold) any { return text(h.GetCause()) }},
		{Name: "reason", Value: func(h hold) any { return text(h.GetReason()) }},
		{Name: "releases", Value: func(h hold) any { return text(ledger.ShortName(h.GetReleases())) }},
		{Name: "decision", Value: func(h hold) any { return text(wordOf(ledger.Decisions, h.GetDecision())) }},
		{Name: "released_by", Value: func(h hold) any { return text(ledger.ShortName(h.GetReleasedBy())) }},
	}
	return slices.Concat(columns, more, entryColumns[hold]())
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

// heldSince says of an open hold for a person what is held, since when and why, and
// by which correction the record that caused it was corrected, if one did.
func heldSince(h *pb.Hold, correctedBy string) string {
	where := ""
	if h.GetPlace() == "" {
		where = " at every site"
	}
	sentence := fmt.Sprintf("%s is on hold%s since %s: %s  (hold %s)", held(h), where, output.Moment(occurred(h.GetEntry())), holdReason(h), ledger.ShortName(h.GetName()))
	if correctedBy != "" {
		sentence += fmt.Sprintf("; the record that caused it, %s, was corrected since by %s", h.GetCause(), correctedBy)
	}
	return sentence
}
