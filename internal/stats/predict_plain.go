package stats

import "math"

// PredictBinomial is the distribution of the failures in so many trials that
// fail independently with a known probability. It makes no allowance for the
// probability being an estimate; [PredictBetaBinomial] does. An
// [*ArgumentError] is returned for trials below 0 or above [MaxCount] and for a
// probability outside [0, 1].
func PredictBinomial(trials int64, probability float64) (CountDistribution, error) {
	if err := checkCount("trials", trials); err != nil {
		return CountDistribution{}, err
	}
	if !(probability >= 0 && probability <= 1) {
		return CountDistribution{}, badNumber("probability", probability, "must lie between 0 and 1")
	}
	if trials == 0 || probability == 0 {
		return certainCount(0), nil
	}
	if probability == 1 {
		return certainCount(trials), nil
	}
	n, p, q := float64(trials), probability, 1-probability
	return CountDistribution{
		mean: n * p, variance: n * p * q, most: trials,
		logProbability: func(k float64) float64 { return logBinomial(k, n, p, q) },
		// More than k fail when the k+1st smallest of n uniform numbers is below p.
		tails: func(k float64) (atMost, moreThan float64) {
			moreThan, atMost = betaTails(k+1, n-k, p, q)
			return atMost, moreThan
		},
	}, nil
}

// PredictPoisson is the distribution of a Poisson count of known mean. An
// [*ArgumentError] is returned for a mean that is not in [0, MaxCount].
func PredictPoisson(mean float64) (CountDistribution, error) {
	if !(mean >= 0 && mean <= MaxCount) {
		return CountDistribution{}, badNumber("mean", mean, "must be at least 0 and at most 2^40")
	}
	if mean == 0 {
		return certainCount(0), nil
	}
	return CountDistribution{
		mean: mean, variance: mean, most: MaxCount,
		logProbability: func(k float64) float64 {
			if k == 0 {
				return -mean
			}
			return logGammaDensity(k, mean) - math.Log(k)
		},
		tails: func(k float64) (atMost, moreThan float64) {
			moreThan, atMost = gammaTails(k+1, mean)
			return atMost, moreThan
		},
	}, nil
}

// gammaTails gives the probabilities that a gamma variable of shape a and scale
// 1 lies below x and above it; a and x above 0.
func gammaTails(a, x float64) (below, above float64) {
	if x <= a {
		log := logLowerGamma(a, x).log
		return math.Exp(log), -math.Expm1(log)
	}
	log := logUpperGamma(a, x).log
	return -math.Expm1(log), math.Exp(log)
}
