package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/mattn/go-isatty"
	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/csvfolder"
	"jointledger/internal/cli/output"
	"jointledger/internal/rules"
)

const importHelp = `FOLDER holds CSV files (UTF-8, a header line, times with their zone, several
readings in one cell parted by semicolons), one per kind of thing or record:
sites, people, specs, lots, batches, tools, towers, cells, joints, lot_movements,
calibrations, tool_checks, custody, sealings, tightenings, incidents, inspections. They
are taken in this order; any may be missing. Cells that joints.csv names need no file
of their own. Their columns are listed by ` + "`trackctl help import-format`" + `.

A file with a bad line is not taken at all, nor is one that needs it, unless
--keep-good is given; each bad line is named by file, line and column, those that
the server refuses in the same round. Taking the
same folder in again changes nothing: what is known already is left as it is.

Records that break a rule of the trade are taken all the same; how many break
which rule is said at the end, and findings lists them.`

func (a *app) importCommand() *cobra.Command {
	var options csvfolder.Options
	cmd := a.command("import FOLDER", "Take in a folder of CSV files", importHelp)
	cmd.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return nil, cobra.ShellCompDirectiveFilterDirs
	}
	cmd.Flags().BoolVar(&options.KeepGood, "keep-good", false, "take the good lines of a file that has bad ones")
	cmd.Flags().BoolVar(&options.DryRun, "dry-run", false, "check everything and keep nothing")
	return a.runs(cmd, func(ctx context.Context, args []string) error { return a.importFolder(ctx, args[0], options) })
}

func (a *app) importFolder(ctx context.Context, folder string, options csvfolder.Options) error {
	conn, err := a.dial()
	if err != nil {
		return err
	}
	line := &progressLine{out: a.err, terminal: isTerminal(a.err)}
	options.Progress = line.show
	reports, err := csvfolder.Take(ctx, folder, conn, options)
	line.clear()
	if err := a.tellImport(reports); err != nil {
		return err
	}
	if err != nil {
		return a.importFailure(err)
	}
	refused, files := 0, 0
	for _, r := range reports {
		refused += r.Refused
		if r.Refused > 0 {
			files++
		}
	}
	if refused > 0 {
		return &failure{code: exitData, message: fmt.Sprintf("%s refused in %s", counted(refused, "line"), counted(files, "file"))}
	}
	return nil
}

// importFailure reads what an import was broken off by.
func (a *app) importFailure(err error) error {
	var unreadable *csvfolder.NotReadableError
	if errors.As(err, &unreadable) {
		return &failure{code: exitNoInput, message: err.Error()}
	}
	return a.callFailure(err, nil)
}

func importColumns() []output.Column[*csvfolder.FileReport] {
	type report = *csvfolder.FileReport
	return []output.Column[report]{
		{Name: "file", Heading: "FILE", Value: func(r report) any { return r.File }},
		{Name: "taken", Heading: "TAKEN", Value: func(r report) any { return r.Taken }},
		{Name: "already_known", Heading: "ALREADY KNOWN", Value: func(r report) any { return r.AlreadyKnown }},
		{Name: "refused", Heading: "REFUSED", Value: func(r report) any { return r.Refused }},
		{Name: "status", Heading: "STATUS", Value: func(r report) any { return string(r.Status) }},
		{Name: "note", Heading: "NOTE", Value: func(r report) any { return text(r.Note) }},
	}
}

// tellImport lists what is wrong, for a person, and what became of each file.
func (a *app) tellImport(reports []*csvfolder.FileReport) error {
	var problems []output.Object
	for _, r := range reports {
		for _, p := range inOrder(r.Problems.Listed()) {
			fmt.Fprintln(a.err, output.Printable(p.String()))
			problems = append(problems, problemObject(p))
		}
		if n := r.Problems.Unlisted(); n > 0 {
			fmt.Fprintf(a.err, "%s: and %d more\n", r.File, n)
		}
	}
	if len(reports) == 0 {
		return nil
	}
	w, err := output.New(a.config(), "files", importColumns())
	if err != nil {
		return err
	}
	for _, r := range reports {
		if err := w.Row(r); err != nil {
			return err
		}
	}
	return w.Close(output.Note{Key: "problems", Value: problems}, importFindings(reports))
}

// inOrder gives problems in the order of the file: those of the lines themselves
// and those of the server come one after the other.
func inOrder(problems []csvfile.Problem) []csvfile.Problem {
	problems = slices.Clone(problems)
	slices.SortStableFunc(problems, func(a, b csvfile.Problem) int { return cmp.Or(a.Line-b.Line, a.Column-b.Column) })
	return problems
}

// importFindings sums up the rules that the records of all files break.
func importFindings(reports []*csvfolder.FileReport) output.Note {
	sums := map[csvfolder.Broken]int64{}
	for _, r := range reports {
		for b, n := range r.Findings {
			sums[b] += int64(n)
		}
	}
	var counts []findingCount
	for b, n := range sums {
		counts = append(counts, findingCount{b.Rule, b.Severity, n})
	}
	slices.SortFunc(counts, func(a, b findingCount) int {
		return cmp.Or(int(b.severity)-int(a.severity), strings.Compare(a.rule, b.rule))
	})
	note := output.Note{Key: "findings", Value: output.ObjectsOf(findingCountColumns(), counts)}
	for _, c := range counts {
		note.Text = append(note.Text, fmt.Sprintf("%-4s  %-26s %6d", wordOf(rules.Severities, c.severity), c.rule, c.count))
	}
	if len(counts) > 0 {
		note.Text = append([]string{"findings on these records, which trackctl findings lists:"}, note.Text...)
	}
	return note
}

func problemObject(p csvfile.Problem) output.Object {
	return output.Object{
		{Key: "file", Value: p.File}, {Key: "line", Value: p.Line}, {Key: "column", Value: p.Column},
		{Key: "name", Value: text(p.Name)}, {Key: "message", Value: p.Message},
	}
}

// isTerminal says whether somebody looks at what is written there.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && isatty.IsTerminal(f.Fd())
}

// progressLine is one line on a terminal that is written over and over.
type progressLine struct {
	out      io.Writer
	terminal bool
	dirty    bool
}

func (l *progressLine) show(p csvfolder.Progress) {
	if p.Checking {
		l.say(fmt.Sprintf("%s: %d checked", p.File, p.Done))
		return
	}
	l.say(fmt.Sprintf("%s: %d of %d taken", p.File, p.Done, p.Total))
}

// say writes the line anew.
func (l *progressLine) say(text string) {
	if !l.terminal {
		return
	}
	fmt.Fprint(l.out, "\r\x1b[K", text)
	l.dirty = true
}

func (l *progressLine) clear() {
	if l.dirty {
		fmt.Fprint(l.out, "\r\x1b[K")
	}
}
