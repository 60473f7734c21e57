package figure

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Figure is one figure of the quality report.
type Figure interface {
	// Name says what kind of figure of what it is: `Forest plot of lots`.
	Name() string
	// Words are its finding, method, assumption and cautions.
	Words() Caption
	// Validate finds what cannot be drawn; the error is a *FieldError.
	Validate() error
	// SVG draws a figure that is valid. The id is put before the names that the
	// picture needs inside of a page, and must be unique there.
	SVG(id string) string
	// Description says in words what the picture shows, for those who don't see it.
	Description() string
	// Table holds the figures that are drawn, in the order of the picture.
	Table() Table
}

// Caption is the words of a figure. All of it is said by whoever computed it.
type Caption struct {
	// Finding is the one sentence on top. It must be given.
	Finding string `json:"finding"`
	// Method says how the figures were made, Assumption what must hold for them.
	Method     string `json:"method"`
	Assumption string `json:"assumption"`
	// Cautions are what a reader must know before acting.
	Cautions []string `json:"cautions"`
	// LeftOut says, in one sentence each, what was left out and why.
	LeftOut []string `json:"left_out"`
}

// Words gives the caption itself.
func (c Caption) Words() Caption { return c }

func (c Caption) validate() error {
	if strings.TrimSpace(c.Finding) == "" {
		return wrong("finding", "must be a sentence that states what the figure shows")
	}
	return nil
}

// Table is the figures of a picture as rows of text.
type Table struct {
	Head []string
	Rows [][]string
	// TextColumns is how many columns, from the first, hold names; the others hold
	// figures.
	TextColumns int
	// More says what the rows leave out; empty when they leave out nothing.
	More string
}

// FieldError says which field of a figure or document cannot be used, and what was
// expected.
type FieldError struct{ Field, Requirement string }

// Error gives field and requirement.
func (e *FieldError) Error() string { return e.Field + ": " + e.Requirement }

func wrong(field, requirement string) error { return &FieldError{field, requirement} }

// Within puts the name of what holds the field before it.
func Within(holder string, err error) error {
	if e, ok := err.(*FieldError); ok { //nolint:errorlint // only ever made here, never wrapped
		return &FieldError{holder + "." + e.Field, e.Requirement}
	}
	return err
}

// greatest is the largest number that is drawn: beyond it a picture says nothing
// and its arithmetic might overflow.
const greatest = 1e15

// checks collects the first thing that is wrong.
type checks struct{ err error }

func (c *checks) require(ok bool, requirement, field string, args ...any) {
	if c.err == nil && !ok {
		c.err = wrong(fmt.Sprintf(field, args...), requirement)
	}
}

func (c *checks) number(v float64, field string, args ...any) {
	c.require(math.Abs(v) <= greatest, "must be a finite number of at most 1e15 in size", field, args...)
}

// positive checks for a finite number of at least 0.
func (c *checks) positive(v float64, field string, args ...any) {
	c.require(v >= 0 && v <= greatest, "must be a finite number of at least 0", field, args...)
}

func (c *checks) optional(v *float64, field string, args ...any) {
	if v != nil {
		c.number(*v, field, args...)
	}
}

func (c *checks) count(n int64, field string, args ...any) {
	c.require(n >= 0 && float64(n) <= greatest, "must be a count of at least 0", field, args...)
}

func (c *checks) name(s, field string, args ...any) {
	c.require(strings.TrimSpace(s) != "", "must be given", field, args...)
}

// interval checks that lower ≤ value ≤ upper, as far as they are given.
func (c *checks) interval(value, lower, upper *float64, field string) {
	c.optional(value, "%s.value", field)
	c.optional(lower, "%s.lower", field)
	c.optional(upper, "%s.upper", field)
	ordered := func(a, b *float64) bool { return a == nil || b == nil || *a <= *b }
	c.require(ordered(lower, value) && ordered(lower, upper), "must not lie above the value or the upper limit", "%s.lower", field)
	c.require(ordered(value, upper), "must not lie below the value", "%s.upper", field)
}

func (c *checks) day(d Day, field string, args ...any) {
	_, err := time.Parse(time.DateOnly, string(d))
	c.require(err == nil, "must be a day, YYYY-MM-DD", field, args...)
}

// Day is a calendar day at the site, `YYYY-MM-DD`.
type Day string

// number is the days since 1970-01-01 of a day that was checked.
func (d Day) number() float64 {
	t, _ := time.Parse(time.DateOnly, string(d))
	return float64(t.Unix() / 86400)
}

func dayOf(number float64) Day {
	return Day(time.Unix(int64(math.Round(number))*86400, 0).UTC().Format(time.DateOnly))
}

// more says how many of all stand behind the ones drawn.
func more(all, drawn int) string {
	if all <= drawn {
		return ""
	}
	return fmt.Sprintf("and %s more", Count(int64(all-drawn)))
}

// most is how many are drawn: what was asked for, or by default.
func most(asked, byDefault, all int) int {
	if asked <= 0 {
		asked = byDefault
	}
	return min(asked, all)
}
