package stats

import "math"

// CommonRelativeRisk gives the relative risk of Mantel and Haenszel over
// strata, with the interval of S. Greenland, J. M. Robins, "Estimation of a
// common effect parameter from sparse follow-up data", Biometrics 41 (1985)
// 55-68. A stratum without failures adds nothing. When the estimate is 0 or
// unbounded, or everything failed, there is no standard error and the interval
// is the whole range; [CommonOddsRatio] may still have a limit.
//
// An [*ArgumentError] is returned as by [CommonOddsRatio].
func CommonRelativeRisk(strata []TwoGroups, confidence float64) (RatioInterval, error) {
	if err := checkStrata(strata); err != nil {
		return RatioInterval{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return RatioInterval{}, err
	}
	var r, s, v float64
	for _, g := range strata {
		if !g.BothArms() {
			continue
		}
		a, b, c, d := g.cells()
		nA, nB := a+b, c+d
		n := nA + nB
		r += a * (nB / n)
		s += c * (nA / n)
		// Greenland and Robins's (nA·nB·(a+c) − a·c·n)/n², without a difference.
		v += a/n*(nA/n)*d + c/n*(nB/n)*b
	}
	ratio := estimatedRatio(r, s)
	if r == 0 || s == 0 || v == 0 {
		return ratio, nil
	}
	return ratio.logNormal(math.Sqrt(v/r/s), confidence), nil
}

// CommonDifference is a difference of probabilities common to all strata.
type CommonDifference struct {
	// Estimate is nil when no stratum has attempts in both groups.
	Estimate *float64
	// Interval is nil when there is no estimate, or no standard error because
	// within each stratum and group nothing or everything failed.
	Interval *Interval
}

// CommonRiskDifference gives the difference of the probabilities of failure, A
// less B, over strata with the weights of Mantel and Haenszel, and the interval
// of T. Sato, "On the variance estimator for the Mantel-Haenszel risk
// difference", Biometrics 45 (1989) 1323-1324, clipped to [−1, 1].
//
// An [*ArgumentError] is returned as by [CommonOddsRatio].
func CommonRiskDifference(strata []TwoGroups, confidence float64) (CommonDifference, error) {
	if err := checkStrata(strata); err != nil {
		return CommonDifference{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return CommonDifference{}, err
	}
	var weight, sum, p, q float64
	spread := false
	for _, g := range strata {
		if !g.BothArms() {
			continue
		}
		a, b, c, d := g.cells()
		nA, nB := a+b, c+d
		n := nA + nB
		spread = spread || a*b != 0 || c*d != 0
		weight += nA * (nB / n)
		sum += a*(nB/n) - c*(nA/n)
		p += nA/n*(nA/n)*c - nB/n*(nB/n)*a + nA/n*(nB/n)*(nB-nA)/2
		q += (a*(d/n) + c*(b/n)) / 2
	}
	if weight == 0 {
		return CommonDifference{}, nil
	}
	estimate := sum / weight
	common := CommonDifference{Estimate: &estimate}
	variance := (estimate*p + q) / weight / weight
	if !spread || !(variance > 0) {
		return common, nil
	}
	half := normalUpperQuantile((1-confidence)/2) * math.Sqrt(variance)
	common.Interval = &Interval{Lower: within(estimate-half, -1, estimate), Upper: within(estimate+half, estimate, 1)}
	return common, nil
}
