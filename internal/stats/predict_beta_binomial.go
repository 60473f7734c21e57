package stats

import "math"

// PredictBetaBinomial is the distribution of the failures in so many future
// trials when the probability of failure is known only as a Beta(alpha, beta)
// variable, such as a posterior: J. G. Skellam, J. Roy. Statist. Soc. B 10
// (1948) 257-261. It is wider than the binomial one at the same mean, because
// the probability itself is uncertain. An [*ArgumentError] is returned for
// trials below 0 or above [MaxCount] and for an alpha or beta that is not
// finite and above 0.
func PredictBetaBinomial(alpha, beta float64, trials int64) (CountDistribution, error) {
	if err := checkCount("trials", trials); err != nil {
		return CountDistribution{}, err
	}
	for _, c := range []struct {
		name  string
		value float64
	}{{"alpha", alpha}, {"beta", beta}} {
		if !(c.value > 0) || math.IsInf(c.value, 1) {
			return CountDistribution{}, badNumber(c.name, c.value, "must be a finite number above 0")
		}
	}
	if trials == 0 {
		return certainCount(0), nil
	}
	n := float64(trials)
	p, q := 1/(1+beta/alpha), 1/(1+alpha/beta)
	return CountDistribution{
		mean: n * p, variance: n * p * q * (alpha + beta + n) / (alpha + beta + 1), most: trials,
		logProbability: func(k float64) float64 { return logBetaBinomial(k, n, alpha, beta) },
		// Given the probability, k or fewer of n fail when the k+1st smallest of
		// n uniform numbers, a Beta(k+1, n−k) variable, lies above it.
		tails: func(k float64) (atMost, moreThan float64) {
			return betaBelowBeta(alpha, beta, k+1, n-k)
		},
	}, nil
}

// logBetaBinomial gives the logarithm of the probability of k of n. Two
// negative binomial counts of sizes alpha and beta with any common probability,
// given their sum, are beta-binomial; the one chosen here keeps all three
// probabilities near their modes, so no digits are lost to factorials.
func logBetaBinomial(k, n, alpha, beta float64) float64 {
	precision := alpha + beta
	p, q := 1/(1+n/precision), 1/(1+precision/n)
	return logNegativeBinomial(k, alpha, p, q) +
		logNegativeBinomial(n-k, beta, p, q) -
		logNegativeBinomial(n, precision, p, q)
}

// betaBelowBeta gives the probabilities that a Beta(a,b) variable lies below,
// and above, an independent Beta(c,d) variable. It averages the distribution
// function of the wider one over the narrower one, so the cost does not grow
// with the number of trials that either stands for.
func betaBelowBeta(a, b, c, d float64) (below, above float64) {
	if 1/c+1/d <= 1/a+1/b {
		return averageBetaTails(c, d, a, b)
	}
	above, below = averageBetaTails(a, b, c, d)
	return below, above
}

// averageBetaTails gives the probabilities that a Beta(c,d) variable lies below,
// and above, an independent and no wider Beta(a,b) variable, by the trapezoidal
// rule in the logit of the latter. There the density is analytic and falls at
// least exponentially, so the rule's error falls exponentially with the step
// (L. N. Trefethen, J. A. C. Weideman, SIAM Review 56 (2014) 385-458). It is
// below 1e-16 for a step of 0.4 standard deviations; and, as small parameters
// bring the plane's growing part to within π/2 of the real line, where the error
// is e^(−π²/step), of at most 1/4.
func averageBetaTails(a, b, c, d float64) (below, above float64) {
	const farthest = 46 // e^−46 is 1e-20
	step := math.Min(0.4*math.Sqrt(1/a+1/b), 0.25)
	centre := math.Log(a / b)
	var total float64
	var peak float64
	add := func(logit float64) bool {
		x, y := 1/(1+math.Exp(-logit)), 1/(1+math.Exp(logit))
		log := logBetaDensity(a, b, x, y)
		if logit == centre {
			peak = log
		}
		if log < peak-farthest || x == 0 || y == 0 {
			return false
		}
		weight := math.Exp(log - peak)
		low, high := betaTails(c, d, x, y)
		total += weight
		below += weight * low
		above += weight * high
		return true
	}
	add(centre)
	for _, direction := range []float64{-step, step} {
		for i := 1.0; add(centre + i*direction); i++ {
		}
	}
	return math.Min(below/total, 1), math.Min(above/total, 1)
}
