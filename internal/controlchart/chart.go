package controlchart

import (
	"fmt"
	"math"
	"strconv"

	"jointledger/internal/stats"
)

// Sample is one rational subgroup.
type Sample struct {
	// Count of failures (p, np) or of events (c, u).
	Count int64
	// Size is the attempts (p, np: a whole number) or the exposure (u). A c chart
	// does not look at it.
	Size float64
}

// Options of a chart.
type Options struct {
	// Centre is a standard that was given, in the unit of the chart's centre (np: the
	// fraction failing); nil to take it from the samples.
	Centre *float64
	// Width is how many standard deviations the limits lie beside the centre; 3
	// when 0.
	Width float64
}

// Point is one point of a chart.
type Point struct {
	// Value that is charted, the Centre for it and its standard deviation there.
	Value, Centre, Sigma float64
	// Lower and Upper limits; nil where no point could cross them.
	Lower, Upper *float64
	// Beyond is −1 below the lower limit, +1 above the upper one, else 0.
	Beyond int
}

// Chart is a chart with its limits.
type Chart struct {
	Points []Point
	// Centre is the overall fraction, rate, mean count, mean gap or target.
	Centre float64
	// Dispersion is Laney's σz, by which the limits of a p′ or u′ chart are wider
	// than those of p or u; 1 on other charts.
	Dispersion float64
}

// Beyond are the indices of the points beyond a limit.
func (c Chart) Beyond() []int {
	var out []int
	for i, p := range c.Points {
		if p.Beyond != 0 {
			out = append(out, i)
		}
	}
	return out
}

func badNumber(argument string, value float64, requirement string) error {
	return &stats.ArgumentError{Argument: argument, Value: strconv.FormatFloat(value, 'g', -1, 64), Requirement: requirement}
}

func (o Options) width() (float64, error) {
	switch {
	case o.Width == 0:
		return 3, nil
	case o.Width > 0 && o.Width <= 100:
		return o.Width, nil
	}
	return 0, badNumber("width of the limits", o.Width, "must be above 0 and at most 100 standard deviations")
}

// newPoint places a value between limits that exist only within the range of what
// is charted.
func newPoint(value, centre, sigma, width, least, most float64) Point {
	p := Point{Value: value, Centre: centre, Sigma: sigma}
	if lower := centre - width*sigma; lower > least {
		p.Lower = &lower
	}
	if upper := centre + width*sigma; upper < most {
		p.Upper = &upper
	}
	switch {
	case p.Upper != nil && value > *p.Upper:
		p.Beyond = 1
	case p.Lower != nil && value < *p.Lower:
		p.Beyond = -1
	}
	return p
}

func checkSamples(samples []Sample, proportion bool) error {
	if len(samples) == 0 {
		return &stats.ArgumentError{Argument: "samples", Value: "empty", Requirement: "must be at least one"}
	}
	for i, s := range samples {
		name := func(what string) string { return fmt.Sprintf("%s of sample %d", what, i+1) }
		switch {
		case s.Count < 0 || s.Count > stats.MaxCount:
			return badNumber(name("count"), float64(s.Count), fmt.Sprintf("must be from 0 to %d", int64(stats.MaxCount)))
		case !(s.Size > 0) || s.Size > stats.MaxCount:
			return badNumber(name("size"), s.Size, fmt.Sprintf("must be above 0 and at most %d", int64(stats.MaxCount)))
		case proportion && s.Size != math.Trunc(s.Size):
			return badNumber(name("size"), s.Size, "must be a whole number of attempts")
		case proportion && float64(s.Count) > s.Size:
			return badNumber(name("count"), float64(s.Count), fmt.Sprintf("must be at most the size, %s", strconv.FormatFloat(s.Size, 'f', -1, 64)))
		}
	}
	return nil
}

// centre is the given standard or the ratio of totals.
func (o Options) centre(samples []Sample, most float64) (float64, error) {
	if o.Centre != nil {
		if !(*o.Centre >= 0 && *o.Centre <= most) || math.IsInf(*o.Centre, 1) {
			return 0, badNumber("centre", *o.Centre, "must be a finite number within the range of what is charted")
		}
		return *o.Centre, nil
	}
	var count, size float64
	for _, s := range samples {
		count += float64(s.Count)
		size += s.Size
	}
	return count / size, nil
}
