package stats

import "math"

// Point probabilities in saddle-point form: C. Loader, "Fast and accurate
// computation of binomial probabilities" (2000). Written with log-gamma
// functions, the logarithm of a probability is a small difference of numbers
// as large as n·ln n, and at n = 10 million it keeps only eight digits. Here
// each factorial is split into Stirling's formula and its small error δ, and
// the large parts are cancelled by algebra, which leaves the deviances.

const halfLogTwoPi = 0.91893853320467274178032973640562 // ½·ln 2π

// stirlingError gives δ(n) = ln Γ(n+1) − ½·ln(2πn) − n·ln n + n for n > 0.
//
// The series is Stirling's (NIST Digital Library of Mathematical Functions
// 5.11.1, with the Bernoulli numbers of its table 24.2.1).
func stirlingError(n float64) float64 {
	if n < 16 {
		// Here the cancellation costs no more than 1e-14 absolute.
		lg, _ := math.Lgamma(n + 1)
		return lg - (n+0.5)*math.Log(n) + n - halfLogTwoPi
	}
	const (
		s0 = 1.0 / 12
		s1 = 1.0 / 360
		s2 = 1.0 / 1260
		s3 = 1.0 / 1680
		s4 = 1.0 / 1188
		s5 = 691.0 / 360360
		s6 = 1.0 / 156
	)
	nn := n * n
	return (s0 - (s1-(s2-(s3-(s4-(s5-s6/nn)/nn)/nn)/nn)/nn)/nn) / n
}

// deviance gives x·ln(x/m) + m − x for x and m above 0: half the Poisson
// deviance of an observation x with mean m. It is 0 at x = m and never below.
func deviance(x, m float64) float64 {
	if math.Abs(x-m) >= 0.1*(x+m) {
		return x*math.Log(x/m) + m - x
	}
	// With v = (x−m)/(x+m), ln(x/m) = 2·artanh v; the terms that would cancel
	// are gathered in the first one.
	v := (x - m) / (x + m)
	sum := (x - m) * v
	term := 2 * x * v
	for j := 3.0; ; j += 2 {
		term *= v * v
		next := sum + term/j
		if next == sum {
			return sum
		}
		sum = next
	}
}

// logBinomial gives the logarithm of the probability of k successes in n
// trials, with success probability p and q = 1−p, both given because one of
// them may be too near 1 to tell its complement. 0 ≤ k ≤ n, 0 < p < 1.
func logBinomial(k, n, p, q float64) float64 {
	switch k {
	case 0:
		return n * logOfPart(q, p)
	case n:
		return n * logOfPart(p, q)
	}
	rest := n - k
	return 0.5*math.Log(n/k/rest) - halfLogTwoPi +
		stirlingError(n) - stirlingError(k) - stirlingError(rest) -
		deviance(k, n*p) - deviance(rest, n*q)
}

// logOfPart gives ln part, from the rest = 1−part when part is near 1.
func logOfPart(part, rest float64) float64 {
	if rest < 0.5 {
		return math.Log1p(-rest)
	}
	return math.Log(part)
}
