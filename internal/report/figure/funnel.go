package figure

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"jointledger/internal/stats"
)

// Funnel is a funnel plot (Spiegelhalter 2005): each unit's ratio or rate against
// how precisely it is known, between limits that chance keeps it in.
type Funnel struct {
	Caption
	// Of is what the points are, in the plural: `sites`.
	Of string `json:"of"`
	// Measure names the vertical axis, Precision the horizontal one: `failures over
	// expected`, `expected failures`.
	Measure   string `json:"measure"`
	Precision string `json:"precision"`
	// Target is where the funnel closes: 1 for a standardised ratio.
	Target float64 `json:"target"`
	// OverDispersion is the factor that the limits allow for; nil for none.
	OverDispersion *float64 `json:"over_dispersion"`
	// Limits are the curves, with over-dispersion already allowed for, by rising
	// precision.
	Limits []FunnelLimit `json:"limits"`
	Points []FunnelPoint `json:"points"`
	// Most is how many points that stand out are labelled, the furthest out first;
	// 12 when 0. All points are drawn. When there are no more than that in all, those
	// within the limits are labelled too, where there is room.
	Most int `json:"most"`
}

// FunnelLimit is the limits at one precision; sigma are those of the normal
// distribution's equivalents, 95.4 and 99.7 %.
type FunnelLimit struct {
	Precision float64 `json:"precision"`
	Lower2    float64 `json:"lower_2_sigma"`
	Upper2    float64 `json:"upper_2_sigma"`
	Lower3    float64 `json:"lower_3_sigma"`
	Upper3    float64 `json:"upper_3_sigma"`
}

// FunnelPoint is one unit.
type FunnelPoint struct {
	Name string `json:"name"`
	// Precision must be above 0.
	Precision float64 `json:"precision"`
	Value     float64 `json:"value"`
	// Sigma is beyond which limits it lies: −3, −2, 0, 2 or 3.
	Sigma int `json:"sigma"`
	// Lower and Upper are the value's own interval; nil where there is none.
	Lower *float64 `json:"lower"`
	Upper *float64 `json:"upper"`
}

// RatioLimits gives the limits of a standardised ratio with target 1 from the least
// to the greatest number of expected failures: exact Poisson limits widened by the
// over-dispersion where it is above 1 (Spiegelhalter 2005). The error is a
// *stats.ArgumentError, for numbers that are not above 0 or out of order.
func RatioLimits(least, greatest, overDispersion float64) ([]FunnelLimit, error) {
	const steps = 60
	if !(least <= greatest) {
		return nil, &stats.ArgumentError{Argument: "least precision", Value: fmt.Sprint(least), Requirement: "must be at most the greatest"}
	}
	tails := [2]float64{math.Erfc(2/math.Sqrt2) / 2, math.Erfc(3/math.Sqrt2) / 2}
	limits := make([]FunnelLimit, 0, steps+1)
	for i := range steps + 1 {
		e := least * math.Pow(greatest/least, float64(i)/steps)
		var at [2]stats.Interval
		for k, tail := range tails {
			f, err := stats.PoissonFunnel(e, tail)
			if err != nil {
				return nil, err
			}
			at[k] = stats.WidenFunnel(f, 1, overDispersion)
		}
		limits = append(limits, FunnelLimit{e, at[0].Lower, at[0].Upper, at[1].Lower, at[1].Upper})
	}
	return limits, nil
}

// Name of the figure.
func (f *Funnel) Name() string { return "Funnel plot of " + f.Of }

// Validate finds what cannot be drawn.
func (f *Funnel) Validate() error {
	c := checks{err: f.validate()}
	c.name(f.Of, "of")
	c.name(f.Measure, "measure")
	c.name(f.Precision, "precision")
	c.positive(f.Target, "target")
	if f.OverDispersion != nil {
		c.positive(*f.OverDispersion, "over_dispersion")
	}
	for i, l := range f.Limits {
		c.require(l.Precision > 0 && finite(l.Precision), "must be a finite number above 0", "limits[%d].precision", i)
		c.require(i == 0 || l.Precision >= f.Limits[i-1].Precision, "must not be below the one before", "limits[%d].precision", i)
		c.require(finite(l.Lower3) && finite(l.Upper3) && l.Lower3 <= l.Lower2 && l.Lower2 <= l.Upper2 && l.Upper2 <= l.Upper3,
			"must rise from the lower 3 sigma limit over both 2 sigma limits to the upper 3 sigma limit", "limits[%d]", i)
	}
	for i, p := range f.Points {
		c.name(p.Name, "points[%d].name", i)
		c.require(p.Precision > 0 && finite(p.Precision), "must be a finite number above 0", "points[%d].precision", i)
		c.positive(p.Value, "points[%d].value", i)
		c.require(slices.Contains([]int{-3, -2, 0, 2, 3}, p.Sigma), "must be -3, -2, 0, 2 or 3", "points[%d].sigma", i)
		c.interval(&p.Value, p.Lower, p.Upper, fmt.Sprintf("points[%d]", i))
	}
	return c.err
}

