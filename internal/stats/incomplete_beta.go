package stats

import "math"

// logTail is the logarithm of a tail probability at a point, with its
// derivative in the variable that the caller's root search moves in.
type logTail struct {
	log, slope float64
}

// logIncompleteBeta gives ln I_x(a,b), the logarithm of the regularised
// incomplete beta function, for a, b > 0, 0 < x < 1 and y = 1−x; and its
// derivative in the logit ln(x/y).
func logIncompleteBeta(a, b, x, y float64) logTail {
	logDensity := logBetaDensity(a, b, x, y)
	if x*(a+b+2) <= a+1 {
		// I_x(a,b) = density/fraction, so the derivative of its logarithm,
		// density/I_x(a,b), is the fraction itself: no overflow or underflow
		// however far out the tail.
		fraction := betaFraction(a, b, x, y)
		return logTail{log: logDensity - math.Log(fraction), slope: fraction}
	}
	density := math.Exp(logDensity)
	upper := density / betaFraction(b, a, y, x)
	return logTail{log: math.Log1p(-upper), slope: density / (1 - upper)}
}

// logBetaDensity gives ln(x^a·y^b/B(a,b)): the logarithm of the Beta(a,b)
// density in the logit ln(x/y), which is a·b/(a+b) times the binomial
// probability of a in a+b.
func logBetaDensity(a, b, x, y float64) float64 {
	n := a + b
	return 0.5*(math.Log(a)+math.Log(b/n)) - halfLogTwoPi +
		stirlingError(n) - stirlingError(a) - stirlingError(b) -
		deviance(a, n*x) - deviance(b, n*y)
}

// betaFraction gives x^a·y^b/(B(a,b)·I_x(a,b)) by the continued fraction of A.
// R. DiDonato, A. H. Morris, "Algorithm 708: Significant digit computation of
// the incomplete beta function ratios", ACM Trans. Math. Softw. 18 (1992)
// 360-373, in the form whose terms are positive for x ≤ (a+1)/(a+b+2) until
// they have become small. It takes about √max(a,b) steps near the mean, few
// elsewhere; evaluated by the modified Lentz method.
func betaFraction(a, b, x, y float64) float64 {
	const precision = 2.3e-16 // a unit in the last place of 1
	lead := a*y - b*x + 1
	fraction := a * lead / (a + 1)
	c, d := fraction, 0.0
	for m := 1.0; ; m++ {
		odd := a + 2*m - 1
		xo := x / odd
		numerator := (a + m - 1) * (a + b + m - 1) * m * (b - m) * xo * xo
		denominator := m + m*(b-m)*xo + (a+m)*(lead+m*(1+y))/(odd+2)
		d = 1 / (denominator + numerator*d)
		c = denominator + numerator/c
		step := c * d
		fraction *= step
		if math.Abs(step-1) <= precision {
			return fraction
		}
	}
}
