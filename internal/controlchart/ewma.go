package controlchart

import (
	"fmt"
	"math"

	"jointledger/internal/stats"
)

// EWMAOptions of an exponentially weighted moving average.
type EWMAOptions struct {
	// Target is the mean when all is well, and where the average begins.
	Target float64
	// Weight (λ) of the newest value, above 0 and at most 1; 0.2 when 0.
	Weight float64
	// Width of the limits in standard deviations; 3 when 0.
	Width float64
	// Asymptotic takes the limits that the exact ones come to after many values;
	// the values must then have one standard deviation.
	Asymptotic bool
	// Least and Most are the ends of the range of what is averaged; a limit beyond
	// them does not exist. Both 0 for no ends.
	Least, Most float64
}

// EWMA is the chart of z = λx + (1 − λ)z₋₁: S. W. Roberts, "Control chart tests
// based on geometric moving averages", Technometrics 1 (1959) 239-250. Deviations
// holds the standard deviation of each value, or one for all; exact limits follow
// var z = λ² var x + (1 − λ)² var z₋₁, which for one deviation is σ²·λ/(2 − λ)·(1 −
// (1 − λ)^2i). The error is a *stats.ArgumentError.
func EWMA(values, deviations []float64, o EWMAOptions) (Chart, error) {
	width, err := Options{Width: o.Width}.width()
	if err != nil {
		return Chart{}, err
	}
	if o.Weight == 0 {
		o.Weight = 0.2
	}
	if o.Least == 0 && o.Most == 0 {
		o.Least, o.Most = math.Inf(-1), unbounded
	}
	if err := o.check(values, deviations); err != nil {
		return Chart{}, err
	}
	deviation := func(i int) float64 { return deviations[min(i, len(deviations)-1)] }
	c := Chart{Centre: o.Target, Dispersion: 1}
	z, variance := o.Target, 0.0
	for i, x := range values {
		z = o.Weight*x + (1-o.Weight)*z
		s := deviation(i)
		variance = o.Weight*o.Weight*s*s + (1-o.Weight)*(1-o.Weight)*variance
		sigma := math.Sqrt(variance)
		if o.Asymptotic {
			sigma = s * math.Sqrt(o.Weight/(2-o.Weight))
		}
		c.Points = append(c.Points, newPoint(z, o.Target, sigma, width, o.Least, o.Most))
	}
	return c, nil
}

func (o EWMAOptions) check(values, deviations []float64) error {
	if len(values) == 0 {
		return &stats.ArgumentError{Argument: "values", Value: "empty", Requirement: "must be at least one"}
	}
	if len(deviations) != 1 && len(deviations) != len(values) {
		return badNumber("standard deviations", float64(len(deviations)), "must be one, or one for each value")
	}
	if !(o.Weight > 0 && o.Weight <= 1) {
		return badNumber("weight", o.Weight, "must be above 0 and at most 1")
	}
	if math.IsNaN(o.Target) || math.IsInf(o.Target, 0) {
		return badNumber("target", o.Target, "must be a finite number")
	}
	for i, x := range values {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return badNumber(fmt.Sprintf("value %d", i+1), x, "must be a finite number")
		}
	}
	for _, s := range deviations {
		if !(s >= 0) || math.IsInf(s, 1) {
			return badNumber("standard deviation", s, "must be a finite number of at least 0")
		}
		if o.Asymptotic && s != deviations[0] {
			return badNumber("standard deviation", s, "must be the same for all values where the limits are asymptotic")
		}
	}
	return nil
}
