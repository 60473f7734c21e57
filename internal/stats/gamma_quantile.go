package stats

import "math"

// gammaQuantile gives the x that a gamma variable of shape a and scale 1 falls
// below with probability p; a ≥ 1/2, 0 < p ≤ 1.
func gammaQuantile(a, p float64) float64 {
	if p > 0.5 {
		return gammaUpperQuantile(a, 1-p)
	}
	start := wilsonHilferty(a, -normalUpperQuantile(p))
	// P(a,x) < x^a/Γ(a+1), so this start lies left of the root; the cube is
	// useless, even negative, far out in the left tail of a small shape.
	lg, _ := math.Lgamma(a + 1)
	if bound := math.Exp((math.Log(p) + lg) / a); !(start > bound) {
		start = bound
	}
	return gammaNewton(start, math.Log(p), 1, func(x float64) logTail { return logLowerGamma(a, x) })
}

// gammaUpperQuantile gives the x that a gamma variable of shape a and scale 1
// exceeds with probability q; a ≥ 1/2, 0 ≤ q ≤ 1.
func gammaUpperQuantile(a, q float64) float64 {
	switch {
	case q == 0:
		return math.Inf(1)
	case q > 0.5:
		if q == 1 {
			return 0
		}
		return gammaQuantile(a, 1-q)
	}
	start := wilsonHilferty(a, normalUpperQuantile(q))
	return gammaNewton(start, math.Log(q), -1, func(x float64) logTail { return logUpperGamma(a, x) })
}

// wilsonHilferty approximates the gamma quantile at the normal deviate z: E. B.
// Wilson, M. M. Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684-688.
func wilsonHilferty(a, z float64) float64 {
	root := 1 - 1/(9*a) + z/(3*math.Sqrt(a))
	return a * root * root * root
}

// gammaNewton solves tail(x).log = target by Newton's iteration in ln x. Both
// logarithms of tails are concave there, as in [betaQuantile], so after the
// first step the iterates move one way, up for the lower tail (climb 1) and
// down for the upper tail (climb −1), until rounding makes them turn.
func gammaNewton(start, target, climb float64, tail func(x float64) logTail) float64 {
	x := start
	for i := 0; x > 0; i++ {
		at := tail(x)
		step := (target - at.log) / at.slope
		next := x * math.Exp(step)
		if i > 0 && step*climb <= 0 || next == x {
			break
		}
		x = next
	}
	return x
}
