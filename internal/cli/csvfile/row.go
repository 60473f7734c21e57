package csvfile

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf8"
)

type position struct{ line, column int }

// Row is one line of data. Its methods read cells by the column's name; a cell
// that is not what was expected is noted with the file's problems and makes the
// row bad.
type Row struct {
	// Line is the number of its first line in the file, from 1.
	Line int

	scanner *scanner
	cells   []string
	at      []position
	bad     bool
}

// Bad says whether a cell was found wrong.
func (r *Row) Bad() bool { return r.bad }

// Fail notes that the cell under name is wrong.
func (r *Row) Fail(name, format string, args ...any) {
	r.bad = true
	r.scanner.problems.Add(r.Problem(name, fmt.Sprintf(format, args...)))
}

// Problem makes a problem of the cell under name, without noting it.
func (r *Row) Problem(name, message string) Problem {
	p := Problem{File: r.scanner.file, Line: r.Line, Column: 1, Name: name, Message: message}
	for i, n := range r.scanner.header {
		if n == name {
			p.Line, p.Column = r.at[i].line, r.at[i].column
		}
	}
	return p
}

// Has says whether the file has a column of that name.
func (r *Row) Has(name string) bool {
	for _, n := range r.scanner.header {
		if n == name {
			return true
		}
	}
	return false
}

// Text is the cell without the space around it; empty when the file has no such
// column.
func (r *Row) Text(name string) string {
	for i, n := range r.scanner.header {
		if n == name {
			return strings.TrimSpace(r.cells[i])
		}
	}
	return ""
}

// Required is the cell's text, which must not be empty; what says what it should
// hold.
func (r *Row) Required(name, what string) string {
	text := r.Text(name)
	if text == "" {
		r.expected(name, what)
	}
	return text
}

// expected notes that the cell should have been something else.
func (r *Row) expected(name, what string) {
	got := "nothing"
	if text := r.Text(name); text != "" {
		got = quote(text)
	}
	r.Fail(name, "expected %s, got %s", what, got)
}

var (
	decimalNumber = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?$`) })
	decimalComma  = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[+-]?\d+,\d+$`) })
	grouped       = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^[+-]?\d{1,3}([,.'\x{2019} \x{a0}\x{202f}]\d{3})+([.,]\d+)?$`)
	})
)

// ParseNumber reads a finite number with a decimal point; problem says what was
// expected where it is none.
func ParseNumber(text string) (value float64, problem string) {
	if decimalNumber().MatchString(text) {
		v, err := strconv.ParseFloat(text, 64)
		if err == nil && !math.IsInf(v, 0) {
			return v, ""
		}
		return 0, fmt.Sprintf("expected a finite number, got %s", quote(text))
	}
	switch {
	case strings.Count(text, ",") == 1 && decimalComma().MatchString(text):
		return 0, fmt.Sprintf("expected a number with a decimal point, got %s with a comma", quote(text))
	case grouped().MatchString(text):
		return 0, fmt.Sprintf("expected a number without thousands separators, got %s", quote(text))
	}
	return 0, fmt.Sprintf("expected a number such as 12.5, got %s", quote(text))
}

// Number reads a finite number; nil when the cell is empty or wrong.
func (r *Row) Number(name string) *float64 {
	text := r.Text(name)
	if text == "" {
		return nil
	}
	v, problem := ParseNumber(text)
	if problem != "" {
		r.Fail(name, "%s", problem)
		return nil
	}
	return &v
}

// NumberOrZero reads a finite number; 0 when the cell is empty or wrong.
func (r *Row) NumberOrZero(name string) float64 {
	if v := r.Number(name); v != nil {
		return *v
	}
	return 0
}

// AboveZero reads a finite number above 0, for a column in which 0 would mean that
// nothing is given; 0 when the cell is empty or wrong.
func (r *Row) AboveZero(name string) float64 {
	v := r.Number(name)
	if v == nil {
		return 0
	}
	if *v <= 0 {
		r.expected(name, "above 0, or nothing")
		return 0
	}
	return *v
}

// RequiredNumber reads a finite number that must be there.
func (r *Row) RequiredNumber(name string) float64 {
	if r.Text(name) == "" {
		r.expected(name, "a number such as 12.5")
		return 0
	}
	return r.NumberOrZero(name)
}

