package stats

import "math"

// poissonMidPLimits gives the means at which the events beyond x, with half of
// x itself, are as improbable as the tail (Lancaster 1961). As that is the mean
// of the tail with x and the tail without it, the limit lies between the exact
// limits of x and of its neighbour, and is searched for there.
func poissonMidPLimits(x float64) limits {
	return limits{
		lower: func(tail float64) float64 {
			if x == 0 {
				return 0
			}
			excess := func(mean float64) float64 {
				with, without := logLowerGamma(x, mean).log, logLowerGamma(x+1, mean).log
				return 0.5*(math.Exp(with)+math.Exp(without)) - tail
			}
			return bracketedRoot(excess, gammaQuantile(x, tail), gammaQuantile(x+1, tail))
		},
		upper: func(tail float64) float64 {
			if x == 0 {
				// ½·e^−mean = tail; half the weight of 0 is never more than ½.
				return math.Max(0, -math.Log(2*tail))
			}
			excess := func(mean float64) float64 {
				with, without := logUpperGamma(x+1, mean).log, logUpperGamma(x, mean).log
				return tail - 0.5*(math.Exp(with)+math.Exp(without))
			}
			return bracketedRoot(excess, gammaUpperQuantile(x, tail), gammaUpperQuantile(x+1, tail))
		},
		top: math.Inf(1),
	}
}
