package cli

import (
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/stats"
	pb "jointledger/proto/jointledger/v1"
)

// What follows reads the answers of the server into the ones that the analyses of
// files give, so that both are shown by the same words and columns.

func comparisonFrom(m *pb.QueryComparisonResponse) analysis.CompareAnswer {
	a := analysis.CompareAnswer{
		Headline: m.GetHeadline(), A: armFrom(m.GetA()), B: armFrom(m.GetB()), Disagreement: m.GetDisagreement(),
		Crude: analysis.CompareCrude{
			Difference: differenceFrom(m.GetCrude().GetDifference()), RelativeRisk: ratioFrom(m.GetCrude().GetRelativeRisk()),
			OddsRatio: ratioFrom(m.GetCrude().GetOddsRatio()), FisherP: m.GetCrude().GetFisherPValue(),
			ChiSquare: chiSquareFrom(m.GetCrude().GetChiSquare()), LeastExpected: m.GetCrude().GetLeastExpected(),
		},
		Method: m.GetMethod(), Assumption: m.GetAssumption(), Cautions: m.GetCautions(),
	}
	if s := m.GetStratified(); s != nil {
		a.Stratified = &analysis.CompareStratified{
			Strata: int(s.GetStrata()), BothArms: int(s.GetBothArms()), Informative: int(s.GetInformative()), CMH: chiSquareFrom(s.GetCmh()),
			OddsRatio: ratioFrom(s.GetOddsRatio()), RelativeRisk: ratioFrom(s.GetRelativeRisk()),
			Homogeneity: stats.Homogeneity{BreslowDay: chiSquareFrom(s.GetBreslowDay()), Tarone: chiSquareFrom(s.GetTarone()), Strata: int(s.GetHomogeneityStrata())},
		}
		if d := s.GetDifference(); d != nil {
			difference := differenceFrom(d)
			a.Stratified.Difference = &difference
		}
	}
	for _, s := range m.GetStrata() {
		one := analysis.CompareStratumAnswer{Names: s.GetNames(), Note: s.GetNote()}
		if s.A != nil {
			rate := armFrom(s.A)
			one.A = &rate
		}
		if s.B != nil {
			rate := armFrom(s.B)
			one.B = &rate
		}
		if s.RelativeRisk != nil {
			ratio := ratioFrom(s.RelativeRisk)
			one.RelativeRisk = &ratio
		}
		a.Strata = append(a.Strata, one)
	}
	return a
}

// jointComparisonFrom gives nil where there is none.
func jointComparisonFrom(m *pb.JointComparison) *analysis.CompareClusterAnswer {
	if m == nil {
		return nil
	}
	return &analysis.CompareClusterAnswer{
		Headline: m.GetHeadline(), A: armFrom(m.GetA()), B: armFrom(m.GetB()), ClustersA: int(m.GetJointsA()), ClustersB: int(m.GetJointsB()),
		Robust: ratioFrom(m.GetRobust()), Naive: ratioFrom(m.GetNaive()),
		RobustDifference: differenceFrom(m.GetRobustDifference()), NaiveDifference: differenceFrom(m.GetNaiveDifference()),
		DesignEffect: m.DesignEffect, DesignEffectA: m.DesignEffectA, DesignEffectB: m.DesignEffectB,
		Method: m.GetMethod(), Assumption: m.GetAssumption(), Cautions: m.GetCautions(),
	}
}

func armFrom(m *pb.ArmRate) analysis.CompareRate {
	return analysis.CompareRate{Name: m.GetName(), Failures: m.GetFailures(), Attempts: m.GetAttempts(),
		RatePer1000: m.GetRatePer_1000(), LowerPer1000: m.GetLowerPer_1000(), UpperPer1000: m.GetUpperPer_1000()}
}

func ratioFrom(m *pb.RatioEstimate) stats.RatioInterval {
	if m == nil {
		return stats.RatioInterval{}
	}
	return stats.RatioInterval{Estimate: m.Estimate, Unbounded: m.GetUnbounded(), Lower: m.GetLower(), Upper: m.Upper}
}

func chiSquareFrom(m *pb.TestResult) stats.ChiSquareTest {
	return stats.ChiSquareTest{Statistic: m.GetStatistic(), DegreesOfFreedom: int(m.GetDegreesOfFreedom()), P: m.GetPValue()}
}

func differenceFrom(m *pb.RateDifference) analysis.CompareDifference {
	if m == nil {
		return analysis.CompareDifference{}
	}
	d := analysis.CompareDifference{Per1000: m.GetPer_1000(), LowerPer1000: m.LowerPer_1000, UpperPer1000: m.UpperPer_1000, NumberNeededText: m.GetNumberNeededText()}
	if n := m.GetNumberNeeded(); n != nil {
		d.NumberNeeded = &stats.NumberNeeded{Estimate: n.Estimate, EstimateFewer: n.GetEstimateFewer(), Fewer: neededFrom(n.GetFewer()), More: neededFrom(n.GetMore())}
	}
	return d
}

func neededFrom(m *pb.NumberNeededRange) *stats.NumberNeededRange {
	if m == nil {
		return nil
	}
	return &stats.NumberNeededRange{Least: m.GetLeast(), Most: m.Most}
}

func limitsFrom(m *pb.Limits) *stats.Interval {
	if m == nil {
		return nil
	}
	return &stats.Interval{Lower: m.GetLower(), Upper: m.GetUpper()}
}