// Numbers reads finite numbers parted by semicolons; nil when the cell is empty.
func (r *Row) Numbers(name string) []float64 {
	text := r.Text(name)
	if text == "" {
		return nil
	}
	var values []float64
	for _, part := range strings.Split(text, ";") {
		v, problem := ParseNumber(strings.TrimSpace(part))
		if problem != "" {
			r.Fail(name, "%s", strings.Replace(problem, "expected a", "expected numbers parted by semicolons, each a", 1))
			return nil
		}
		values = append(values, v)
	}
	return values
}

var wholeNumber = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[+-]?\d+$`) })

// Whole reads a whole number from least to most; 0 when the cell is empty or
// wrong. A cell that must be filled is checked with RequiredWhole.
func (r *Row) Whole(name string, least, most int64) int64 {
	text := r.Text(name)
	if text == "" {
		return 0
	}
	v, err := strconv.ParseInt(text, 10, 64)
	switch {
	case grouped().MatchString(text):
		r.Fail(name, "expected a whole number without thousands separators, got %s", quote(text))
	case !wholeNumber().MatchString(text):
		r.Fail(name, "expected a whole number, got %s", quote(text))
	case err != nil || v < least || v > most:
		r.Fail(name, "expected a whole number from %d to %d, got %s", least, most, quote(text))
	default:
		return v
	}
	return 0
}

// WholeAboveZero reads a whole number from 1 to most, for a column in which 0 would
// mean that nothing is given; 0 when the cell is empty or wrong.
func (r *Row) WholeAboveZero(name string, most int64) int64 {
	if text := r.Text(name); text != "" && strings.Trim(text, "0") == "" {
		r.expected(name, "above 0, or nothing")
		return 0
	}
	return r.Whole(name, 1, most)
}

// RequiredWhole reads a whole number that must be there.
func (r *Row) RequiredWhole(name string, least, most int64) int64 {
	if r.Text(name) == "" {
		r.expected(name, fmt.Sprintf("a whole number from %d to %d", least, most))
		return 0
	}
	return r.Whole(name, least, most)
}

// Bool reads `true` or `false`; nil when the cell is empty or wrong.
func (r *Row) Bool(name string) *bool {
	var v bool
	switch strings.ToLower(r.Text(name)) {
	case "":
		return nil
	case "true":
		v = true
	case "false":
	default:
		r.expected(name, "true or false")
		return nil
	}
	return &v
}

// Date reads a date `YYYY-MM-DD` and gives it as it stands; empty when the cell
// is.
func (r *Row) Date(name string) string {
	text := r.Text(name)
	if text == "" {
		return ""
	}
	if _, err := time.Parse(time.DateOnly, text); err != nil {
		r.expected(name, "a date YYYY-MM-DD")
		return ""
	}
	return text
}

// TimeExample shows what a time with its zone looks like.
const TimeExample = "2026-03-02T07:25:00+01:00"

// RequiredTime reads a time with its zone (RFC 3339) that must be there.
func (r *Row) RequiredTime(name string) time.Time {
	text := r.Text(name)
	t, err := ParseTime(text)
	if err != nil {
		r.expected(name, "a time with its zone such as "+TimeExample)
	}
	return t
}

// ParseTime reads a time with its zone as RFC 3339 has it; its location keeps the
// offset that was written.
func ParseTime(text string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, text)
	_, seconds := t.Zone()
	const day = 24 * 60 * 60 // Go takes +24:60, which RFC 3339 (5.6) does not have
	if err != nil || seconds <= -day || seconds >= day {
		return time.Time{}, fmt.Errorf("expected a time with its zone such as %s, got %s", TimeExample, quote(text))
	}
	return t.In(time.FixedZone("", seconds)), nil
}

// quote shows a text as it stands in a file, cut when it is long.
func quote(text string) string {
	const most = 60
	if utf8.RuneCountInString(text) > most {
		text = string([]rune(text)[:most]) + "…"
	}
	return strconv.Quote(text)
}

// Quote shows a text in a message, cut when it is long.
func Quote(text string) string { return quote(text) }
