package cli

import (
	"context"

	"github.com/spf13/cobra"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) undoCommand() *cobra.Command {
	var reason string
	var entry entryOptions
	cmd := a.command("undo", "Take back the last entry made on this device",
		"A correction is recorded that withdraws it: it stays readable, and no figure counts\n"+
			"it any more. Undone once more, the entry before it is taken back. It works without\n"+
			"a signal. An entry that the server refused is settled here, since it was never kept\n"+
			"there.")
	cmd.Example = "  trackctl undo\n  trackctl undo --reason \"counted again\""
	instead(cmd, func(arg string) string {
		return "it takes back the last entry of this device; the record with an id is taken back with trackctl withdraw " + arg + " --reason WHY"
	})
	f := newFields(cmd)
	f.text(&reason, "reason", "reason", "why; \"entered wrongly\" when not given")
	f.text(&entry.note, "note", "entry.note", "free text")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		if reason == "" {
			reason = "entered wrongly"
		}
		return a.undo(ctx, &entry, reason, f.names())
	})
}

func (a *app) undo(ctx context.Context, o *entryOptions, reason string, names map[string]string) error {
	box, entries, err := a.outboxEntries()
	if err != nil {
		return err
	}
	last, err := lastToUndo(entries)
	if err != nil {
		return err
	}
	if last.State == outbox.Refused {
		return a.withdrawRefused(last.ID.String(), reason)
	}
	mistaken := last.record
	if a.settings.person == "" {
		// Who made the entry takes it back, where nobody else is named.
		a.settings.person = ledger.ShortName(mistaken.GetEntry().GetPerson())
	}
	id, entry, err := a.entry(ctx, o, true)
	if err != nil {
		return err
	}
	c := &pb.Correction{Name: "corrections/" + id, Corrects: mistaken.GetName(), Reason: reason, Entry: entry}
	names["corrects"] = "the entry"
	s := sent{kind: ledger.KindCorrection, id: id, names: names, joint: jointOf(mistaken),
		summary: sentence("undone: "+recordWord(mistaken)+" of "+output.Moment(last.KeptAt), last.Summary, reason)}
	if last.State == outbox.Delivered && !a.settings.offlineOnly {
		if _, first, err := a.outboxFor(siteOfRecord(mistaken)); err != nil {
			return err
		} else if !first {
			return a.sendRecord(ctx, s, o, c)
		}
	}
	return a.keepHere(ctx, box, s, o, []record{c})
}

// lastToUndo is the last entry that counts: neither taken back nor settled otherwise.
func lastToUndo(entries []*outbox.Entry) (pendingEntry, error) {
	undone := map[string]bool{}
	for i := len(entries) - 1; i >= 0; i-- {
		e := entries[i]
		if e.State == outbox.Withdrawn || e.State == outbox.Replaced {
			continue
		}
		p, err := readPending(e)
		if err != nil {
			return p, &failure{code: exitIO, message: err.Error()}
		}
		c, corrects := p.record.(*pb.Correction)
		switch {
		case corrects && e.State == outbox.Refused:
			return p, nil
		case corrects && replacementName(c) != "":
			return p, &failure{code: exitData, message: "the last entry of this device is a correction, which is not taken back: " + e.Summary,
				lines: []string{"correct what it put in place: trackctl correct " + ledger.ShortName(replacementName(c)) + ", or trackctl withdraw it"}}
		case corrects:
			undone[c.GetCorrects()] = true
		case !undone[p.record.GetName()]:
			return p, nil
		}
	}
	return pendingEntry{}, &failure{code: exitUnknown, message: "no entry of this device is left to take back", lines: []string{"entries of other devices are corrected by their id: trackctl withdraw RECORD; trackctl record list shows them"}}
}
