package figure

import (
	"fmt"
	"math"
)

// ControlChart is a control chart (Shewhart 1931; Montgomery 2019): values in their
// order between limits that each point has of its own.
type ControlChart struct {
	Caption
	// Of is what is charted: `galling at site RVB`; Kind the chart: `Laney p′ chart`.
	Of   string `json:"of"`
	Kind string `json:"kind"`
	// Measure names the vertical axis: `failures per 1,000 attempts`.
	Measure string  `json:"measure"`
	Centre  float64 `json:"centre"`
	// Points in their order, oldest first.
	Points []ControlPoint `json:"points"`
	// Change is where the value most probably changed; nil where that cannot be said.
	Change *ControlChange `json:"change"`
}

// ControlPoint is one point; a limit is nil where there is none to cross.
type ControlPoint struct {
	Label string   `json:"label"`
	Value float64  `json:"value"`
	Lower *float64 `json:"lower"`
	Upper *float64 `json:"upper"`
	// Beyond is −1 below the lower limit, +1 above the upper one, else 0.
	Beyond int `json:"beyond"`
}

// ControlChange is a change between two neighbouring points.
type ControlChange struct {
	// FirstAfter is the label of the first point after it, not the chart's first.
	FirstAfter string `json:"first_after"`
	// Before and After are the means on either side, in the chart's measure.
	Before float64 `json:"before"`
	After  float64 `json:"after"`
}

// Name of the figure.
func (f *ControlChart) Name() string { return f.Kind + " of " + f.Of }

// Validate finds what cannot be drawn.
func (f *ControlChart) Validate() error {
	c := checks{err: f.validate()}
	c.name(f.Of, "of")
	c.name(f.Kind, "kind")
	c.name(f.Measure, "measure")
	c.positive(f.Centre, "centre")
	for i, p := range f.Points {
		field := fmt.Sprintf("points[%d]", i)
		c.name(p.Label, "%s.label", field)
		c.number(p.Value, "%s.value", field)
		c.optional(p.Lower, "%s.lower", field)
		c.optional(p.Upper, "%s.upper", field)
		c.require(p.Lower == nil || p.Upper == nil || *p.Lower <= *p.Upper, "must not lie above the upper limit", "%s.lower", field)
		beyond := 0
		switch {
		case p.Upper != nil && p.Value > *p.Upper:
			beyond = 1
		case p.Lower != nil && p.Value < *p.Lower:
			beyond = -1
		}
		c.require(p.Beyond == beyond, fmt.Sprintf("must be %d, by the value and its limits", beyond), "%s.beyond", field)
	}
	if f.Change != nil {
		c.positive(f.Change.Before, "change.before")
		c.positive(f.Change.After, "change.after")
		c.require(f.ChangeAt() > 0, "must be the label of a point that is not the first", "change.first_after")
	}
	return c.err
}

// ChangeAt is the place in Points of the first one after the change; 0 without one.
func (f *ControlChart) ChangeAt() int {
	if f.Change == nil {
		return 0
	}
	for i, p := range f.Points {
		if i > 0 && p.Label == f.Change.FirstAfter {
			return i
		}
	}
	return 0
}

// Range is what the vertical axis must hold: all values, and limits as far as they
// don't squeeze the values together.
func (f *ControlChart) Range() (low, high float64) {
	low, high = f.Centre, f.Centre
	for _, p := range f.Points {
		low, high = min(low, p.Value), max(high, p.Value)
	}
	least, greatest := low-(high-low), high+1.5*(high-low)
	if high == low {
		least, greatest = math.Inf(-1), math.Inf(1)
	}
	for _, p := range f.Points {
		if p.Lower != nil {
			low = min(low, max(*p.Lower, least))
		}
		if p.Upper != nil {
			high = max(high, min(*p.Upper, greatest))
		}
	}
	return low, high
}

const (
	chartLeft, chartRight = 62.0, 610.0
	chartTop, chartBottom = 24.0, 224.0
)

func (f *ControlChart) axes() (x, y axis) {
	low, high := f.Range()
	if low > 0 && low < 0.5*high {
		low = 0
	}
	return axis{low: -0.5, high: float64(len(f.Points)) - 0.5, from: chartLeft, to: chartRight}, linear(low, high, chartBottom, chartTop, 5)
}

// SVG draws the figure.
func (f *ControlChart) SVG(id string) string {
	c := &canvas{id: id}
	if len(f.Points) == 0 {
		return c.nothing(f)
	}
	x, y := f.axes()
	c.clip("plot", chartLeft, chartTop, chartRight-chartLeft, chartBottom-chartTop)
	c.upright(y, chartLeft, chartRight, 5, Number)
	c.turned(13, (chartTop+chartBottom)/2, f.Measure)
	c.stroke("axis", chartLeft, chartBottom, chartRight, chartBottom, 0.8, ink, solid)
	f.labels(c, x)
	f.limits(c, x, y, "upper", func(p ControlPoint) *float64 { return p.Upper })
	f.limits(c, x, y, "lower", func(p ControlPoint) *float64 { return p.Lower })
	c.stroke("centre", chartLeft, y.at(f.Centre), chartRight, y.at(f.Centre), 1, ink, dotted)
	f.right(c, y)
	f.change(c, x, y)
	f.values(c, x, y)
	entries := []legendEntry{c.sample(circle, false, "within its limits"), c.sample(up, true, "above"), c.sample(down, true, "below"),
		c.lineSample(1, ink, dashed, "limits"), c.lineSample(1, ink, dotted, "centre")}
	if f.Change != nil {
		entries = append(entries, c.lineSample(2.4, line, solid, "mean before and after the likely change"))
	}
	c.height = c.legend(chartBottom+42, entries)
	return c.finish(f.Name(), f.Description())
}