// priorFrom reads what shrunk figures were drawn towards; the domain's numbers begin
// at 0.
func priorFrom(m pb.PriorSource) stats.Fallback { return stats.Fallback(max(m, 1) - 1) }

func standingFrom(m *pb.QueryStandingResponse) analysis.StandingAnswer {
	a := analysis.StandingAnswer{
		Failures: m.GetFailures(), Attempts: m.GetAttempts(), RatePer1000: m.RatePer_1000, LowerPer1000: m.LowerPer_1000, UpperPer1000: m.UpperPer_1000,
		OverDispersion: m.OverDispersion, RatioShrinkage: priorFrom(m.GetRatioPrior()), RateShrinkage: priorFrom(m.GetRatePrior()),
		Headlines: m.GetHeadlines(), Method: m.GetMethod(), Assumption: m.GetAssumption(), Cautions: m.GetCautions(),
	}
	for _, u := range m.GetUnits() {
		a.Units = append(a.Units, analysis.StandingUnit{
			Unit: u.GetUnit(), Failures: u.GetFailures(), Attempts: u.GetAttempts(),
			RatePer1000: u.GetRatePer_1000(), LowerPer1000: u.GetLowerPer_1000(), UpperPer1000: u.GetUpperPer_1000(), CrudeRank: int(u.GetCrudeRank()),
			Expected: u.GetExpected(), Ratio: u.Ratio, RatioLower: u.RatioLower, RatioUpper: u.RatioUpper, StandardisedRank: int(u.GetStandardisedRank()),
			Band: analysis.StandingBand(u.GetBand()), TwoSigma: limitsFrom(u.GetTwoSigma()), ThreeSigma: limitsFrom(u.GetThreeSigma()),
			PValue: u.PValue, PAdjusted: u.PAdjusted,
			ShrunkRatio: u.ShrunkRatio, ShrunkLower: u.ShrunkLower, ShrunkUpper: u.ShrunkUpper, AboveRatioLimit: u.AboveRatioLimit,
			RankMean: u.RankMean, RankLower: int(u.GetRankLower()), RankUpper: int(u.GetRankUpper()),
			ShrunkPer1000: u.GetShrunkPer_1000(), ShrunkLowerPer1000: u.GetShrunkLowerPer_1000(), ShrunkUpperPer1000: u.GetShrunkUpperPer_1000(),
			AbovePer1000: u.AbovePer_1000, Sentence: u.GetSentence(),
		})
	}
	return a
}

func trendFrom(m *pb.QueryTrendResponse) analysis.TrendAnswer {
	a := analysis.TrendAnswer{
		Kind: analysis.ChartKind(m.GetChart()), KindReason: m.GetChartReason(), Unit: m.GetUnit(), Centre: m.GetCentre(), Dispersion: m.Dispersion,
		Failures: m.GetFailures(), Attempts: m.GetAttempts(), Headline: m.GetHeadline(), Method: m.GetMethod(), Assumption: m.GetAssumption(), Cautions: m.GetCautions(),
	}
	for _, p := range m.GetPoints() {
		a.Points = append(a.Points, analysis.TrendPoint{Label: p.GetLabel(), Value: p.GetValue(), Lower: p.Lower, Upper: p.Upper, Beyond: int(p.GetBeyond())})
	}
	for _, r := range m.GetRuns() {
		a.Runs = append(a.Runs, analysis.TrendRun{Rule: r.GetRule(), Label: r.GetLabel(), Side: int(r.GetSide())})
	}
	if c := m.GetChange(); c != nil {
		a.Change = &analysis.TrendChange{LastBefore: c.GetLastBefore(), FirstAfter: c.GetFirstAfter(), Before: c.GetBeforePer_1000(), After: c.GetAfterPer_1000(),
			PValue: c.GetPValue(), BeyondChance: c.GetBeyondChance(), Sentence: c.GetSentence()}
	}
	return a
}

func sparesFrom(m *pb.QuerySparesResponse) analysis.SparesAnswer {
	a := analysis.SparesAnswer{
		Groups: int(m.GetGroups()), Prior: stats.BetaPosterior{Alpha: m.GetPriorAlpha(), Beta: m.GetPriorBeta()}, Shrinkage: priorFrom(m.GetPrior()),
		ServiceLevel: m.GetServiceLevel(), Method: m.GetMethod(), Assumption: m.GetAssumption(), Cautions: m.GetCautions(),
	}
	for _, i := range m.GetItems() {
		item := analysis.SparesItem{
			Line: analysis.SparesLine{
				Fastener: i.GetFastener(), Site: ledger.ShortName(i.GetSite()), Failures: i.GetFailures(), Attempts: i.GetAttempts(), DenominatorUnknown: !i.GetDenominatorKnown(),
				Remaining: i.GetRemaining(), OnHand: i.GetOnHand(), InstallsPerDay: i.GetInstallsPerDay(), LeadTimeDays: i.GetLeadTimeDays(), PackSize: i.GetPackSize(),
			},
			LossPer1000: i.LossPer_1000, LossLowerPer1000: i.LossLowerPer_1000, LossUpperPer1000: i.LossUpperPer_1000, MeanLosses: i.MeanLosses,
			Losses: i.Losses, Need: i.Need, RunOut: i.RunOut, Short: i.Short, Order: i.Order, Late: i.GetLate(), CoversInstalls: i.CoversInstalls, Sentence: i.GetSentence(),
		}
		if day, err := time.Parse(time.DateOnly, i.GetOrderByDate()); err == nil {
			item.OrderBy = &day
		}
		a.Items = append(a.Items, item)
	}
	return a
}
