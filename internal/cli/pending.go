package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
)

func (a *app) pendingCommand() *cobra.Command {
	var all bool
	cmd := a.command("pending", "What waits on this device, and what the server refused",
		"Entries that were made without a signal wait here until they are sent, in the order\n"+
			"in which they were made. One that the server refused stays with the reason until it\n"+
			"is mended or withdrawn, or sent again once what was in its way is gone. --all shows\n"+
			"the last ones that are settled too.")
	cmd.Example = "  trackctl pending\n  trackctl pending --all --output csv"
	cmd.Flags().BoolVar(&all, "all", false, "also those that are settled: delivered, withdrawn, replaced")
	cmd = a.runs(cmd, func(_ context.Context, _ []string) error { return a.listPending(all) })
	cmd.AddCommand(a.pendingShow(), a.pendingMend(), a.pendingWithdraw(), a.pendingResend())
	return cmd
}

// pendingEntry is an entry of the outbox with its record.
type pendingEntry struct {
	*outbox.Entry
	record record
}

func pendingColumns() []output.Column[pendingEntry] {
	type entry = pendingEntry
	return []output.Column[entry]{
		{Name: "id", Value: func(e entry) any { return e.ID.String() }},
		{Name: "record", Heading: "RECORD", Value: func(e entry) any { return recordWord(e.record) }},
		{Name: "summary", Heading: "WHAT", Value: func(e entry) any { return e.Summary }},
		{Name: "kept_at", Heading: "MADE", Value: func(e entry) any { return e.KeptAt }},
		{Name: "state", Heading: "STATE", Value: func(e entry) any { return e.State.String() }},
		{Name: "state_at", Value: func(e entry) any { return e.StateAt }},
		{Name: "reason", Heading: "REASON", Value: func(e entry) any { return text(settledReason(e.Entry, typedNames(e.record))) }},
		{Name: "replaced_by", Value: func(e entry) any { return idText(e.ReplacedBy) }},
		{Heading: "ID", Text: func(e entry) string { return e.ID.String() }},
	}
}

func idText(id uuid.UUID) any {
	if id == uuid.Nil {
		return nil
	}
	return id.String()
}

// settledReason says why an entry is in its state, in one line. The names are those of
// its fields, as fieldLine takes them.
func settledReason(e *outbox.Entry, names map[string]string) string {
	if e.State == outbox.Withdrawn {
		return e.Reason
	}
	if e.Refusal == nil {
		return ""
	}
	f := refused(e.Refusal, names)
	return strings.Join(append([]string{f.message}, f.lines...), "; ")
}

func (a *app) listPending(all bool) error {
	_, entries, err := a.outboxEntries()
	if err != nil {
		return err
	}
	w, err := output.New(a.config(), "entries", pendingColumns())
	if err != nil {
		return err
	}
	var count outbox.Count
	for _, e := range entries {
		switch e.State {
		case outbox.Waiting:
			count.Waiting++
		case outbox.Refused:
			count.Refused++
		default:
			if !all {
				continue
			}
		}
		p, err := readPending(e)
		if err != nil {
			fmt.Fprintln(a.err, "trackctl: "+err.Error())
			continue
		}
		if err := w.Row(p); err != nil {
			return err
		}
	}
	return w.Close(output.Note{Key: "waiting", Value: int64(count.Waiting)}, output.Note{Key: "refused", Value: int64(count.Refused), Text: pendingText(count)})
}

// pendingText says in words how much waits and what can be done.
func pendingText(c outbox.Count) []string {
	if c == (outbox.Count{}) {
		return []string{"nothing waits on this device"}
	}
	lines := []string{fmt.Sprintf("%d waiting to be sent, %d refused", c.Waiting, c.Refused)}
	if c.Refused > 0 {
		lines = append(lines, "a refused entry: trackctl pending mend ID, or pending withdraw ID --reason WHY, or pending resend ID once what was in its way is gone")
	}
	return lines
}

func readPending(e *outbox.Entry) (pendingEntry, error) {
	d, err := e.Record()
	if err != nil {
		return pendingEntry{}, err
	}
	r := recordOf(d)
	if r == nil {
		return pendingEntry{}, fmt.Errorf("the entry %s is of a kind that this trackctl does not know", e.ID)
	}
	return pendingEntry{e, r}, nil
}

// findPending finds an entry of this device by its id, or by the resource name of its
// record.
func (a *app) findPending(typed string) (*outbox.Outbox, pendingEntry, error) {
	id, err := parseRecordID(typed)
	if err != nil {
		return nil, pendingEntry{}, err
	}
	box, entries, err := a.outboxEntries()
	if err != nil {
		return nil, pendingEntry{}, err
	}
	for _, e := range entries {
		if e.ID == id {
			p, err := readPending(e)
			return box, p, err
		}
	}
	return nil, pendingEntry{}, &failure{code: exitUnknown, message: "no entry of this device has the id " + id.String(), lines: []string{"trackctl pending --all shows those that it has"}}
}

func parseRecordID(typed string) (uuid.UUID, error) {
	_, rest, named := strings.Cut(strings.TrimSpace(typed), "/")
	if !named {
		rest = strings.TrimSpace(typed)
	}
	id, err := uuid.Parse(rest)
	if err != nil {
		return id, usage("expected the id of an entry such as 019cadd3-6bc0-77c9-9e41-58325664ba11, got %s", csvfile.Quote(typed))
	}
	return id, nil
}

