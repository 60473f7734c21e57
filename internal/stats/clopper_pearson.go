package stats

import "math"

// clopperPearsonLimits gives the probabilities of failure at which x or more
// failures, and x or fewer, in n attempts are as improbable as the tail: they
// are quantiles of Beta(x, n−x+1) and Beta(x+1, n−x) (Clopper and Pearson 1934;
// NIST Digital Library of Mathematical Functions 8.17.5).
func clopperPearsonLimits(x, n float64) limits {
	return limits{
		lower: func(tail float64) float64 {
			switch x {
			case 0:
				return 0
			case n:
				return math.Exp(math.Log(tail) / n)
			}
			p, _ := betaQuantile(x, n-x+1, tail)
			return within(p, 0, 1)
		},
		upper: func(tail float64) float64 {
			switch x {
			case 0:
				return -math.Expm1(math.Log(tail) / n)
			case n:
				return 1
			}
			_, p := betaQuantile(n-x, x+1, tail)
			return within(p, 0, 1)
		},
		top: 1,
	}
}
