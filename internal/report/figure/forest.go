package figure

import (
	"fmt"
	"math"
	"slices"
	"unicode"
	"unicode/utf8"
)

// Forest is a forest plot (Lewis and Clarke 2001): each group's ratio or rate with
// its interval, one above the other.
type Forest struct {
	Caption
	// Of is what the rows are, in the plural: `lots`.
	Of string `json:"of"`
	// Measure names the axis: `rate ratio to the other lots, same sites`.
	Measure string `json:"measure"`
	// Ratio asks for a logarithmic axis, on which twice and half stand equally far
	// from 1. Values and limits are then at least 0.
	Ratio bool `json:"ratio"`
	// Confidence of the intervals, strictly between 0 and 1.
	Confidence float64 `json:"confidence"`
	// Reference is where a vertical line stands, such as 1 or the rate of all, with
	// its label; nil for none.
	Reference      *float64 `json:"reference"`
	ReferenceLabel string   `json:"reference_label"`
	// Rows in the order of reading, the worst first.
	Rows []ForestRow `json:"rows"`
	// Most is how many rows are drawn, the first ones; 24 when 0.
	Most int `json:"most"`
}

// ForestRow is one group. Value is nil where none can be given, a limit where there
// is none on that side.
type ForestRow struct {
	Name     string   `json:"name"`
	Failures int64    `json:"failures"`
	Attempts int64    `json:"attempts"`
	Value    *float64 `json:"value"`
	Lower    *float64 `json:"lower"`
	Upper    *float64 `json:"upper"`
	// StandsOut marks a row whose difference is more than chance, after allowance
	// for how many rows there are.
	StandsOut bool `json:"stands_out"`
}

// Name of the figure.
func (f *Forest) Name() string { return "Forest plot of " + f.Of }

// Validate finds what cannot be drawn.
func (f *Forest) Validate() error {
	c := checks{err: f.validate()}
	c.name(f.Of, "of")
	c.name(f.Measure, "measure")
	c.require(f.Confidence > 0 && f.Confidence < 1, "must lie between 0 and 1, both excluded", "confidence")
	c.optional(f.Reference, "reference")
	c.require(!f.Ratio || f.Reference == nil || *f.Reference > 0, "must be above 0 for ratios", "reference")
	for i, r := range f.Rows {
		field := fmt.Sprintf("rows[%d]", i)
		c.name(r.Name, "%s.name", field)
		c.count(r.Failures, "%s.failures", field)
		c.count(r.Attempts, "%s.attempts", field)
		c.interval(r.Value, r.Lower, r.Upper, field)
		for _, v := range []*float64{r.Value, r.Lower, r.Upper} {
			c.require(!f.Ratio || v == nil || *v >= 0, "must have ratios of at least 0", "%s", field)
		}
	}
	return c.err
}

// Drawn are the rows that are drawn.
func (f *Forest) Drawn() []ForestRow { return f.Rows[:most(f.Most, 24, len(f.Rows))] }

// Range is what the axis must hold of rows: all values, and limits as far as they
// don't squeeze the values together; beyond that they are drawn as arrows.
func (f *Forest) Range(rows []ForestRow) (low, high float64) {
	var values, limits []float64
	take := func(to *[]float64, v *float64) {
		if v != nil && (*v > 0 || !f.Ratio) {
			*to = append(*to, *v)
		}
	}
	take(&values, f.Reference)
	for _, r := range rows {
		take(&values, r.Value)
		take(&limits, r.Lower)
		take(&limits, r.Upper)
	}
	if len(values) == 0 {
		values = limits
	}
	if len(values) == 0 {
		return 0.5, 2
	}
	low, high = slices.Min(values), slices.Max(values)
	if f.Ratio {
		return f.ratioRange(low, high, limits)
	}
	return f.rateRange(low, high, limits)
}

func (f *Forest) ratioRange(low, high float64, limits []float64) (float64, float64) {
	least, greatest := low/8, high*8
	low, high = low/1.5, high*1.5
	for _, v := range limits {
		low, high = min(low, max(v/1.1, least)), max(high, min(v*1.1, greatest))
	}
	return low, high
}

func (f *Forest) rateRange(low, high float64, limits []float64) (float64, float64) {
	span := high - min(low, 0)
	if span == 0 && len(limits) > 0 {
		span = slices.Max(limits)
	}
	if span == 0 {
		span = 1
	}
	least, greatest := low-3*span, high+3*span
	for _, v := range limits {
		low, high = min(low, max(v, least)), max(high, min(v, greatest))
	}
	// A rate's axis begins at 0, so that twice as far is twice as much.
	return min(low, 0), high
}

