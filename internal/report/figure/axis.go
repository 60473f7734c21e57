package figure

import "math"

// axis takes values to places in the picture.
type axis struct {
	low, high float64 // of the values
	from, to  float64 // in the picture
	log       bool
}

// at is the place of a value that lies on the axis. A value beyond is put at the
// end: whoever draws it says so by an arrow.
func (a axis) at(v float64) float64 {
	v = min(max(v, a.low), a.high)
	if a.log {
		return a.from + (a.to-a.from)*math.Log(v/a.low)/math.Log(a.high/a.low)
	}
	return a.from + (a.to-a.from)*(v-a.low)/(a.high-a.low)
}

// holds says whether a value lies on the axis.
func (a axis) holds(v float64) bool { return v >= a.low && v <= a.high }

// linear makes an axis from low to high that begins and ends where its steps do.
func linear(low, high, from, to float64, steps int) axis {
	if !(high > low) {
		high = low + math.Max(1, math.Abs(low))
	}
	step := niceStep((high - low) / float64(steps))
	return axis{low: math.Floor(low/step+1e-9) * step, high: math.Ceil(high/step-1e-9) * step, from: from, to: to}
}

// logarithmic makes a logarithmic axis; low must be above 0.
func logarithmic(low, high, from, to float64) axis {
	return axis{low: low, high: high, from: from, to: to, log: true}
}

// niceStep is the smallest of 1, 2 or 5 times a power of ten that is not below v.
func niceStep(v float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*power >= v*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// ticks are the values at which the axis is labelled, about steps of them.
func (a axis) ticks(steps int) []float64 {
	if a.log {
		return a.logTicks(steps)
	}
	step := niceStep((a.high - a.low) / float64(steps))
	var ticks []float64
	for k := math.Ceil(a.low/step - 1e-9); k*step <= a.high+1e-9*step; k++ {
		ticks = append(ticks, k*step)
	}
	return ticks
}

// logTicks tries ever fewer of 1, 2 and 5 in each power of ten, then every second,
// third … power.
func (a axis) logTicks(steps int) []float64 {
	first, last := math.Floor(math.Log10(a.low)), math.Ceil(math.Log10(a.high))
	var ticks []float64
	for _, in := range [][]float64{{1, 1.5, 2, 3, 5, 7}, {1, 2, 5}, {1, 3}, {1}} {
		ticks = ticks[:0]
		for e := first; e <= last; e++ {
			for _, m := range in {
				if v := m * math.Pow(10, e); v >= a.low*(1-1e-9) && v <= a.high*(1+1e-9) {
					ticks = append(ticks, v)
				}
			}
		}
		if len(ticks) <= steps+1 {
			return ticks
		}
	}
	every := (len(ticks) + steps - 1) / steps
	kept := ticks[:0]
	for i := 0; i < len(ticks); i += every {
		kept = append(kept, ticks[i])
	}
	return kept
}
