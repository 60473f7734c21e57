package stats

import "math"

// CochranMantelHaenszel tests, over strata, that failure does not depend on the
// group: W. G. Cochran, Biometrics 10 (1954) 417-451; N. Mantel, W. Haenszel, J.
// Nat. Cancer Inst. 22 (1959) 719-748, with their correction of ½ for
// continuity when corrected (no more than the difference itself). Strata that
// are not informative add nothing; without any that are, P is 1.
//
// An [*ArgumentError] is returned for bad counts, naming the stratum by its
// place from 1.
func CochranMantelHaenszel(strata []TwoGroups, corrected bool) (ChiSquareTest, error) {
	if err := checkStrata(strata); err != nil {
		return ChiSquareTest{}, err
	}
	var difference, variance float64
	for _, g := range strata {
		if !g.Informative() {
			continue
		}
		a, b, c, d := g.cells()
		n := a + b + c + d
		// a − E(a), which is (a·d − b·c)/n.
		difference += a*(d/n) - b*(c/n)
		variance += (a + b) / n * ((c + d) / n) * (a + c) * ((b + d) / (n - 1))
	}
	if variance == 0 {
		return newChiSquareTest(0, 0), nil
	}
	difference = math.Abs(difference)
	if corrected {
		difference = math.Max(0, difference-0.5)
	}
	return newChiSquareTest(difference*difference/variance, 1), nil
}

// CommonOddsRatio gives the odds ratio of Mantel and Haenszel (1959) over
// strata, with the interval of J. Robins, N. Breslow, S. Greenland,
// "Estimators of the Mantel-Haenszel variance consistent in both sparse data
// and large-strata limiting models", Biometrics 42 (1986) 311-323.
//
// That interval needs a standard error, and there is none when the estimate is
// 0 or unbounded. Then every stratum is at the end of what its margins allow,
// and the one limit there is, of the two-sided interval, is the exact
// conditional one: J. J. Gart, "Point and interval estimation of the common odds
// ratio in the combination of 2×2 tables with fixed marginals", Biometrika 57
// (1970) 471-475. Without an informative stratum there is no estimate and the
// interval is the whole range.
//
// An [*ArgumentError] is returned as by [CochranMantelHaenszel], and for a
// confidence not strictly between 0 and 1.
func CommonOddsRatio(strata []TwoGroups, confidence float64) (RatioInterval, error) {
	if err := checkStrata(strata); err != nil {
		return RatioInterval{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return RatioInterval{}, err
	}
	var r, s, pr, mixed, qs float64
	for _, g := range strata {
		if !g.Informative() {
			continue
		}
		a, b, c, d := g.cells()
		n := a + b + c + d
		rk, sk := a*(d/n), b*(c/n)
		p, q := (a+d)/n, (b+c)/n
		r, s = r+rk, s+sk
		pr, mixed, qs = pr+p*rk, mixed+p*sk+q*rk, qs+q*sk
	}
	ratio := estimatedRatio(r, s)
	tail := (1 - confidence) / 2
	switch {
	case r == 0 && s == 0:
	case r == 0:
		upper := exactCommonLimit(strata, tail)
		ratio.Upper = &upper
	case s == 0:
		swapped := make([]TwoGroups, len(strata))
		for i, g := range strata {
			swapped[i] = g.Swapped()
		}
		ratio.Lower = 1 / exactCommonLimit(swapped, tail)
	default:
		variance := (pr/r/r + mixed/r/s + qs/s/s) / 2
		ratio = ratio.logNormal(math.Sqrt(variance), confidence)
	}
	return ratio, nil
}

// exactCommonLimit gives the odds ratio at which the observed strata, each the
// least possible with its margins, are as improbable as the tail.
func exactCommonLimit(strata []TwoGroups, tail float64) float64 {
	return math.Exp(logOddsWhere(func(t float64) float64 {
		probability := 1.0
		for _, g := range strata {
			if g.Informative() {
				probability *= g.fixedMargins().noncentral(t, g.FailuresA).at
			}
		}
		return tail - probability
	}, 0))
}