// refusedEntry finds an entry that the server refused.
func (a *app) refusedEntry(typed string) (*outbox.Outbox, pendingEntry, error) {
	box, e, err := a.findPending(typed)
	if err != nil {
		return nil, e, err
	}
	if e.State != outbox.Refused {
		f := &failure{code: exitData, message: fmt.Sprintf("the entry %s was not refused: it is %s", e.ID, e.State)}
		if e.State == outbox.Waiting || e.State == outbox.Delivered {
			f.lines = append(f.lines, fmt.Sprintf("a mistaken record is corrected: trackctl correct %s, or trackctl withdraw %[1]s", e.ID))
		}
		return nil, e, f
	}
	return box, e, nil
}

func (a *app) pendingShow() *cobra.Command {
	cmd := a.command("show ID", "Show an entry of this device with all that it says", "ID is the id of the record.")
	return a.runs(cmd, func(_ context.Context, args []string) error {
		_, e, err := a.findPending(args[0])
		if err != nil {
			return err
		}
		k, err := kindOfName(e.record.GetName())
		if err != nil {
			return err
		}
		if a.format != output.Table {
			return output.Show(a.config(), "entries", append(pendingColumns(), output.Column[pendingEntry]{
				Name: "content", Value: func(e pendingEntry) any { return k.object(e.record) },
			}), e)
		}
		if err := k.show(a, e.record); err != nil {
			return err
		}
		lines := []string{fmt.Sprintf("made on this device %s, %s since %s", output.Moment(e.KeptAt), e.State, output.Moment(e.StateAt))}
		if reason := settledReason(e.Entry, typedNames(e.record)); reason != "" {
			lines = append(lines, "reason: "+reason)
		}
		if e.ReplacedBy != uuid.Nil {
			lines = append(lines, "replaced by "+e.ReplacedBy.String())
		}
		if e.State == outbox.Refused {
			lines = append(lines, wayOn(e.ID.String()))
		}
		for _, l := range lines {
			if _, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(l))); err != nil {
				return err
			}
		}
		return nil
	})
}

// kindOfName finds the kind that a record's name belongs to.
func kindOfName(name string) (*recordKind, error) {
	collection, _, _ := strings.Cut(name, "/")
	return kindOfCollection(recordKinds(), collection)
}

func (a *app) pendingWithdraw() *cobra.Command {
	var reason string
	cmd := a.command("withdraw ID", "Settle an entry that the server refused, and that is not needed",
		"ID is the id of an entry that the server refused: it was never kept there. It stays\n"+
			"in trackctl pending --all for a while, with the reason.")
	cmd.Example = "  trackctl pending withdraw 019cadd3-6bc0-77c9-9e41-58325664ba11 --reason \"entered for the wrong site\""
	f := newFields(cmd)
	f.text(&reason, "reason", "reason", "why it is not needed")
	return a.runs(cmd, func(_ context.Context, args []string) error {
		if err := f.require("reason"); err != nil {
			return err
		}
		return a.withdrawRefused(args[0], reason)
	})
}

func (a *app) withdrawRefused(typed, reason string) error {
	box, e, err := a.refusedEntry(typed)
	if err != nil {
		return err
	}
	if _, err := box.Withdraw(e.ID, reason, a.now()); err != nil {
		return notKept(err)
	}
	return a.tellSettled(e, "withdrawn", reason)
}

// tellSettled says what was done with an entry that was refused.
func (a *app) tellSettled(e pendingEntry, state, reason string) error {
	if a.format != output.Table {
		s := sent{kind: recordKindOf(e.record), id: e.ID.String()}
		return output.Show(a.config(), "outcomes", answerColumns(s), answer{sent: s, state: state})
	}
	_, err := fmt.Fprintf(a.out, "%s: %s  (id %s)\n", state, output.Printable(sentence(e.Summary, reason)), e.ID)
	return err
}

func (a *app) pendingResend() *cobra.Command {
	cmd := a.command("resend ID", "Send an entry again that the server refused",
		"For an entry that was right, where what was in its way is gone: a lot or a person\n"+
			"that has been registered meanwhile, a permission that was given.")
	cmd.Example = "  trackctl pending resend 019cadd3-6bc0-77c9-9e41-58325664ba11"
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		box, e, err := a.refusedEntry(args[0])
		if err != nil {
			return err
		}
		count, err := box.Again([]uuid.UUID{e.ID}, a.now())
		if err != nil {
			return notKept(err)
		}
		s := sent{kind: recordKindOf(e.record), id: e.ID.String(), summary: e.Summary, joint: jointOf(e.record), names: map[string]string{}}
		if e.record.GetName() != "" && s.kind == ledger.KindCalibration {
			s.calibration = a.calibrationReader(ctx, e.record.GetName())
		}
		if a.format == output.Table {
			if _, err := fmt.Fprintf(a.out, "to be sent again: %s  (id %s)\n", output.Printable(e.Summary), e.ID); err != nil {
				return err
			}
		}
		box.MarkReached() // somebody asks for it now
		return a.tellAttempt(box, s, []record{e.record}, a.trySending(ctx, box, count))
	})
}
