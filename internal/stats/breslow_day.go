package stats

import "math"

// Homogeneity are tests that the odds ratio is the same in all strata.
type Homogeneity struct {
	// BreslowDay is the statistic of N. E. Breslow, N. E. Day, Statistical
	// Methods in Cancer Research I, IARC 1980, section 4.4, with the counts
	// expected of the Mantel-Haenszel odds ratio.
	BreslowDay ChiSquareTest
	// Tarone is the same with the correction that this estimate, which is not
	// the efficient one, needs: R. E. Tarone, "On heterogeneity tests based on
	// efficient scores", Biometrika 72 (1985) 91-95. Some call it Breslow-Day
	// without a word.
	Tarone ChiSquareTest
	// Strata is how many were informative; with fewer than two, or a common
	// odds ratio of 0 or beyond every number, there is nothing to test: both
	// tests then have 0 degrees of freedom and P 1.
	Strata int
}

// BreslowDayTarone tests that the odds ratio is the same in all strata. An
// [*ArgumentError] is returned as by [CochranMantelHaenszel].
func BreslowDayTarone(strata []TwoGroups) (Homogeneity, error) {
	common, err := CommonOddsRatio(strata, 0.95)
	if err != nil {
		return Homogeneity{}, err
	}
	var h Homogeneity
	var statistic, difference, variance float64
	testable := common.Estimate != nil && *common.Estimate > 0
	for _, g := range strata {
		if !g.Informative() {
			continue
		}
		h.Strata++
		if !testable {
			continue
		}
		a, _, _, _ := g.cells()
		e, v := expectedAtOdds(g, *common.Estimate)
		statistic += (a - e) / v * (a - e)
		difference += a - e
		variance += v
	}
	freedom := max(0, h.Strata-1)
	if !testable {
		freedom = 0
	}
	h.BreslowDay = newChiSquareTest(statistic, freedom)
	if variance > 0 {
		statistic -= difference / variance * difference
	}
	h.Tarone = newChiSquareTest(statistic, freedom)
	return h, nil
}

// expectedAtOdds gives the failures of A, e, that make the table's odds ratio
// the given one with its margins as they are, and their asymptotic variance.
func expectedAtOdds(g TwoGroups, odds float64) (e, variance float64) {
	a, b, c, d := g.cells()
	nA, nB, failures := a+b, c+d, a+c
	// e·(nB−failures+e) = odds·(nA−e)·(failures−e). Of the two ways to write
	// the root, that which adds is taken.
	linear := nB - failures + odds*(nA+failures)
	constant := odds * nA * failures
	root := math.Sqrt(math.Max(0, linear*linear+4*(1-odds)*constant))
	if linear > 0 {
		e = 2 * constant / (linear + root)
	} else {
		e = (root - linear) / (2 * (1 - odds))
	}
	low, high := math.Max(0, failures-nB), math.Min(nA, failures)
	// Rounding must not put a cell at 0.
	e = within(e, low+1e-12*(high-low), high-1e-12*(high-low))
	return e, 1 / (1/e + 1/(nA-e) + 1/(failures-e) + 1/(nB-failures+e))
}
