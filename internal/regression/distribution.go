package regression

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// reference is Student's t with so many degrees of freedom, or with 0 the
// normal distribution.
type reference struct{ degrees float64 }

// quantile is what the absolute value exceeds with probability 1 − confidence.
func (r reference) quantile(confidence float64) float64 {
	if r.degrees == 0 {
		return -mathext.NormalQuantile((1 - confidence) / 2)
	}
	// t² = ν(1−x)/x with x beta of ν/2 and ½.
	x := mathext.InvRegIncBeta(r.degrees/2, 0.5, 1-confidence)
	return math.Sqrt(r.degrees * (1 - x) / x)
}

// twoSided is the probability of a statistic further from 0.
func (r reference) twoSided(statistic float64) float64 {
	if r.degrees == 0 {
		return math.Erfc(math.Abs(statistic) / math.Sqrt2)
	}
	return mathext.RegIncBeta(r.degrees/2, 0.5, r.degrees/(r.degrees+statistic*statistic))
}

// upperChiSquare is the probability that χ² exceeds the statistic.
func upperChiSquare(statistic, degrees float64) float64 {
	return mathext.GammaIncRegComp(degrees/2, statistic/2)
}

// upperF is the probability that F exceeds the statistic.
func upperF(statistic, numerator, denominator float64) float64 {
	return mathext.RegIncBeta(denominator/2, numerator/2, denominator/(denominator+numerator*statistic))
}
