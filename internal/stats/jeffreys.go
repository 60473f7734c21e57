package stats

// jeffreysLimits gives quantiles of the posterior Beta(x+½, n−x+½), save that
// the limits at x = 0 and x = n are 0 and 1 (Brown, Cai and DasGupta 2001,
// section 3.1.2).
func jeffreysLimits(x, n float64) limits {
	return limits{
		lower: func(tail float64) float64 {
			if x == 0 {
				return 0
			}
			p, _ := betaQuantile(x+0.5, n-x+0.5, tail)
			return p
		},
		upper: func(tail float64) float64 {
			if x == n {
				return 1
			}
			_, p := betaQuantile(n-x+0.5, x+0.5, tail)
			return p
		},
		top: 1,
	}
}
