package analysis

import (
	"math"

	"jointledger/internal/stats"
)

// standingCrude sets the crude rates and their ranks.
func standingCrude(a *StandingAnswer, o StandingOptions) error {
	rates := make([]float64, len(a.Units))
	for i := range a.Units {
		u := &a.Units[i]
		limits, err := stats.Proportion(u.Failures, u.Attempts, stats.Wilson, o.Confidence)
		if err != nil {
			return err
		}
		rates[i] = float64(u.Failures) / float64(u.Attempts)
		u.RatePer1000, u.LowerPer1000, u.UpperPer1000 = 1000*rates[i], 1000*limits.Lower, 1000*limits.Upper
	}
	for i, rank := range standingRanks(rates) {
		a.Units[i].CrudeRank = rank
	}
	return nil
}

// standingRanks gives 1 to the highest value; equal ones share the better rank.
// Two ratios that rounding alone tells apart are equal.
func standingRanks(values []float64) []int {
	ranks := make([]int, len(values))
	for i, v := range values {
		ranks[i] = 1
		for _, other := range values {
			if other > v*(1+1e-12) {
				ranks[i]++
			}
		}
	}
	return ranks
}

// compared gives the places of the units that have a ratio.
func (a *StandingAnswer) compared() []int {
	var places []int
	for i := range a.Units {
		if a.Units[i].Ratio != nil {
			places = append(places, i)
		}
	}
	return places
}

// standingRatios sets the standardised ratios, their limits and ranks.
func standingRatios(a *StandingAnswer, o StandingOptions) error {
	var ratios []float64
	for i := range a.Units {
		u := &a.Units[i]
		alone := u.StandardisedRank == standingAlone
		u.StandardisedRank = 0
		if alone || u.Expected == 0 {
			continue
		}
		limits, err := stats.StandardisedRatio(u.Failures, u.Expected, stats.ExactRatio, o.Confidence)
		if err != nil {
			return err
		}
		ratio := float64(u.Failures) / u.Expected
		u.Ratio, u.RatioLower, u.RatioUpper = &ratio, &limits.Lower, &limits.Upper
		ratios = append(ratios, ratio)
	}
	ranks := standingRanks(ratios)
	for k, i := range a.compared() {
		a.Units[i].StandardisedRank = ranks[k]
	}
	return nil
}

// standingFunnel measures over-dispersion, places the ratios in the funnel and
// tests them.
func standingFunnel(a *StandingAnswer, _ StandingOptions) error {
	compared := a.compared()
	if len(compared) < 2 {
		return nil
	}
	z := make([]float64, len(compared))
	for k, i := range compared {
		u := &a.Units[i]
		z[k] = (float64(u.Failures) - u.Expected) / math.Sqrt(u.Expected)
	}
	factor, err := stats.OverDispersion(z, standingWinsorised)
	if err != nil {
		return err
	}
	a.OverDispersion = &factor
	applied := math.Max(factor, 1)
	p := make([]float64, len(compared))
	for k, i := range compared {
		u := &a.Units[i]
		if u.TwoSigma, err = standingLimits(u.Expected, stats.TwoSigmaTail, applied); err != nil {
			return err
		}
		if u.ThreeSigma, err = standingLimits(u.Expected, stats.ThreeSigmaTail, applied); err != nil {
			return err
		}
		u.Band = standingBandOf(*u.Ratio, *u.TwoSigma, *u.ThreeSigma)
		if p[k], err = stats.StandardisedRatioTest(u.Failures, u.Expected, applied); err != nil {
			return err
		}
	}
	adjusted, err := stats.BenjaminiHochberg(p)
	if err != nil {
		return err
	}
	for k, i := range compared {
		a.Units[i].PValue, a.Units[i].PAdjusted = &p[k], &adjusted[k]
	}
	return nil
}

func standingLimits(expected, tail, overDispersion float64) (*stats.Interval, error) {
	limits, err := stats.PoissonFunnel(expected, tail)
	if err != nil {
		return nil, err
	}
	limits = stats.WidenFunnel(limits, 1, overDispersion)
	return &limits, nil
}

func standingBandOf(ratio float64, two, three stats.Interval) StandingBand {
	switch {
	case ratio > three.Upper:
		return AboveThreeSigma
	case ratio > two.Upper:
		return AboveTwoSigma
	case ratio < three.Lower:
		return BelowThreeSigma
	case ratio < two.Lower:
		return BelowTwoSigma
	}
	return WithinFunnel
}

// standingShrinkage sets the shrunk ratios and rates, and the ranks' intervals.
func standingShrinkage(a *StandingAnswer, o StandingOptions) error {
	counts := make([]stats.FailureCount, len(a.Units))
	for i, u := range a.Units {
		counts[i] = stats.FailureCount{Failures: u.Failures, Attempts: u.Attempts}
	}
	rates, err := stats.ShrinkProportions(counts)
	if err != nil {
		return err
	}
	a.RateShrinkage = rates.Fallback
	for i, p := range rates.Posteriors {
		u := &a.Units[i]
		limits, err := p.Interval(o.Confidence)
		if err != nil {
			return err
		}
		u.ShrunkPer1000, u.ShrunkLowerPer1000, u.ShrunkUpperPer1000 = 1000*p.Mean(), 1000*limits.Lower, 1000*limits.Upper
		if o.LimitPer1000 > 0 {
			above := p.Above(o.LimitPer1000 / 1000)
			u.AbovePer1000 = &above
		}
	}
	return standingShrunkRatios(a, o)
}

func standingShrunkRatios(a *StandingAnswer, o StandingOptions) error {
	compared := a.compared()
	if len(compared) < 2 {
		a.RatioShrinkage = stats.FewGroups
		return nil
	}
	counts := make([]stats.ExposedCount, len(compared))
	for k, i := range compared {
		counts[k] = stats.ExposedCount{Count: a.Units[i].Failures, Exposure: a.Units[i].Expected}
	}
	ratios, err := stats.ShrinkRates(counts)
	if err != nil {
		return err
	}
	a.RatioShrinkage = ratios.Fallback
	ranks, err := stats.PosteriorRanks(ratios.Posteriors, standingDraws(len(compared)), o.Seed, o.Confidence)
	if err != nil {
		return err
	}
	for k, i := range compared {
		u, p := &a.Units[i], ratios.Posteriors[k]
		limits, err := p.Interval(o.Confidence)
		if err != nil {
			return err
		}
		mean, above := p.Mean(), p.Above(o.RatioLimit)
		u.ShrunkRatio, u.ShrunkLower, u.ShrunkUpper, u.AboveRatioLimit = &mean, &limits.Lower, &limits.Upper, &above
		u.RankMean, u.RankLower, u.RankUpper = &ranks[k].Mean, ranks[k].Lower, ranks[k].Upper
	}
	return nil
}
