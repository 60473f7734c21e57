package stats

import "math"

// wilsonLimits solves (x/n − π)² = z²·π(1−π)/n for π, for x failures in n
// attempts (Wilson 1927).
func wilsonLimits(x, n float64) limits {
	return limits{
		lower: func(tail float64) float64 {
			if x == 0 {
				return 0
			}
			return wilsonRoot(x, n, -normalUpperQuantile(tail))
		},
		upper: func(tail float64) float64 {
			if x == n {
				return 1
			}
			return wilsonRoot(x, n, normalUpperQuantile(tail))
		},
		top: 1,
	}
}

// wilsonRoot gives the upper root for z above 0, the lower for z below 0.
//
// The textbook expression for the lower root subtracts nearly equal numbers
// when failures are few. As the product of the roots is x²/(n(n+z²)), the lower
// root is found here from the upper one, with no subtraction.
func wilsonRoot(x, n, z float64) float64 {
	root := math.Sqrt(z*z + 4*x*((n-x)/n))
	sum := 2*x + z*z + math.Abs(z)*root
	estimate := x / n
	if z < 0 {
		return within(2*x*estimate/sum, 0, estimate)
	}
	return within(sum/(2*(n+z*z)), estimate, 1)
}
