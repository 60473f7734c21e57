package controlchart

import (
	"fmt"
	"math"

	"jointledger/internal/stats"
)

// rangeOfTwo is d2 for two values: the mean range of two normal values in standard
// deviations, 2/√π = 1.12838, as the tables print it (ISO 7870-2:2013, table of
// factors; D. C. Montgomery, Introduction to Statistical Quality Control,
// appendix).
const rangeOfTwo = 1.128

// nelsonExponent brings exponential times near to a normal shape: 1/3.6, as L. S.
// Nelson, "A control chart for parts-per-million nonconforming items", J. Qual.
// Technol. 26 (1994) 239-240, prints it.
const nelsonExponent = 0.2777

// meanMovingRange is the mean absolute difference of successive values; there are
// two at least.
func meanMovingRange(x []float64) float64 {
	var sum float64
	for i := 1; i < len(x); i++ {
		sum += math.Abs(x[i] - x[i-1])
	}
	return sum / float64(len(x)-1)
}

// G is the chart of the number of good units between two failures: J. C. Benneyan,
// "Number-between g-type statistical quality control charts for monitoring adverse
// events", Health Care Management Science 4 (2001) 305-318. The failing unit
// itself is not counted. A long gap is good news; the lower limit hardly ever
// exists, so that this chart does not see failures that come closer. Options.Centre
// is the mean gap. The error is a *stats.ArgumentError for no gaps or one below 0.
func G(gaps []int64, o Options) (Chart, error) {
	if len(gaps) == 0 {
		return Chart{}, noGaps()
	}
	samples := make([]Sample, len(gaps))
	for i, g := range gaps {
		samples[i] = Sample{Count: g, Size: 1}
	}
	if err := checkSamples(samples, false); err != nil {
		return Chart{}, err
	}
	centre, err := o.centre(samples, stats.MaxCount)
	if err != nil {
		return Chart{}, err
	}
	return counts(samples, centre, centre*(centre+1), unbounded, o)
}

// GQuantiles are the probability limits of a g chart with the given mean gap: the
// least gaps whose chance of being as short or shorter reaches tail and 1 − tail.
// The error is a *stats.ArgumentError for a mean gap that is not above 0 or a tail
// not between 0 and 0.5.
func GQuantiles(meanGap, tail float64) (lower, upper int64, err error) {
	if !(meanGap > 0) || meanGap > stats.MaxCount {
		return 0, 0, badNumber("mean gap", meanGap, fmt.Sprintf("must be above 0 and at most %d", int64(stats.MaxCount)))
	}
	if !(tail >= 1e-12 && tail < 0.5) {
		return 0, 0, badNumber("tail", tail, "must be at least 1e-12 and below 0.5")
	}
	good := -math.Log1p(1 / meanGap) // ln of the chance that a unit is good
	quantile := func(logAbove float64) int64 {
		return max(0, int64(math.Ceil(logAbove/good*(1-1e-14)-1)))
	}
	return quantile(math.Log1p(-tail)), quantile(math.Log(tail)), nil
}

// Transformed is the individuals chart that stands behind a t chart.
type Transformed struct {
	Values []float64
	// Centre and the raw limits; a lower one below 0 stands for none.
	Centre, Lower, Upper float64
	MeanMovingRange      float64
}

// T is the chart of the time or exposure between two events: y = x^0.2777 on an
// individuals chart with the moving range (Nelson 1994), centre and limits brought
// back to the unit of the times. Sigma of its points is 0, having no meaning there.
// A long time is good news. It needs two times at least; Options.Centre must be
// nil. The error is a *stats.ArgumentError.
func T(times []float64, o Options) (Chart, Transformed, error) {
	if len(times) == 0 {
		return Chart{}, Transformed{}, noGaps()
	}
	if len(times) < 2 {
		return Chart{}, Transformed{}, badNumber("times", 1, "must be at least 2 for a moving range")
	}
	if o.Centre != nil {
		return Chart{}, Transformed{}, badNumber("centre", *o.Centre, "must not be given for a t chart")
	}
	width, err := o.width()
	if err != nil {
		return Chart{}, Transformed{}, err
	}
	var y Transformed
	for i, x := range times {
		if !(x >= 0) || x > stats.MaxCount {
			return Chart{}, Transformed{}, badNumber(fmt.Sprintf("time %d", i+1), x, fmt.Sprintf("must be from 0 to %d", int64(stats.MaxCount)))
		}
		y.Values = append(y.Values, math.Pow(x, nelsonExponent))
		y.Centre += y.Values[i] / float64(len(times))
	}
	y.MeanMovingRange = meanMovingRange(y.Values)
	half := width * y.MeanMovingRange / rangeOfTwo
	y.Lower, y.Upper = y.Centre-half, y.Centre+half
	c := Chart{Centre: untransformed(y.Centre), Dispersion: 1}
	for i, x := range times {
		// Judged before the way back, which rounds.
		p := newPoint(y.Values[i], y.Centre, half/width, width, 0, unbounded)
		p.Value, p.Centre, p.Sigma = x, c.Centre, 0
		for _, limit := range []*float64{p.Lower, p.Upper} {
			if limit != nil {
				*limit = untransformed(*limit)
			}
		}
		c.Points = append(c.Points, p)
	}
	return c, y, nil
}

func untransformed(y float64) float64 { return math.Pow(y, 1/nelsonExponent) }

func noGaps() error {
	return &stats.ArgumentError{Argument: "gaps", Value: "empty", Requirement: "must be at least one"}
}
