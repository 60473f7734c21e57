package stats

import "math"

// garwoodLimits gives the means at which x or more events, and x or fewer, are
// as improbable as the tail: quantiles of the gamma distribution of shape x and
// of shape x+1, half those of chi-square with 2x and 2x+2 degrees of freedom
// (Garwood 1936).
func garwoodLimits(x float64) limits {
	return limits{
		lower: func(tail float64) float64 {
			if x == 0 {
				return 0
			}
			return gammaQuantile(x, tail)
		},
		upper: func(tail float64) float64 {
			if x == 0 {
				return -math.Log(tail)
			}
			return gammaUpperQuantile(x+1, tail)
		},
		top: math.Inf(1),
	}
}