// Top is the greatest value on the vertical axis: chosen so that what stands out and
// most of the rest is seen; points above are drawn as arrows at the edge.
func (f *Funnel) Top() float64 {
	top := 2 * f.Target
	values := make([]float64, 0, len(f.Points))
	for _, p := range f.Points {
		values = append(values, p.Value)
		if p.Sigma != 0 {
			top = max(top, p.Value)
		}
	}
	slices.Sort(values)
	if n := len(values); n > 0 {
		top = max(top, min(values[n-1], 1.5*values[n*9/10]))
	}
	if n := len(f.Limits); n > 0 {
		top = max(top, f.Limits[n/2].Upper3)
	}
	if top == 0 {
		return 1
	}
	return top * 1.05
}

// PrecisionRange is the least and greatest precision of points and limits, and
// whether they lie so far apart that the axis must be logarithmic.
func (f *Funnel) PrecisionRange() (low, high float64, log bool) {
	low, high = math.Inf(1), 0
	for _, p := range f.Points {
		low, high = min(low, p.Precision), max(high, p.Precision)
	}
	for _, l := range f.Limits {
		low, high = min(low, l.Precision), max(high, l.Precision)
	}
	return low, high, high/low > 40
}

const (
	funnelLeft, funnelRight = 62.0, 672.0
	funnelTop, funnelBottom = 12.0, 332.0
)

func (f *Funnel) axes() (x, y axis) {
	low, high, log := f.PrecisionRange()
	if log {
		x = logarithmic(low/1.15, high*1.15, funnelLeft, funnelRight)
	} else {
		x = linear(0, high*1.04, funnelLeft, funnelRight, 8)
	}
	return x, linear(0, f.Top(), funnelBottom, funnelTop, 6)
}

// SVG draws the figure.
func (f *Funnel) SVG(id string) string {
	c := &canvas{id: id}
	if len(f.Points) == 0 {
		return c.nothing(f)
	}
	x, y := f.axes()
	c.clip("plot", funnelLeft, funnelTop, funnelRight-funnelLeft, funnelBottom-funnelTop)
	c.ruler(x, funnelTop, funnelBottom, 8, Number, f.Precision)
	c.upright(y, funnelLeft, funnelRight, 6, Number)
	c.turned(13, (funnelTop+funnelBottom)/2, f.Measure)
	curve := func(class string, of func(FunnelLimit) float64, width float64, dash string) {
		points := make([]point, len(f.Limits))
		for i, l := range f.Limits {
			// Not clamped to the axis: the clip cuts the curve where it leaves.
			points[i] = point{x.at(l.Precision), max(y.from+(y.to-y.from)*(of(l)-y.low)/(y.high-y.low), -1000)}
		}
		c.path(class, points, width, ink, dash, "plot")
	}
	curve("sigma2", func(l FunnelLimit) float64 { return l.Lower2 }, 1, dashed)
	curve("sigma2", func(l FunnelLimit) float64 { return l.Upper2 }, 1, dashed)
	curve("sigma3", func(l FunnelLimit) float64 { return l.Lower3 }, 1.4, solid)
	curve("sigma3", func(l FunnelLimit) float64 { return l.Upper3 }, 1.4, solid)
	c.stroke("target", x.from, y.at(f.Target), x.to, y.at(f.Target), 1.2, ink, dotted)
	unlabelled := f.points(c, x, y)
	entries := []legendEntry{
		c.lineSample(1.4, ink, solid, "3 sigma"), c.lineSample(1, ink, dashed, "2 sigma"), c.lineSample(1.2, ink, dotted, "target "+Number(f.Target)),
		c.sample(up, true, "above 3 sigma"), c.sample(up, false, "above 2"), c.sample(circle, false, "within"),
		c.sample(down, false, "below 2"), c.sample(down, true, "below 3"),
	}
	c.height = c.legend(funnelBottom+56, entries)
	if note := f.note(unlabelled); note != "" {
		c.text(4, c.height+12, start, note)
		c.height += 19
	}
	return c.finish(f.Name(), f.Description())
}

// note tells what the picture itself cannot show.
func (f *Funnel) note(unlabelled int) string {
	note := ""
	if f.OverDispersion != nil && *f.OverDispersion > 1 {
		note = "Limits allow for over-dispersion by a factor of " + Number(*f.OverDispersion) + ". "
	}
	if unlabelled > 0 {
		note += fmt.Sprintf("%s of those that stand out are without a label, for want of room.", Count(int64(unlabelled)))
	}
	return note
}

