package stats

import "math"

// logLowerGamma gives ln P(a,x), the logarithm of the regularised lower
// incomplete gamma function, for a ≥ 1/2 and x > 0, and its derivative in ln x.
func logLowerGamma(a, x float64) logTail {
	logDensity := logGammaDensity(a, x)
	if x <= a+1 {
		sum := gammaSeries(a, x)
		return logTail{log: logDensity + math.Log(sum), slope: 1 / sum}
	}
	density := math.Exp(logDensity)
	upper := density / gammaFraction(a, x)
	return logTail{log: math.Log1p(-upper), slope: density / (1 - upper)}
}

// logUpperGamma gives ln Q(a,x), the logarithm of the regularised upper
// incomplete gamma function, for a ≥ 1/2 and x > 0, and its derivative in
// ln x, which is negative.
func logUpperGamma(a, x float64) logTail {
	logDensity := logGammaDensity(a, x)
	if x > a+1 {
		fraction := gammaFraction(a, x)
		return logTail{log: logDensity - math.Log(fraction), slope: -fraction}
	}
	density := math.Exp(logDensity)
	lower := density * gammaSeries(a, x)
	return logTail{log: math.Log1p(-lower), slope: -density / (1 - lower)}
}

// logGammaDensity gives ln(x^a·e^−x/Γ(a)): the logarithm of the gamma density
// of shape a in ln x, which is a times the Poisson probability of a with mean
// x.
func logGammaDensity(a, x float64) float64 {
	return 0.5*math.Log(a) - halfLogTwoPi - stirlingError(a) - deviance(a, x)
}

// gammaSeries gives P(a,x)·Γ(a)/(x^a·e^−x) = Σ x^k/(a(a+1)…(a+k)) (NIST Digital
// Library of Mathematical Functions 8.7.1), for x ≤ a+1, where its terms fall.
func gammaSeries(a, x float64) float64 {
	term := 1 / a
	sum := term
	for k := a + 1; ; k++ {
		ratio := x / k
		term *= ratio
		sum += term
		// What is left is less than a geometric series of this ratio.
		if term*ratio <= 1e-17*sum*(1-ratio) {
			return sum
		}
	}
}

// gammaFraction gives x^a·e^−x/(Γ(a)·Q(a,x)) by Legendre's continued fraction
// (NIST Digital Library of Mathematical Functions 8.9.2, contracted to its even
// part), for x > a+1; evaluated by the modified Lentz method.
func gammaFraction(a, x float64) float64 {
	const precision = 2.3e-16 // a unit in the last place of 1
	denominator := x + 1 - a
	fraction := denominator
	c, d := fraction, 0.0
	for k := 1.0; ; k++ {
		numerator := k * (a - k)
		denominator += 2
		d = 1 / (denominator + numerator*d)
		c = denominator + numerator/c
		step := c * d
		fraction *= step
		if math.Abs(step-1) <= precision {
			return fraction
		}
	}
}
