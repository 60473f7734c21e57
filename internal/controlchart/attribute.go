package controlchart

import (
	"math"

	"jointledger/internal/stats"
)

// unbounded is the upper end of what a count or a rate can be.
var unbounded = math.Inf(1)

// P is the chart of the fraction failing. The error is a *stats.ArgumentError for
// no samples, a size that is no whole number above 0, a count above its size, or
// options out of range; the same for NP, C and U but for what they do not have.
func P(samples []Sample, o Options) (Chart, error) {
	return proportionChart(samples, o, false)
}

// LaneyP is the p′ chart: D. B. Laney, "Improved control charts for attributes",
// Quality Engineering 14 (2002) 531-537. The limits of the p chart are widened by
// σz, which the differences of successive standardised fractions show; below 1 it
// narrows them. It needs two samples at least. Errors as for P.
func LaneyP(samples []Sample, o Options) (Chart, error) {
	return proportionChart(samples, o, true)
}

func proportionChart(samples []Sample, o Options, laney bool) (Chart, error) {
	if err := checkSamples(samples, true); err != nil {
		return Chart{}, err
	}
	centre, err := o.centre(samples, 1)
	if err != nil {
		return Chart{}, err
	}
	return ratios(samples, centre, centre*(1-centre), 1, o, laney)
}

// U is the chart of events per unit of exposure. Errors as for P.
func U(samples []Sample, o Options) (Chart, error) {
	return rateChart(samples, o, false)
}

// LaneyU is the u′ chart, which is to u what LaneyP is to P.
func LaneyU(samples []Sample, o Options) (Chart, error) {
	return rateChart(samples, o, true)
}

func rateChart(samples []Sample, o Options, laney bool) (Chart, error) {
	if err := checkSamples(samples, false); err != nil {
		return Chart{}, err
	}
	centre, err := o.centre(samples, math.MaxFloat64)
	if err != nil {
		return Chart{}, err
	}
	return ratios(samples, centre, centre, unbounded, o, laney)
}

// ratios charts count/size, whose variance for a size of 1 is given.
func ratios(samples []Sample, centre, variance, most float64, o Options, laney bool) (Chart, error) {
	width, err := o.width()
	if err != nil {
		return Chart{}, err
	}
	c := Chart{Centre: centre, Dispersion: 1}
	if laney {
		if c.Dispersion, err = dispersion(samples, centre, variance); err != nil {
			return Chart{}, err
		}
	}
	for _, s := range samples {
		sigma := c.Dispersion * math.Sqrt(variance/s.Size)
		c.Points = append(c.Points, newPoint(float64(s.Count)/s.Size, centre, sigma, width, 0, most))
	}
	return c, nil
}

// dispersion is Laney's σz.
func dispersion(samples []Sample, centre, variance float64) (float64, error) {
	if len(samples) < 2 {
		return 0, badNumber("samples", float64(len(samples)), "must be at least 2 for the differences of successive ones")
	}
	if variance == 0 {
		return 1, nil // nothing, or everything, failed: there is no spread to compare
	}
	z := make([]float64, len(samples))
	for i, s := range samples {
		z[i] = (float64(s.Count)/s.Size - centre) / math.Sqrt(variance/s.Size)
	}
	return meanMovingRange(z) / rangeOfTwo, nil
}

// NP is the chart of the number failing in samples of one size. Errors as for P,
// and for sizes that differ.
func NP(samples []Sample, o Options) (Chart, error) {
	if err := checkSamples(samples, true); err != nil {
		return Chart{}, err
	}
	n := samples[0].Size
	for _, s := range samples {
		if s.Size != n {
			return Chart{}, badNumber("size", s.Size, "must be the same for all samples of an np chart; take the p chart where they differ")
		}
	}
	fraction, err := o.centre(samples, 1)
	if err != nil {
		return Chart{}, err
	}
	return counts(samples, n*fraction, n*fraction*(1-fraction), n, o)
}

// C is the chart of the number of events in samples of equal, unnamed exposure.
// Errors as for P; the sizes are not looked at.
func C(samples []Sample, o Options) (Chart, error) {
	alike := make([]Sample, len(samples))
	for i, s := range samples {
		alike[i] = Sample{Count: s.Count, Size: 1}
	}
	if err := checkSamples(alike, false); err != nil {
		return Chart{}, err
	}
	centre, err := o.centre(alike, stats.MaxCount)
	if err != nil {
		return Chart{}, err
	}
	return counts(alike, centre, centre, unbounded, o)
}

func counts(samples []Sample, centre, variance, most float64, o Options) (Chart, error) {
	width, err := o.width()
	if err != nil {
		return Chart{}, err
	}
	c := Chart{Centre: centre, Dispersion: 1}
	for _, s := range samples {
		c.Points = append(c.Points, newPoint(float64(s.Count), centre, math.Sqrt(variance), width, 0, most))
	}
	return c, nil
}
