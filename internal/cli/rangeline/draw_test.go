package rangeline

import (
	"math"
	"testing"
)

func at(v float64) *float64 { return &v }

// Worked by hand: eleven characters from 0 to 10 are one unit each, and 21 from 0.01
// to 100 a fifth of a decade each.
func TestLine(t *testing.T) {
	plain := Axis{Low: 0, High: 10, Width: 11}
	log := Axis{Low: 0.01, High: 100, Log: true, Width: 21}
	for _, c := range []struct {
		got, want string
	}{
		{plain.Line(at(2), at(6), Mark{4, 'o'}), "  --o--    "},
		{plain.Line(at(-3), at(6), Mark{4, 'o'}), "<---o--    "},
		{plain.Line(at(2), nil, Mark{5, '|'}, Mark{5, 'o'}), "  ---o---->"},
		{plain.Line(nil, at(2)), "<--        "},
		{plain.Line(nil, nil, Mark{99, '*'}), "          *"},
		{plain.Line(at(0), at(10)), "-----------"},
		{plain.Line(at(12), at(14)), "          >"},
		{log.Line(at(0.1), at(10), Mark{1, 'o'}), "     -----o-----     "},
		{log.Line(at(0), at(1)), "<----------          "},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// Whatever the numbers are, the line is as wide as it should be.
func TestLineStaysInItsFrame(t *testing.T) {
	for _, a := range []Axis{{0, 1, false, 21}, {0.125, 8, true, 21}} {
		for _, v := range []float64{-1e300, -1, 0, 1e-300, 0.5, 1, 1e300, math.MaxFloat64} {
			if l := a.Line(at(v), at(v), Mark{v, 'o'}, Mark{1, '|'}); len(l) != 21 {
				t.Errorf("%v at %g: %q", a, v, l)
			}
		}
	}
}
