package analysis

import "jointledger/internal/stats"

// crude compares all attempts of the one arm with all of the other.
func (q comparison) crude() (CompareCrude, error) {
	g, confidence := q.all, q.o.Confidence
	i, err := stats.RiskDifference(g, q.o.Difference, confidence)
	if err != nil {
		return CompareCrude{}, err
	}
	var c CompareCrude
	difference := float64(g.FailuresA)/float64(g.AttemptsA) - float64(g.FailuresB)/float64(g.AttemptsB)
	if c.Difference, err = compareDifference(difference, &i); err != nil {
		return CompareCrude{}, err
	}
	if c.RelativeRisk, err = stats.RelativeRisk(g, q.riskMethod(), confidence); err != nil {
		return CompareCrude{}, err
	}
	if c.OddsRatio, err = stats.OddsRatio(g, q.o.OddsRatio, confidence); err != nil {
		return CompareCrude{}, err
	}
	successesA, successesB := g.AttemptsA-g.FailuresA, g.AttemptsB-g.FailuresB
	if c.FisherP, err = stats.FisherExact(g.FailuresA, successesA, g.FailuresB, successesB); err != nil {
		return CompareCrude{}, err
	}
	table, err := stats.AssociationTest([][]int64{{g.FailuresA, successesA}, {g.FailuresB, successesB}})
	if err != nil {
		return CompareCrude{}, err
	}
	c.ChiSquare, c.LeastExpected = table.Pearson, table.LeastExpected
	return c, nil
}

// riskMethod is the method asked for, or Koopman's where Katz's has no standard
// error.
func (q comparison) riskMethod() stats.RelativeRiskMethod {
	g := q.all
	allFailed := g.FailuresA == g.AttemptsA && g.FailuresB == g.AttemptsB
	if q.o.RelativeRisk == stats.Katz && (g.FailuresA == 0 || g.FailuresB == 0 || allFailed) {
		return stats.Koopman
	}
	return q.o.RelativeRisk
}

// compareDifference puts a difference of proportions into the reader's unit and
// adds the number needed.
func compareDifference(difference float64, i *stats.Interval) (CompareDifference, error) {
	d := CompareDifference{Per1000: 1000 * difference}
	if i == nil {
		return d, nil
	}
	lower, upper := 1000*i.Lower, 1000*i.Upper
	d.LowerPer1000, d.UpperPer1000 = &lower, &upper
	n, err := stats.NumberNeededFrom(difference, *i)
	if err != nil {
		return CompareDifference{}, err
	}
	d.NumberNeeded, d.NumberNeededText = &n, compareNeededText(n)
	return d, nil
}

// acrossStrata compares inside the strata; nil when none has both arms.
func (q comparison) acrossStrata() (*CompareStratified, error) {
	s := CompareStratified{Strata: len(q.groups)}
	for _, g := range q.groups {
		if g.BothArms() {
			s.BothArms++
		}
		if g.Informative() {
			s.Informative++
		}
	}
	if s.BothArms == 0 {
		return nil, nil
	}
	var err error
	if s.CMH, err = stats.CochranMantelHaenszel(q.groups, !q.o.Uncorrected); err != nil {
		return nil, err
	}
	if s.OddsRatio, err = stats.CommonOddsRatio(q.groups, q.o.Confidence); err != nil {
		return nil, err
	}
	if s.RelativeRisk, err = stats.CommonRelativeRisk(q.groups, q.o.Confidence); err != nil {
		return nil, err
	}
	if s.Homogeneity, err = stats.BreslowDayTarone(q.groups); err != nil {
		return nil, err
	}
	common, err := stats.CommonRiskDifference(q.groups, q.o.Confidence)
	if err != nil || common.Estimate == nil {
		return nil, err
	}
	if compareMantelFleiss(q.groups) < leastExpected {
		// Sato's interval is normal on the scale of the difference; with so few
		// failures it claims more than the odds ratio's, which is not.
		common.Interval = nil
	}
	difference, err := compareDifference(*common.Estimate, common.Interval)
	if err != nil {
		return nil, err
	}
	s.Difference = &difference
	return &s, nil
}

// compareMantelFleiss gives how far the failures of A that are expected of equal rates
// are from the least and the most that the margins allow, summed over the
// strata: N. Mantel, J. L. Fleiss, "Minimum expected cell size requirements for
// the Mantel-Haenszel one-degree-of-freedom chi-square test", Amer. J.
// Epidemiol. 112 (1980) 129-134, who want five.
func compareMantelFleiss(groups []stats.TwoGroups) float64 {
	var below, above float64
	for _, g := range groups {
		if !g.Informative() {
			continue
		}
		failures := g.FailuresA + g.FailuresB
		expected := float64(g.AttemptsA) * (float64(failures) / float64(g.AttemptsA+g.AttemptsB))
		below += expected - float64(max(0, failures-g.AttemptsB))
		above += float64(min(g.AttemptsA, failures)) - expected
	}
	return min(below, above)
}
