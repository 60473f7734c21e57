package countfile

import (
	"io"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/csvfile"
	"jointledger/internal/stats"
)

// History is a file of counts in the order of time.
type History struct {
	Rows []analysis.TrendRow
	// PerExposure is set where events are counted in an exposure.
	PerExposure bool
	// Cautions are what to mind about the rows.
	Cautions []string
}

// moments are the columns that name a row, with how their cells are read; a label may
// be any text.
var moments = []struct{ name, layout, example string }{
	{"label", "", ""},
	{"day", time.DateOnly, "a date YYYY-MM-DD"},
	{"date", time.DateOnly, "a date YYYY-MM-DD"},
	{"month", "2006-01", "a month YYYY-MM"},
	{"time", time.RFC3339, "a time with its zone such as " + csvfile.TimeExample},
}

func historyColumns() []csvfile.Column {
	var columns []csvfile.Column
	for _, m := range moments {
		columns = append(columns, csvfile.Column{Name: m.name})
	}
	for _, name := range []string{"x", "failures", "n", "attempts", "successes", "exposure"} {
		columns = append(columns, csvfile.Column{Name: name, Number: true})
	}
	return columns
}

// history is the reading of a file.
type history struct {
	file string
	History
	tally  tally
	moment int // of moments; −1 where rows have no name
	last   time.Time
	before string
}

// ReadHistory reads a file of rows in order, oldest first: what failed in x or
// failures, among how many in n, attempts or successes, or in how much in exposure.
// The error is a *WrongError, or that of r.
func ReadHistory(file string, r io.Reader) (*History, error) {
	h := &history{file: file, moment: -1}
	if err := scan(file, r, historyColumns(), MostRows, h.columns, h.read); err != nil {
		return nil, err
	}
	return &h.History, nil
}

func (h *history) columns(row *csvfile.Row, problems *csvfile.Problems) bool {
	var names []string
	for _, m := range moments {
		names = append(names, m.name)
	}
	name, good := oneOf(h.file, row, problems, false, names...)
	for i, m := range moments {
		if m.name == name {
			h.moment = i
		}
	}
	if !row.Has("exposure") {
		if !row.Has("n") && !row.Has("attempts") && !row.Has("successes") {
			problems.Add(heading(h.file, "n", "expected a column n, attempts, successes or exposure, got none"))
			return false
		}
		return h.tally.among(h.file, row, problems, []string{"x", "failures"}, []string{"n", "attempts"}) && good
	}
	h.PerExposure = true
	for _, other := range []string{"n", "attempts", "successes"} {
		if row.Has(other) {
			problems.Add(heading(h.file, other, "expected either attempts or an exposure, got %s and exposure", other))
			good = false
		}
	}
	failures, ok := oneOf(h.file, row, problems, true, "x", "failures")
	h.tally.failures = failures
	return ok && good
}

func (h *history) read(row *csvfile.Row) bool {
	r := analysis.TrendRow{Label: h.label(row)}
	if h.PerExposure {
		r.Failures = row.RequiredWhole(h.tally.failures, 0, stats.MaxCount)
		r.Exposure = row.RequiredNumber("exposure")
		switch {
		case row.Bad():
		case r.Exposure < 0 || r.Exposure > stats.MaxCount:
			row.Fail("exposure", "expected a number from 0 to %d, got %s", int64(stats.MaxCount), row.Text("exposure"))
		case r.Exposure == 0 && r.Failures > 0:
			row.Fail("exposure", "expected above 0, since %d failed, got 0", r.Failures)
		}
	} else {
		r.Failures, r.Attempts = h.tally.read(row)
	}
	if !row.Bad() {
		h.Rows = append(h.Rows, r)
	}
	return true
}

// label reads the name of a row. What is a time must come after the one before.
func (h *history) label(row *csvfile.Row) string {
	if h.moment < 0 {
		return ""
	}
	m := moments[h.moment]
	if m.layout == "" {
		return row.Required(m.name, "a name for the row")
	}
	text := row.Text(m.name)
	at, err := time.Parse(m.layout, text)
	switch {
	case text == "":
		row.Fail(m.name, "expected %s, got nothing", m.example)
	case err != nil:
		row.Fail(m.name, "expected %s, got %s", m.example, csvfile.Quote(text))
	case h.before != "" && !at.After(h.last):
		row.Fail(m.name, "expected rows oldest first, each once, and so one after %s, got %s", h.before, text)
	default:
		h.last, h.before = at, text
	}
	return text
}
