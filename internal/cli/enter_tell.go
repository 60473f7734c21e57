package cli

import (
	"fmt"
	"slices"
	"strings"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	pb "jointledger/proto/jointledger/v1"
)

// enteredRow is a line with what became of it.
type enteredRow struct {
	line         *enteredLine
	state, cause string
	findings     []*pb.Finding
}

func enteredColumns() []output.Column[enteredRow] {
	return []output.Column[enteredRow]{
		{Name: "line", Value: func(r enteredRow) any { return r.line.row.Line }},
		{Name: "record", Value: func(r enteredRow) any { return ledger.RecordKinds.Name(r.line.kind) }},
		{Name: "id", Value: func(r enteredRow) any { return ledger.ShortName(r.line.record.GetName()) }},
		{Name: "place", Value: func(r enteredRow) any { return r.line.place.String() }},
		{Name: "state", Value: func(r enteredRow) any { return r.state }},
		{Name: "reason", Value: func(r enteredRow) any { return text(r.cause) }},
		{Name: "findings", Value: func(r enteredRow) any { return findingObjects(r.findings) }},
	}
}

// enteredNoteKeys stand beside the lines in JSON.
var enteredNoteKeys = []string{"file", "left_empty", "checked", "filled_in", "waiting"}

// rows are the lines with what became of each.
func (e *entered) rows(dryRun bool) []enteredRow {
	rows := make([]enteredRow, len(e.lines))
	for i, l := range e.lines {
		r := enteredRow{line: l, state: "waiting"}
		o := e.outcome(l)
		switch {
		case dryRun:
			r.state = "valid"
		case o.GetState() == pb.Outcome_STATE_TAKEN:
			r.state = "taken"
		case o.GetState() == pb.Outcome_STATE_ALREADY_KNOWN:
			r.state = "already-known"
		case o.GetState() == pb.Outcome_STATE_REFUSED && !passing(o.GetRefusal()):
			r.state, r.cause = "refused", o.GetRefusal().GetMessage()
		case i < len(e.known) && e.known[i] != nil && e.known[i].State != outbox.Waiting:
			r.state = "already-known"
			if e.known[i].State == outbox.Refused {
				r.state, r.cause = "refused", e.known[i].Refusal.GetMessage()
			}
		}
		if r.findings = bySeverity(o.GetFindings()); o == nil {
			r.findings = bySeverity(e.here[l])
		}
		rows[i] = r
	}
	return rows
}

// sayEntered tells a person that the sheet is safe, before it is sent.
func (a *app) sayEntered(e *entered) error {
	if a.format != output.Table {
		return nil
	}
	known := 0
	for _, k := range e.known {
		if k != nil {
			known++
		}
	}
	words := []string{"kept on this device: " + e.counts()}
	switch {
	case known == len(e.lines):
		words[0] = "already known: " + e.counts()
	case known > 0:
		words = append(words, fmt.Sprintf("%d of them known already", known))
	}
	if e.leftEmpty > 0 {
		words = append(words, counted(e.leftEmpty, "line")+" left empty")
	}
	if _, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(strings.Join(words, "; ")))); err != nil {
		return err
	}
	return a.showNow()
}

// counts says how many records of each kind a sheet has.
func (e *entered) counts() string {
	var parts []string
	for _, k := range lineKinds {
		n := 0
		for _, l := range e.lines {
			if l.kind == k.kind {
				n++
			}
		}
		if n > 0 {
			parts = append(parts, counted(n, ledger.RecordKinds.Name(k.kind)))
		}
	}
	return fmt.Sprintf("%s of %s (%s)", counted(len(e.lines), "record"), e.file, strings.Join(parts, ", "))
}

func (a *app) tellEntered(e *entered, dryRun bool) error {
	rows := e.rows(dryRun)
	if a.format != output.Table {
		w, err := output.New(a.config(), "records", enteredColumns())
		if err != nil {
			return err
		}
		for _, r := range rows {
			if err := w.Row(r); err != nil {
				return err
			}
		}
		err = w.Close(output.Note{Key: "file", Value: e.file}, output.Note{Key: "left_empty", Value: e.leftEmpty}, output.Note{Key: "checked", Value: e.checkedBy},
			output.Note{Key: "filled_in", Value: filledObject(a.filled)}, output.Note{Key: "waiting", Value: e.attempt.left.Waiting})
		if err != nil {
			return err
		}
		return enterFailure(rows)
	}
	var lines []string
	if dryRun {
		lines = append(lines, fmt.Sprintf("%s: all lines are right, checked %s; nothing was kept", e.counts(), e.checkedBy))
	} else {
		lines = append(append(append(lines, "checked "+e.checkedBy), e.sentLine(rows)...), e.foundLine(rows)...)
	}
	for _, l := range slices.Concat(lines, e.remarks, a.filledLines(), e.attempt.remarks()) {
		if _, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(l))); err != nil {
			return err
		}
	}
	return enterFailure(rows)
}

// sentLine says what the server has got.
func (e *entered) sentLine(rows []enteredRow) []string {
	states := map[string]int{}
	for _, r := range rows {
		states[r.state]++
	}
	if n := states["waiting"]; n > 0 {
		return append(given("", e.attempt.whyNot()), fmt.Sprintf("waiting to be sent (%d)", e.attempt.left.Waiting))
	}
	if states["refused"] > 0 {
		return nil
	}
	return []string{"the server has them all"}
}

// foundLine says which rules the lines break, and how often.
func (e *entered) foundLine(rows []enteredRow) []string {
	broken := map[string]int{}
	for _, r := range rows {
		for _, f := range r.findings {
			broken[f.GetRule()+" ("+wordOf(rules.Severities, f.GetSeverity())+")"]++
		}
	}
	if len(broken) == 0 {
		return nil
	}
	var parts []string
	for rule, n := range broken {
		parts = append(parts, fmt.Sprintf("%s %d times", rule, n))
	}
	slices.Sort(parts)
	found := []string{"found: " + strings.Join(parts, ", ")}
	if len(e.here) == 0 {
		found[0] += "; trackctl findings tells of each"
		return found
	}
	// The server, which keeps them, has not got these lines yet.
	for _, r := range rows {
		for _, f := range r.findings {
			if f.GetSeverity() == pb.Severity(rules.Hold) {
				found = append(found, fmt.Sprintf("line %d: %s", r.line.row.Line, f.GetMessage()))
			}
		}
	}
	if more := len(found) - 1 - listedCandidates; more > 0 {
		found = append(found[:1+listedCandidates], fmt.Sprintf("and %d more; -o json tells of each", more))
	}
	return found
}

// enterFailure says which lines the server refused after they were kept.
func enterFailure(rows []enteredRow) error {
	f := &failure{code: exitData}
	n := 0
	for _, r := range rows {
		if r.state != "refused" {
			continue
		}
		if n++; n <= listedCandidates {
			f.lines = append(f.lines, fmt.Sprintf("line %d, id %s: %s", r.line.row.Line, ledger.ShortName(r.line.record.GetName()), r.cause))
		}
	}
	if n == 0 {
		return nil
	}
	f.message = fmt.Sprintf("the server refused %s; they stay on this device: see trackctl pending", counted(n, "line"))
	return f
}