// labels writes those of the points that there is room for, always the first.
func (f *ControlChart) labels(c *canvas, x axis) {
	const widest = 110.0
	until := -1.0
	for i, p := range f.Points {
		label := fitted(p.Label, widest)
		place, half := x.at(float64(i)), textWidth(label)/2
		if place-half < until+14 || place+half > pageWidth-2 {
			continue
		}
		c.stroke("", place, chartBottom, place, chartBottom+4, 0.8, ink, solid)
		c.text(max(place, half+2), chartBottom+16, middle, label)
		until = max(place, half+2) + half
	}
}

// limits draws a limit as a line of steps, one for each point.
func (f *ControlChart) limits(c *canvas, x, y axis, class string, of func(ControlPoint) *float64) {
	var steps []point
	for i, p := range f.Points {
		v := of(p)
		if v == nil {
			c.path(class, steps, 1, ink, dashed, "plot")
			steps = nil
			continue
		}
		height := y.at(*v)
		if !y.holds(*v) {
			height += map[bool]float64{true: -20, false: 20}[*v > y.high] // out of sight
		}
		steps = append(steps, point{x.at(float64(i) - 0.5), height}, point{x.at(float64(i) + 0.5), height})
	}
	c.path(class, steps, 1, ink, dashed, "plot")
}

// right names the lines at their right ends, those that don't get in one another's
// way.
func (f *ControlChart) right(c *canvas, y axis) {
	last := f.Points[len(f.Points)-1]
	var at []float64
	for _, l := range []struct {
		v    *float64
		name string
	}{{&f.Centre, "centre "}, {last.Upper, "upper "}, {last.Lower, "lower "}} {
		if l.v == nil || !y.holds(*l.v) {
			continue
		}
		place, room := min(y.at(*l.v)+4, chartBottom), true // clear of the labels below
		for _, a := range at {
			room = room && math.Abs(a-place) >= 13
		}
		if room {
			c.text(chartRight+4, place, start, fitted(l.name+Number(*l.v), pageWidth-chartRight-5))
			at = append(at, place)
		}
	}
}

func (f *ControlChart) change(c *canvas, x, y axis) {
	i := f.ChangeAt()
	if i == 0 {
		return
	}
	between := x.at(float64(i) - 0.5)
	c.stroke("change", between, chartTop-6, between, chartBottom, 1.2, line, solid)
	for _, m := range []struct{ v, from, to float64 }{{f.Change.Before, chartLeft, between}, {f.Change.After, between, chartRight}} {
		c.stroke("mean", m.from, y.at(m.v), m.to, y.at(m.v), 2.4, line, solid)
	}
	text := fmt.Sprintf("likely change: %s → %s", Number(f.Change.Before), Number(f.Change.After))
	half := textWidth(text) / 2
	c.text(min(max(between, half+2), pageWidth-half-2), chartTop-10, middle, text)
}

func (f *ControlChart) values(c *canvas, x, y axis) {
	curve := make([]point, len(f.Points))
	for i, p := range f.Points {
		curve[i] = point{x.at(float64(i)), y.at(p.Value)}
	}
	c.path("values", curve, 0.9, ink, solid, "")
	radius := min(4, max(1.6, (chartRight-chartLeft)/float64(len(f.Points))*0.35))
	taken := newPlaces(area{chartLeft + 2, chartTop, chartRight, chartBottom - 2})
	for i, p := range f.Points {
		shape, size := circle, radius
		if p.Beyond != 0 {
			shape, size = map[int]int{1: up, -1: down}[p.Beyond], 5
			taken.mark(curve[i], size)
		}
		c.mark("point", shape, curve[i].x, curve[i].y, size, p.Beyond != 0, fmt.Sprintf("%s: %s, limits %s to %s", p.Label, Number(p.Value), optional(p.Lower), optional(p.Upper)))
	}
	labelled := 0
	for i, p := range f.Points {
		if p.Beyond != 0 && labelled < 6 && taken.label(c, curve[i], fitted(p.Label, 110)) {
			labelled++
		}
	}
}

// Description says what the picture shows.
func (f *ControlChart) Description() string {
	above, below := 0, 0
	for _, p := range f.Points {
		switch p.Beyond {
		case 1:
			above++
		case -1:
			below++
		}
	}
	s := fmt.Sprintf("%s %d points of %s around a centre of %s; %d lie above their upper limit, %d below their lower one.", f.Finding, len(f.Points), f.Measure, Number(f.Centre), above, below)
	if f.Change != nil {
		s += fmt.Sprintf(" The likely change is from %s to %s, first seen at %s.", Number(f.Change.Before), Number(f.Change.After), f.Change.FirstAfter)
	}
	return s + " The figures are in the table."
}

// chartTable is how many rows the table has at most.
const chartTable = 120

// Table holds the figures, the newest ones when there are too many.
func (f *ControlChart) Table() Table {
	t := Table{Head: []string{"when", "beyond", f.Measure, "lower limit", "upper limit"}, TextColumns: 2}
	for _, p := range f.Points[max(0, len(f.Points)-chartTable):] {
		t.Rows = append(t.Rows, []string{p.Label, map[int]string{-1: "below", 0: "no", 1: "above"}[p.Beyond], Number(p.Value), optional(p.Lower), optional(p.Upper)})
	}
	if m := more(len(f.Points), len(t.Rows)); m != "" {
		t.More = m + " before these"
	}
	return t
}
