package countfile

import (
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	"jointledger/internal/stats"
)

// Count is what failed among how many attempts, for one combination of values.
type Count struct {
	// Values are in the order of the groupings asked for; an empty one is where the
	// file names none.
	Values             []string
	Failures, Attempts int64
}

// Counts is a file of counts.
type Counts struct {
	// By are the groupings that the file has columns for.
	By   []analysis.Grouping
	file string
	// rows are those of the file, added up where all values are alike.
	rows []Count
}

// MostGroups bounds how many combinations of values a file of counts may have; a
// choice of ours. Its rows may be any number.
const MostGroups = 2_000_000

// mostSum stops the adding up long before a number is too large for the machine.
const mostSum = 1 << 61

// Column is the name of a grouping's column, which has underscores for hyphens.
func Column(g analysis.Grouping) string {
	return strings.ReplaceAll(analysis.Groupings.Name(g), "-", "_")
}

// countColumns are the groupings, spelt either way, and the counts.
func countColumns() []csvfile.Column {
	var columns []csvfile.Column
	for _, word := range analysis.Groupings.All() {
		name := strings.ReplaceAll(word, "-", "_")
		columns = append(columns, csvfile.Column{Name: name})
		if name != word {
			columns = append(columns, csvfile.Column{Name: word})
		}
	}
	return append(columns, csvfile.Column{Name: "failures", Required: true, Number: true},
		csvfile.Column{Name: "attempts", Number: true}, csvfile.Column{Name: "successes", Number: true})
}

// ReadCounts reads a file of counts from r. The error is a *WrongError, or that of r.
func ReadCounts(file string, r io.Reader) (*Counts, error) {
	c := &Counts{file: file}
	var names []string
	var t tally
	first := func(row *csvfile.Row, problems *csvfile.Problems) bool {
		good := true
		for _, word := range analysis.Groupings.All() {
			spellings := []string{strings.ReplaceAll(word, "-", "_")}
			if spellings[0] != word {
				spellings = append(spellings, word)
			}
			name, ok := oneOf(file, row, problems, false, spellings...)
			good = good && ok
			if g, err := analysis.Groupings.Parse(word); err == nil && name != "" {
				c.By, names = append(c.By, g), append(names, name)
			}
		}
		return t.among(file, row, problems, []string{"failures"}, []string{"attempts"}) && good
	}
	at := map[string]int{}
	err := scan(file, r, countColumns(), noLimit, first, func(row *csvfile.Row) bool {
		values := make([]string, len(names))
		for i, name := range names {
			values[i] = valueOf(row, name, c.By[i])
		}
		failures, attempts := t.read(row)
		if row.Bad() {
			return true
		}
		key := strings.Join(values, "\x00")
		i, known := at[key]
		if !known {
			if i = len(c.rows); i >= MostGroups {
				row.Fail("", "expected at most %d combinations of values, got more; leave out columns that the question does not need", MostGroups)
				return false
			}
			at[key], c.rows = i, append(c.rows, Count{Values: values})
		}
		sum := &c.rows[i]
		if sum.Attempts > mostSum {
			row.Fail(t.failures, "expected attempts that add up to at most %d, got more", int64(stats.MaxCount))
			return false
		}
		sum.Failures, sum.Attempts = sum.Failures+failures, sum.Attempts+attempts
		return true
	})
	if err != nil {
		return nil, err
	}
	return c, nil
}

// isoWeek is a week as ISO 8601 numbers it.
var isoWeek = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^\d{4}-W(0[1-9]|[1-4]\d|5[0-3])$`) })

// valueOf reads the value of a grouping; words of the trade come out as they are
// spelt, and those that are none as they stand.
func valueOf(row *csvfile.Row, name string, g analysis.Grouping) string {
	text := row.Text(name)
	expected := ""
	switch g {
	case analysis.ByMonth:
		if _, err := time.Parse("2006-01", text); err != nil {
			expected = "a month YYYY-MM"
		}
	case analysis.ByDay:
		if _, err := time.Parse(time.DateOnly, text); err != nil {
			expected = "a date YYYY-MM-DD"
		}
	case analysis.ByWeek:
		if !isoWeek().MatchString(text) {
			expected = "a week YYYY-Www such as 2026-W09"
		}
	default: // the others go on below
	}
	if expected != "" && text != "" {
		row.Fail(name, "expected %s, got %s", expected, csvfile.Quote(text))
	}
	return Spelt(g, text)
}

// Spelt gives a treatment, material or driving method as the ledger spells it, and
// any other text as it is.
func Spelt(g analysis.Grouping, text string) string {
	switch g {
	case analysis.ByTreatment:
		return spelt(ledger.Treatments, text)
	case analysis.ByMaterial:
		return spelt(ledger.Materials, text)
	case analysis.ByDrivingMethod:
		return spelt(ledger.DrivingMethods, text)
	default: // the others go on below
	}
	return text
}

func spelt[T ~uint8](words ledger.Words[T], text string) string {
	if v, err := words.Parse(text); err == nil {
		return words.Name(v)
	}
	return text
}

// Has says whether the file has a column for the grouping.
func (c *Counts) Has(g analysis.Grouping) bool { return slices.Contains(c.By, g) }

// Sum adds the rows up by the groupings, for each of which there must be a column; the
// sums are in the order of their values. The error says which sum is too large.
func (c *Counts) Sum(by []analysis.Grouping) ([]Count, error) {
	places := make([]int, len(by))
	for i, g := range by {
		if places[i] = slices.Index(c.By, g); places[i] < 0 {
			return nil, fmt.Errorf("%s has no column %s", c.file, Column(g))
		}
	}
	at := map[string]int{}
	var sums []Count
	for _, row := range c.rows {
		values := make([]string, len(by))
		for i, p := range places {
			values[i] = row.Values[p]
		}
		key := strings.Join(values, "\x00")
		i, known := at[key]
		if !known {
			i = len(sums)
			at[key], sums = i, append(sums, Count{Values: values})
		}
		s := &sums[i]
		s.Failures, s.Attempts = s.Failures+row.Failures, s.Attempts+row.Attempts
		if s.Attempts > stats.MaxCount {
			return nil, fmt.Errorf("the attempts of %s add up to more than %d", strings.Join(values, ", "), int64(stats.MaxCount))
		}
	}
	slices.SortFunc(sums, func(a, b Count) int { return slices.Compare(a.Values, b.Values) })
	return sums, nil
}

// LookAlikes says of which values of a grouping there are several spellings: they are
// counted apart, which is hardly ever what was meant.
func (c *Counts) LookAlikes(g analysis.Grouping) []string {
	p := slices.Index(c.By, g)
	if p < 0 {
		return nil
	}
	spellings := map[string][]string{}
	var order []string
	for _, row := range c.rows {
		v := row.Values[p]
		key := Folded(v)
		if len(spellings[key]) == 0 {
			order = append(order, key)
		}
		if !slices.Contains(spellings[key], v) {
			spellings[key] = append(spellings[key], v)
		}
	}
	var said []string
	for _, key := range order {
		if s := spellings[key]; len(s) > 1 {
			slices.Sort(s)
			said = append(said, fmt.Sprintf("Column %s has %s, which differ in letter case, spaces or hyphens only: they are counted as different.", Column(g), strings.Join(s, " and ")))
		}
	}
	return said
}

// Folded is what two spellings of one value have in common.
func Folded(value string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case ' ', '_', '-', '\u00a0':
			return -1
		}
		return r
	}, strings.ToLower(value))
}
