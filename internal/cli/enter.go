package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

const enterHelp = `FILE is a CSV file with a header line, such as sheet --csv makes: a line for each
tightening, incident, sealing or inspection, said by the column record or for all lines
by --record. Its columns are the flags of the entry commands and the columns of the
import files:

  place (or site, tower, cell, joint), at, person, fasteners, kind, lot, treatment,
  batch, tool, torque or torque_n_m, pass, method, noticed, action, sealant, width or
  width_mm, solvent, cleaned_at, air or air_c, surface or surface_c, humidity or
  humidity_pct, splice, flange_straight, result, sample, readings or readings_n_m,
  plan, device, note, id

Columns left and needs are for whoever fills it in. A blank cell takes what is kept for
the shift (trackctl at), a place may be the end of a name, and a line on which nothing
was filled in is left out. A time may be 2026-03-02 07:25, or 07:25 with --date, on this
device's clock.

All lines are checked before any is kept: each fault is named by line and column, and
then nothing is. A - stands for standard input. Entering the same file again, also one
that has grown, keeps nothing twice; a line that differs in a cell is another entry.`

// enterOptions are the flags of `enter`.
type enterOptions struct {
	record   string
	at, date time.Time
	dryRun   bool
}

func (a *app) enterCommand() *cobra.Command {
	var o enterOptions
	cmd := a.command("enter FILE.csv", "Take in a sheet that was filled in", enterHelp)
	cmd.Example = "  trackctl sheet rvb/ct2/c3 --csv --file c3.csv\n  trackctl enter c3.csv --date 2026-03-02 --person ab"
	f := newFields(cmd)
	var words []string
	for _, k := range lineKinds {
		words = append(words, ledger.RecordKinds.Name(k.kind))
	}
	f.bind("record", "", "KIND", "what lines tell that do not say it: "+strings.Join(words, ", "), func(text string) error {
		if o.record = text; !slices.Contains(words, text) {
			return fmt.Errorf("expected one of %s, got %s", strings.Join(words, ", "), csvfile.Quote(text))
		}
		return nil
	})
	mustComplete(cmd, "record", words)
	f.moment(&o.at, "at", "", "when it happened, for lines that do not say it")
	f.bind("date", "", "DAY", "day of the lines that give only the hour, such as 2026-03-02", func(text string) error {
		day, err := time.ParseInLocation(time.DateOnly, text, a.now().Location())
		if o.date = day; err != nil {
			return fmt.Errorf("expected a day such as 2026-03-02, got %s", csvfile.Quote(text))
		}
		return nil
	})
	cmd.Flags().BoolVar(&o.dryRun, "dry-run", false, "check everything and keep nothing")
	return a.runs(cmd, func(ctx context.Context, args []string) error { return a.enter(ctx, args[0], o) })
}

// entered is what became of a sheet.
type entered struct {
	file      string
	lines     []*enteredLine
	leftEmpty int
	// checkedBy says by what the lines were checked.
	checkedBy string
	known     []*outbox.Entry
	attempt   attempt
	// here is what the rules find on lines that wait, by carried data.
	here map[*enteredLine][]*pb.Finding
	// remarks say what makes that worth less.
	remarks []string
}

func (a *app) enter(ctx context.Context, file string, o enterOptions) error {
	e := &entered{file: file}
	if err := a.readSheet(ctx, o, e); err != nil {
		return err
	}
	if len(e.lines) == 0 {
		return &failure{code: exitData, message: fmt.Sprintf("%s: nothing was filled in on any of %s", file, counted(e.leftEmpty, "line"))}
	}
	if o.dryRun {
		return a.tellEntered(e, true)
	}
	box, err := a.deviceOutbox()
	if err != nil {
		return err
	}
	drafts := make([]outbox.Draft, len(e.lines))
	for i, l := range e.lines {
		if drafts[i], err = a.draft(l.record, l.summary); err != nil {
			return err
		}
	}
	result, err := box.Keep(drafts...)
	a.tellDamage(box)
	if err != nil {
		return notKept(err)
	}
	e.known = result.Known
	if err := a.sayEntered(e); err != nil {
		return err
	}
	e.attempt = a.sendSheet(ctx, box, result.Count)
	a.judgeWaiting(box, e)
	return a.tellEntered(e, false)
}

