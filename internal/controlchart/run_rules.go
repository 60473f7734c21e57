package controlchart

import "math"

// RunRule is a pattern that is as improbable, when nothing has changed, as a point
// beyond three standard deviations.
type RunRule uint8

// Run rules, numbered as L. S. Nelson, "The Shewhart control chart: tests for
// special causes", J. Qual. Technol. 16 (1984) 237-239, does. His third, six points
// rising or falling, is left out: it adds false alarms and finds hardly anything (R.
// B. Davis, W. H. Woodall, "Performance of the control chart trend rule under linear
// shift", J. Qual. Technol. 20 (1988) 260-262).
const (
	// BeyondLimit: a point beyond a limit, strictly.
	BeyondLimit RunRule = 1
	// NineOnOneSide: nine successive points on the same side of the centre.
	NineOnOneSide RunRule = 2
	// TwoOfThree: two of three successive points more than two standard deviations
	// from the centre on the same side.
	TwoOfThree RunRule = 5
)

// String names the pattern.
func (r RunRule) String() string {
	switch r {
	case BeyondLimit:
		return "beyond a limit"
	case NineOnOneSide:
		return "nine in a row on one side of the centre"
	case TwoOfThree:
		return "two of three beyond two standard deviations"
	}
	return "no rule"
}

// RunSignal is a rule that a point completes.
type RunSignal struct {
	Rule RunRule
	// Point is the index of the point that completes it, Side +1 above, −1 below.
	Point, Side int
}

// RunSignals are the patterns of a chart in the order of their points, each named
// where it is first complete. They presume independent points that lie evenly about
// the centre, as those of p, np, c and u charts with some events in each sample do;
// g, t and EWMA charts want the first rule only, which is Chart.Beyond.
func (c Chart) RunSignals() []RunSignal {
	var out []RunSignal
	length, last := 0, 0
	for i, p := range c.Points {
		if p.Beyond != 0 {
			out = append(out, RunSignal{BeyondLimit, i, p.Beyond})
		}
		side := p.side(0)
		if side != last {
			length = 0
		}
		if last = side; side != 0 {
			if length++; length == 9 {
				out = append(out, RunSignal{NineOnOneSide, i, side})
			}
		}
		if far := p.side(2); far != 0 && i > 0 {
			earlier := c.Points[i-1].side(2) == far || i > 1 && c.Points[i-2].side(2) == far
			if earlier {
				out = append(out, RunSignal{TwoOfThree, i, far})
			}
		}
	}
	return out
}

// side says on which side of the centre the value lies by more than so many
// standard deviations.
func (p Point) side(deviations float64) int {
	switch d := p.Value - p.Centre; {
	case math.Abs(d) <= deviations*p.Sigma:
		return 0
	case d > 0:
		return 1
	}
	return -1
}
