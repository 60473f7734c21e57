package rangeline

import (
	"math"
	"strings"
)

// Axis is a scale from Low to High over Width characters; with Log both are above 0.
type Axis struct {
	Low, High float64
	Log       bool
	Width     int
}

// Mark is one character at a value.
type Mark struct {
	At     float64
	Letter byte
}

// Line draws the range from low to high with dashes, where nil has no end, and the
// marks over it, the last on top. What goes on beyond the axis ends in < or >; a mark
// beyond it stands at its end. A range with both ends nil is not drawn.
func (a Axis) Line(low, high *float64, marks ...Mark) string {
	line := []byte(strings.Repeat(" ", a.Width))
	if low != nil || high != nil {
		from, to := 0, a.Width-1
		cutLow, cutHigh := true, true
		if low != nil {
			from, cutLow = a.place(*low)
			cutLow = cutLow && from == 0
		}
		if high != nil {
			to, cutHigh = a.place(*high)
			cutHigh = cutHigh && to == a.Width-1
		}
		for i := from; i <= to; i++ {
			line[i] = '-'
		}
		if cutLow {
			line[0] = '<'
		}
		if cutHigh {
			line[a.Width-1] = '>'
		}
	}
	for _, m := range marks {
		i, _ := a.place(m.At)
		line[i] = m.Letter
	}
	return string(line)
}

// place gives the column of a value, and whether it lies beyond the axis.
func (a Axis) place(v float64) (column int, beyond bool) {
	low, high := a.Low, a.High
	if a.Log {
		if v <= 0 {
			return 0, true
		}
		v, low, high = math.Log(v), math.Log(low), math.Log(high)
	}
	at := (v - low) / (high - low) * float64(a.Width-1)
	// The outermost half column is still the axis's own.
	beyond = at < -0.5 || at > float64(a.Width)-0.5
	return int(math.Round(math.Min(math.Max(at, 0), float64(a.Width-1)))), beyond
}