const (
	forestRow   = 20.0
	forestTop   = 44.0
	forestFrom  = 250.0
	forestTo    = 510.0
	forestNames = 150.0
)

func (f *Forest) axis() axis {
	low, high := f.Range(f.Drawn())
	if f.Ratio {
		return logarithmic(low, high, forestFrom, forestTo)
	}
	return linear(low, high, forestFrom, forestTo, 5)
}

// SVG draws the figure.
func (f *Forest) SVG(id string) string {
	c := &canvas{id: id}
	rows := f.Drawn()
	if len(rows) == 0 {
		return c.nothing(f)
	}
	a := f.axis()
	bottom := forestTop + forestRow*float64(len(rows))
	c.bold(4, 16, start, fitted(capital(f.Of), forestNames))
	c.bold(236, 16, end, "failed / tried")
	c.bold(pageWidth-2, 16, end, fmt.Sprintf("estimate (%s interval)", Percent(f.Confidence)))
	c.ruler(a, forestTop-8, bottom, 6, Number, f.Measure)
	if f.Reference != nil {
		x := a.at(*f.Reference)
		c.stroke("reference", x, forestTop-8, x, bottom, 1.2, ink, dashed)
		label := fitted(f.ReferenceLabel, forestTo-forestFrom)
		half := textWidth(label) / 2
		c.text(min(max(x, forestFrom+half), forestTo-half), forestTop-13, middle, label)
	}
	for i, r := range rows {
		f.row(c, a, r, forestTop+forestRow*(float64(i)+0.5))
	}
	if m := more(len(f.Rows), len(rows)); m != "" {
		c.text(4, bottom+16, start, m)
	}
	c.height = c.legend(bottom+56, []legendEntry{
		c.sample(square, true, "stands out beyond chance"),
		c.sample(circle, false, "does not"),
		c.sample(right, true, "goes on beyond the axis, or without limit"),
	})
	return c.finish(f.Name(), f.Description())
}

func (f *Forest) row(c *canvas, a axis, r ForestRow, y float64) {
	write := c.text
	if r.StandsOut {
		write = c.bold
	}
	counts := Count(r.Failures) + " / " + Count(r.Attempts)
	write(4, y+4, start, fittedBold(r.Name, min(forestNames, 236-textWidth(counts)-14)))
	c.text(236, y+4, end, counts)
	write(pageWidth-2, y+4, end, Estimate(r.Value, r.Lower, r.Upper))
	if r.Value == nil && r.Lower == nil && r.Upper == nil {
		return
	}
	c.interval(a, r.Lower, r.Upper, y, 1.4)
	if r.Value == nil || !a.holds(*r.Value) {
		return // a ratio of 0 has no place on a logarithmic axis
	}
	tip := r.Name + ": " + Estimate(r.Value, r.Lower, r.Upper)
	if r.StandsOut {
		c.mark("estimate", square, a.at(*r.Value), y, 5, true, tip)
	} else {
		c.mark("estimate", circle, a.at(*r.Value), y, 4, false, tip)
	}
}

// Description says what the picture shows.
func (f *Forest) Description() string {
	out := 0
	for _, r := range f.Rows {
		if r.StandsOut {
			out++
		}
	}
	scale := "linear"
	if f.Ratio {
		scale = "logarithmic"
	}
	return fmt.Sprintf("%s Each of %d %s has a mark at its %s and a line for the %s interval, on a %s axis; %d stand out. The figures are in the table.",
		f.Finding, len(f.Drawn()), f.Of, f.Measure, Percent(f.Confidence), scale, out)
}

// Table holds the figures.
func (f *Forest) Table() Table {
	t := Table{Head: []string{f.Of, "stands out", "failed", "tried", f.Measure, "lower", "upper"}, TextColumns: 2, More: more(len(f.Rows), len(f.Drawn()))}
	for _, r := range f.Drawn() {
		t.Rows = append(t.Rows, []string{r.Name, yes(r.StandsOut), Count(r.Failures), Count(r.Attempts), optional(r.Value), optional(r.Lower), optional(r.Upper)})
	}
	return t
}

// capital begins a text with a capital letter.
func capital(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:]
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// nothing is the picture of a figure without data.
func (c *canvas) nothing(f Figure) string {
	c.height = 40
	c.text(4, 25, start, "There is nothing to draw.")
	return c.finish(f.Name(), f.Words().Finding+" There is nothing to draw.")
}

// finite says whether a number can be drawn.
func finite(v float64) bool { return !math.IsNaN(v) && math.Abs(v) <= greatest }
