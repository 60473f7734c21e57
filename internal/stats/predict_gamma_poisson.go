package stats

import "math"

// PredictGammaPoisson is the distribution of the events in a future exposure
// when the rate is known only as a gamma variable of the given shape and rate
// (mean shape/rate): the negative binomial of size shape and probability
// rate/(rate+exposure), M. Greenwood, G. U. Yule, J. Roy. Statist. Soc. 83
// (1920) 255-279. An [*ArgumentError] is returned for a shape, rate or exposure
// that is not finite and above 0, and for a mean above [MaxCount].
func PredictGammaPoisson(shape, rate, exposure float64) (CountDistribution, error) {
	for _, c := range []struct {
		name  string
		value float64
	}{{"shape", shape}, {"rate", rate}} {
		if !(c.value > 0) || math.IsInf(c.value, 1) {
			return CountDistribution{}, badNumber(c.name, c.value, "must be a finite number above 0")
		}
	}
	if err := checkExposure(exposure); err != nil {
		return CountDistribution{}, err
	}
	mean := shape / rate * exposure
	if !(mean <= MaxCount) {
		return CountDistribution{}, badNumber("exposure", exposure, "must be small enough for the mean to be at most 2^40")
	}
	p, q := 1/(1+exposure/rate), 1/(1+rate/exposure)
	return CountDistribution{
		mean: mean, variance: mean * (1 + exposure/rate), most: MaxCount,
		logProbability: func(k float64) float64 { return logNegativeBinomial(k, shape, p, q) },
		tails:          func(k float64) (atMost, moreThan float64) { return betaTails(shape, k+1, p, q) },
	}, nil
}

// logNegativeBinomial gives the logarithm of Γ(s+k)/(Γ(s)·k!)·p^s·q^k, q = 1−p,
// through the binomial probability in saddle-point form (Loader 2000).
func logNegativeBinomial(k, size, p, q float64) float64 {
	return logBinomial(size, size+k, p, q) - math.Log1p(k/size)
}

// FuturePoissonCount gives the two-sided interval for the count in a future
// exposure, after so many events in a past one, for a Poisson process of
// unchanged rate. The limits are the exact conditional ones: given the sum of
// both counts, the past one is binomial, whatever the rate. They are
// conservative: with at least the given confidence the future count lies
// within.
//
// G. J. Hahn, W. Q. Meeker, Statistical Intervals (1991), chapter 7; W. Nelson,
// Applied Life Data Analysis (1982), section 6.2.
//
// An [*ArgumentError] is returned for a count below 0 or above [MaxCount], an
// exposure that is not finite and above 0, and a confidence not strictly
// between 0 and 1.
func FuturePoissonCount(count int64, exposure, futureExposure, confidence float64) (lower, upper int64, err error) {
	if err := checkCount("count", count); err != nil {
		return 0, 0, err
	}
	if err := checkExposure(exposure); err != nil {
		return 0, 0, err
	}
	if err := checkConfidence(confidence); err != nil {
		return 0, 0, err
	}
	tail := (1 - confidence) / 2
	// P(Bin(x+y, p) ≥ x) and P(Bin(x+y, p) ≤ x) are tails in y of negative
	// binomials of size x and x+1.
	if count > 0 {
		d, err := PredictGammaPoisson(float64(count), exposure, futureExposure)
		if err != nil {
			return 0, 0, err
		}
		if lower, err = d.Quantile(tail); err != nil {
			return 0, 0, err
		}
	}
	d, err := PredictGammaPoisson(float64(count)+1, exposure, futureExposure)
	if err != nil {
		return 0, 0, err
	}
	if upper, err = d.Quantile(1 - tail); err != nil {
		return 0, 0, err
	}
	return lower, upper, nil
}
