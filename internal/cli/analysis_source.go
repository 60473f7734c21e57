package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"unicode"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/countfile"
	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	"jointledger/internal/nearest"
	"jointledger/internal/stats"
)

// rowSource is where an analysis has its rows from.
type rowSource interface {
	// Name is what the source is called where it is at fault.
	Name() string
	// Groupings are those that it can count by.
	Groupings(ctx context.Context) ([]analysis.Grouping, error)
	// Counts gives what failed, added up by the groupings, in the order of their
	// values, and what to mind about these.
	Counts(ctx context.Context, by []analysis.Grouping) (rows []countfile.Count, cautions []string, err error)
	// History gives what failed in the order of time.
	History(ctx context.Context) (*countfile.History, error)
	// Stock gives what is on hand and what remains to be installed.
	Stock(ctx context.Context) ([]analysis.SparesLine, error)
}

// historySource is where an analysis has its rows in the order of time from.
type historySource interface {
	Name() string
	History(ctx context.Context) (*countfile.History, error)
}

// fileSource is a CSV file as a source; - is standard input.
type fileSource struct {
	name   string
	in     io.Reader
	counts *countfile.Counts
}

// Name is the file's.
func (s *fileSource) Name() string { return s.name }

func (s *fileSource) read() (*countfile.Counts, error) {
	if s.counts != nil {
		return s.counts, nil
	}
	var err error
	s.counts, err = readFrom(s, countfile.ReadCounts)
	return s.counts, err
}

// Groupings are those that the file has columns for.
func (s *fileSource) Groupings(context.Context) ([]analysis.Grouping, error) {
	c, err := s.read()
	if err != nil {
		return nil, err
	}
	return c.By, nil
}

// Counts adds up the rows of the file.
func (s *fileSource) Counts(_ context.Context, by []analysis.Grouping) ([]countfile.Count, []string, error) {
	c, err := s.read()
	if err != nil {
		return nil, nil, err
	}
	var cautions []string
	for _, g := range by {
		if !c.Has(g) {
			return nil, nil, &failure{code: exitData, message: fmt.Sprintf("%s has no column %s; %s", s.name, countfile.Column(g), hasColumns(c.By))}
		}
		cautions = append(cautions, c.LookAlikes(g)...)
	}
	rows, err := c.Sum(by)
	if err != nil {
		return nil, nil, &failure{code: exitData, message: fmt.Sprintf("%s: %v", s.name, err)}
	}
	return rows, cautions, nil
}

func hasColumns(by []analysis.Grouping) string {
	if len(by) == 0 {
		return "it has counts only, and no column of a grouping"
	}
	names := make([]string, len(by))
	for i, g := range by {
		names[i] = countfile.Column(g)
	}
	return "it has " + strings.Join(names, ", ")
}

// History reads the file as one of rows in order.
func (s *fileSource) History(context.Context) (*countfile.History, error) {
	return readFrom(s, countfile.ReadHistory)
}

// Stock reads the file as one of spares.
func (s *fileSource) Stock(context.Context) ([]analysis.SparesLine, error) {
	return readFrom(s, countfile.ReadStock)
}

// readFrom opens the file and words what is wrong with it.
func readFrom[T any](s *fileSource, read func(string, io.Reader) (T, error)) (T, error) {
	var none T
	in := s.in
	if s.name != "-" {
		file, err := os.Open(s.name)
		if err != nil {
			var e *os.PathError
			if errors.As(err, &e) {
				err = e.Err
			}
			return none, &failure{code: exitNoInput, message: fmt.Sprintf("%s can't be read: %v", s.name, err)}
		}
		defer file.Close()
		if about, err := file.Stat(); err == nil && about.IsDir() {
			return none, &failure{code: exitNoInput, message: s.name + " can't be read: expected a file, got a folder"}
		}
		in = file
	}
	got, err := read(s.name, in)
	var wrong *countfile.WrongError
	switch {
	case errors.As(err, &wrong):
		f := &failure{code: exitData, message: fmt.Sprintf("%s: %s refused", s.name, counted(wrong.Problems.BadLines(), "line"))}
		for _, p := range wrong.Problems.Listed() {
			f.lines = append(f.lines, p.String())
		}
		if n := wrong.Problems.Unlisted(); n > 0 {
			f.lines = append(f.lines, fmt.Sprintf("and %d more", n))
		}
		return none, f
	case err != nil:
		return none, &failure{code: exitIO, message: fmt.Sprintf("%s can't be read: %v", s.name, err)}
	}
	return got, nil
}

// analysisFailure words what an analysis refuses: by the flag that the argument was
// given with, or as a fault of the source.
func analysisFailure(err error, source interface{ Name() string }, flags map[string]string) error {
	var bad *stats.ArgumentError
	if !errors.As(err, &bad) {
		return &failure{code: exitInternal, message: err.Error()}
	}
	if name, ok := flags[bad.Argument]; ok {
		return usage("--%s: %s, got %s", name, strings.Replace(bad.Requirement, "must ", "it must ", 1), bad.Value)
	}
	return &failure{code: exitData, message: fmt.Sprintf("%s: %v", source.Name(), bad)}
}

// valueIn finds a value that was typed among those of a column. Letter case, spaces and
// hyphens may differ where that leaves one only.
func valueIn(source rowSource, g analysis.Grouping, argument, typed string, values []string) (string, error) {
	if typed == noneText {
		typed = ""
	}
	typed = countfile.Spelt(g, typed)
	var alike []string
	for _, v := range values {
		if v == typed {
			return v, nil
		}
		if countfile.Folded(v) == countfile.Folded(typed) {
			alike = append(alike, v)
		}
	}
	if len(alike) == 1 {
		return alike[0], nil
	}
	what := csvfile.Quote(typed)
	if typed == "" {
		what = "an empty cell"
	}
	message := fmt.Sprintf("%s: no row of %s has %s in column %s", argument, source.Name(), what, countfile.Column(g))
	n, near := nearest.Name(typed, slices.DeleteFunc(slices.Clone(values), func(v string) bool { return v == "" || isDigitApart(typed, v) }))
	switch {
	case typed == ledger.Treatments.Name(ledger.TreatmentNone) && slices.Contains(values, ""):
		// Whoever left cells empty may have meant that nothing was applied; nobody can know.
		message += fmt.Sprintf(`; some cells are empty, which says nothing of a treatment: type "%s" to take these, or write none into them`, noneText)
	case typed != "" && near:
		message += fmt.Sprintf("; did you mean %s?", n)
	default:
		message += "; it has " + someOf(values)
	}
	return "", &failure{code: exitUnknown, message: message}
}

// isDigitApart says whether two short names differ in their digits alone: S4 beside S1
// is another site, not a slip, while one digit of a long lot number may be one.
func isDigitApart(a, b string) bool {
	digits := 0
	letters := func(s string) string {
		return strings.Map(func(r rune) rune {
			if unicode.IsDigit(r) {
				digits++
				return -1
			}
			return unicode.ToLower(r)
		}, s)
	}
	return letters(a) == letters(b) && digits > 0 && digits <= 6 // of both together
}

// noneText stands for what records or files leave empty.
const noneText = "(none)"

// shownName is a value as a person reads it.
func shownName(value string) string {
	if value == "" {
		return noneText
	}
	return value
}

// someOf lists values, cut when they are many.
func someOf(values []string) string {
	const most = 12
	var shown []string
	for i, v := range values {
		if i == most {
			return strings.Join(shown, ", ") + fmt.Sprintf(" and %d more", len(values)-most)
		}
		shown = append(shown, shownName(v))
	}
	return strings.Join(shown, ", ")
}
