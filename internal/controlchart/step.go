package controlchart

import "math"

// Step is the place where a level most probably changed.
type Step struct {
	// From is the index of the first sample after the change.
	From int
	// Before and After are count/size of the two stretches.
	Before, After float64
	// Distance is the greatest distance of the cumulative sum from the straight line,
	// in its standard deviation; PValue the chance of one as great without a change.
	Distance, PValue float64
}

// ProportionStep finds the change in a fraction failing by the cumulative sum of
// count − centre·size: where it lies furthest from 0. Its distance is that of a
// Brownian bridge, so that Kolmogorov's distribution gives the p-value: A. N.
// Pettitt, "A simple cumulative sum type statistic for the change-point problem
// with zero-one observations", Biometrika 67 (1980) 79-84. Since the sum is seen at
// the ends of samples only, the p-value is on the safe side. Dispersion, at least 1,
// is the factor by which standard deviations are larger than binomial ones. Found is
// false when there is one sample only or no spread at all. The error is that of P.
func ProportionStep(samples []Sample, dispersion float64) (step Step, found bool, err error) {
	if err := checkSamples(samples, true); err != nil {
		return Step{}, false, err
	}
	return findStep(samples, func(centre float64) float64 { return centre * (1 - centre) }, dispersion)
}

// RateStep is ProportionStep for events per unit of exposure.
func RateStep(samples []Sample, dispersion float64) (step Step, found bool, err error) {
	if err := checkSamples(samples, false); err != nil {
		return Step{}, false, err
	}
	return findStep(samples, func(centre float64) float64 { return centre }, dispersion)
}

func findStep(samples []Sample, variance func(float64) float64, dispersion float64) (Step, bool, error) {
	if !(dispersion >= 1) || math.IsInf(dispersion, 1) {
		return Step{}, false, badNumber("dispersion", dispersion, "must be a finite number of at least 1")
	}
	var count, size float64
	for _, s := range samples {
		count += float64(s.Count)
		size += s.Size
	}
	centre := count / size
	spread := dispersion * math.Sqrt(size*variance(centre))
	if len(samples) < 2 || spread == 0 {
		return Step{}, false, nil
	}
	var best Step
	var countSoFar, sizeSoFar float64
	for i, s := range samples[:len(samples)-1] {
		countSoFar += float64(s.Count)
		sizeSoFar += s.Size
		if d := math.Abs(countSoFar-centre*sizeSoFar) / spread; best.From == 0 || d > best.Distance {
			best = Step{From: i + 1, Distance: d, Before: countSoFar / sizeSoFar, After: (count - countSoFar) / (size - sizeSoFar)}
		}
	}
	best.PValue = kolmogorovTail(best.Distance)
	return best, true, nil
}

// kolmogorovTail is the chance that the largest absolute value of a Brownian bridge
// is above d: A. Kolmogorov, Giorn. Ist. Ital. Attuari 4 (1933) 83-91.
func kolmogorovTail(d float64) float64 {
	if d < 0.2 { // above 1 − 1e-12, where the series alternates without end
		return 1
	}
	sum, sign := 0.0, 1.0
	for k := 1.0; ; k++ {
		term := math.Exp(-2 * k * k * d * d)
		sum += sign * term
		if term < 1e-18 {
			return min(1, max(0, 2*sum))
		}
		sign = -sign
	}
}