// judgeWaiting applies the rules to the lines of which the server has said nothing.
func (a *app) judgeWaiting(box *outbox.Outbox, e *entered) {
	e.here = map[*enteredLine][]*pb.Finding{}
	bySite := map[string][]*enteredLine{}
	for i, r := range e.rows(false) {
		if r.state == "waiting" {
			bySite[r.line.place.Site] = append(bySite[r.line.place.Site], e.lines[i])
		}
	}
	for _, site := range slices.Sorted(maps.Keys(bySite)) {
		lines := bySite[site]
		records := make([]record, len(lines))
		for i, l := range lines {
			records[i] = l.record
		}
		j, err := a.judgeHere(box, records)
		if err != nil {
			e.remarks = append(e.remarks, "the rules can't be applied here: "+err.Error())
		}
		if j.dataOf.IsZero() {
			continue
		}
		for i, l := range lines {
			e.here[l] = j.of[i]
		}
		if len(j.findings) == 0 || j.unknown {
			e.remarks = append(e.remarks, "of the lines at "+site+" that wait, "+byDataOf(j))
		} else {
			e.remarks = append(e.remarks, byDataOf(j)+" for the lines at "+site+" that wait")
		}
		e.remarks = append(e.remarks, j.remarks...)
	}
}

// readSheet reads all lines and checks them; any fault is a failure that names all.
func (a *app) readSheet(ctx context.Context, o enterOptions, e *entered) error {
	in := a.in
	if e.file != "-" {
		f, err := os.Open(e.file)
		if err != nil {
			return &failure{code: exitNoInput, message: fmt.Sprintf("the sheet can't be read: %v", err)}
		}
		defer f.Close() // it was only read
		in = f
	}
	var problems csvfile.Problems
	reader := &sheetReader{a: a, options: o, seen: map[[32]byte]int{}}
	err := csvfile.Scan(e.file, in, enterColumns(), &problems, func(row *csvfile.Row) error {
		l, err := reader.line(ctx, row)
		if l != nil {
			e.lines = append(e.lines, l)
		}
		return err
	})
	var f *failure
	var path *fs.PathError
	switch {
	case errors.As(err, &f):
		return f
	case errors.As(err, &path), errors.Is(err, io.ErrUnexpectedEOF):
		return &failure{code: exitNoInput, message: fmt.Sprintf("the sheet can't be read: %v", err)}
	case err != nil:
		return &failure{code: exitIO, message: fmt.Sprintf("%s: %v", e.file, err)}
	}
	e.leftEmpty = reader.leftEmpty
	if problems.Count() == 0 && len(e.lines) > 0 {
		if e.checkedBy, err = a.checkLines(ctx, e.lines); err != nil {
			return err
		}
	}
	return faultsOf(e.file, &problems)
}

// faultsOf names what is wrong in a sheet; nil for nothing.
func faultsOf(file string, problems *csvfile.Problems) error {
	if problems.Count() == 0 {
		return nil
	}
	f := &failure{code: exitData, message: fmt.Sprintf("%s: nothing was kept, since %s wrong", file, isOrAre(problems.BadLines()))}
	for _, p := range problems.Listed() {
		f.lines = append(f.lines, p.String())
	}
	if n := problems.Unlisted(); n > 0 {
		f.lines = append(f.lines, fmt.Sprintf("and %d more", n))
	}
	return f
}

func isOrAre(lines int) string {
	if lines == 1 {
		return "1 line is"
	}
	return fmt.Sprintf("%d lines are", lines)
}

// sendSheet sends what was kept. Somebody who enters a sheet sits down to it: a server
// that was reached is waited for as long as the settings say.
func (a *app) sendSheet(ctx context.Context, box *outbox.Outbox, waiting outbox.Count) attempt {
	conn, err := a.reachable(ctx)
	if err != nil || conn == nil {
		return a.trySending(ctx, box, waiting)
	}
	t := attempt{delivery: delivery{left: waiting}}
	line := &progressLine{out: a.err, terminal: isTerminal(a.err)}
	a.triedSending = true
	t.delivery, err = a.deliver(ctx, box, conn, func(done, all int) { line.say(fmt.Sprintf("sending %d of %d", done, all)) })
	line.clear()
	if err == nil {
		box.MarkReached()
		return t
	}
	t.why = a.sendFailure(err, outbox.Count{}).message
	return t
}

// outcome is what the server said of a line; nil when it said nothing yet.
func (e *entered) outcome(l *enteredLine) *pb.Outcome {
	id, err := recordIDOf(l.record)
	if err != nil {
		return nil
	}
	return e.attempt.answers[id]
}