// shape is the mark of a point.
func (p FunnelPoint) shape() (shape int, filled bool) {
	switch {
	case p.Sigma > 0:
		return up, p.Sigma == 3
	case p.Sigma < 0:
		return down, p.Sigma == -3
	}
	return circle, false
}

// furthest are the places in Points in the order of drawing labels: beyond 3 sigma
// before 2, bad before good, then by precision and name.
func (f *Funnel) furthest() []int {
	order := make([]int, 0, len(f.Points))
	for i, p := range f.Points {
		if p.Sigma != 0 {
			order = append(order, i)
		}
	}
	rank := func(p FunnelPoint) int {
		return map[int]int{3: 0, -3: 1, 2: 2, -2: 3}[p.Sigma]
	}
	slices.SortFunc(order, func(i, k int) int {
		a, b := f.Points[i], f.Points[k]
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(b.Precision, a.Precision), cmp.Compare(a.Name, b.Name), i-k)
	})
	return order
}

// points draws the marks, then the labels where there is room; it gives how many of
// those that stand out have none.
func (f *Funnel) points(c *canvas, x, y axis) (unlabelled int) {
	taken := newPlaces(area{funnelLeft + 2, funnelTop + 1, funnelRight, funnelBottom - 2})
	order := f.furthest()
	radius := 4.4
	if len(f.Points) > 60 {
		radius = 3
	}
	draw := func(i int, plain bool) {
		p := f.Points[i]
		shape, filled := p.shape()
		r, place := radius, point{x.at(p.Precision), y.at(p.Value)}
		class, tip := "point", fmt.Sprintf("%s: %s at %s %s", p.Name, Estimate(&p.Value, p.Lower, p.Upper), f.Precision, Number(p.Precision))
		if !plain {
			r = max(r, 4.4)
			taken.mark(place, r)
		}
		c.mark(class, shape, place.x, place.y, r, filled, tip)
		if !y.holds(p.Value) {
			c.above(place, r, Number(p.Value), taken)
		}
	}
	few := most(f.Most, 12, len(f.Points)) == len(f.Points)
	for i, p := range f.Points {
		if p.Sigma == 0 {
			draw(i, !few)
		}
	}
	for _, i := range slices.Backward(order) {
		draw(i, false)
	}
	labelled := most(f.Most, 12, len(order))
	for _, i := range order[:labelled] {
		p := f.Points[i]
		if !taken.label(c, point{x.at(p.Precision), y.at(p.Value)}, fitted(p.Name, 130)) {
			unlabelled++
		}
	}
	for _, p := range f.Points {
		if few && p.Sigma == 0 {
			taken.label(c, point{x.at(p.Precision), y.at(p.Value)}, fitted(p.Name, 130))
		}
	}
	return unlabelled + len(order) - labelled
}

// above writes the value of a point that lies above the plot beside its mark at the
// upper edge, where there is room.
func (c *canvas) above(at point, radius float64, value string, taken *places) {
	text := "↑ " + value
	wide := textWidth(text)
	a := area{at.x + radius + 2, at.y + 1, at.x + radius + 4 + wide, at.y + 14}
	if taken.free(a) {
		taken.taken = append(taken.taken, a)
		c.clear(a)
		c.text(a.left+1, a.bottom-2, start, text)
	}
}

// Description says what the picture shows.
func (f *Funnel) Description() string {
	counts := map[int]int{}
	for _, p := range f.Points {
		counts[p.Sigma]++
	}
	return fmt.Sprintf("%s %d %s by %s against %s, between funnel limits: %d lie above 3 sigma, %d more above 2 sigma, %d within, %d below 2 sigma, %d below 3 sigma. The figures are in the table.",
		f.Finding, len(f.Points), f.Of, f.Measure, f.Precision, counts[3], counts[2], counts[0], counts[-2], counts[-3])
}

// funnelTable is how many rows the table has at most.
const funnelTable = 40

// Table holds the figures, what stands out first, then by value.
func (f *Funnel) Table() Table {
	order := f.furthest()
	out := len(order)
	for i, p := range f.Points {
		if p.Sigma == 0 {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order[out:], func(i, k int) int { return cmp.Compare(f.Points[k].Value, f.Points[i].Value) })
	t := Table{Head: []string{f.Of, "where", f.Precision, f.Measure, "lower", "upper"}, TextColumns: 2}
	for _, i := range order[:min(funnelTable, len(order))] {
		p := f.Points[i]
		t.Rows = append(t.Rows, []string{p.Name, p.where(), Number(p.Precision), Number(p.Value), optional(p.Lower), optional(p.Upper)})
	}
	t.More = more(len(order), len(t.Rows))
	return t
}

func (p FunnelPoint) where() string {
	switch {
	case p.Sigma > 0:
		return fmt.Sprintf("above %d sigma", p.Sigma)
	case p.Sigma < 0:
		return fmt.Sprintf("below %d sigma", -p.Sigma)
	}
	return "within"
}
