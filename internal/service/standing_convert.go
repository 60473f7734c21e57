package service

import (
	"math"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func standingQuestionFrom(p *problems, r *pb.QueryStandingRequest) (analysis.CountQuery, []ledger.IncidentKind, analysis.StandingOptions) {
	q, kinds := scopeFrom(p, r.Kinds, r.Filters, r.StartDate, r.EndDate, r.Confidence)
	unit := analysis.BySite
	if r.Unit != 0 {
		unit, _ = groupingFrom(p, "unit", r.Unit)
	}
	mix := groupingsFrom(p, "mix", r.Mix, unit)
	for i, g := range r.Mix {
		if unit == analysis.BySupplier && g == pb.Grouping_GROUPING_LOT {
			p.Add("mix", "lot in mix[%d] says which supplier it is; a supplier can't be compared within its own lot", i)
		}
	}
	switch {
	case r.CrudeOnly && len(r.Mix) > 0:
		p.Add("mix", "is given although crude_only is set; expected one of them")
	case !r.CrudeOnly && len(r.Mix) == 0:
		mix = analysis.StandingMix(unit)
	}
	q.GroupBy = append([]analysis.Grouping{unit}, mix...)
	o := analysis.StandingOptions{Unit: spaced(unit), Confidence: r.Confidence, RatioLimit: r.RatioLimit, LimitPer1000: r.LimitPer_1000, Seed: r.Seed}
	for _, g := range mix {
		o.Mix = append(o.Mix, spaced(g))
	}
	// Written so that NaN, which compares false, is refused too.
	if v := r.RatioLimit; !(v >= 0) || math.IsInf(v, 1) {
		p.Add("ratio_limit", "%v is out of range; expected a number above 0", v)
	}
	if v := r.LimitPer_1000; !(v >= 0 && v < 1000) {
		p.Add("limit_per_1000", "%v is out of range; expected a number from 0 to below 1,000", v)
	}
	return q, kinds, o
}

// spaced is a grouping's word as it stands in a sentence.
func spaced(g analysis.Grouping) string {
	return strings.ReplaceAll(analysis.Groupings.Name(g), "-", " ")
}

func standingTo(q analysis.CountQuery, a analysis.StandingAnswer) *pb.QueryStandingResponse {
	m := &pb.QueryStandingResponse{
		Headlines: a.Headlines, Failures: a.Failures, Attempts: a.Attempts,
		RatePer_1000: a.RatePer1000, LowerPer_1000: a.LowerPer1000, UpperPer_1000: a.UpperPer1000, OverDispersion: a.OverDispersion,
		RatioPrior: priorTo(a.RatioShrinkage), RatePrior: priorTo(a.RateShrinkage),
		Method: a.Method, Assumption: a.Assumption, Cautions: a.Cautions,
		Unit: pb.Grouping(q.GroupBy[0]), Mix: groupingsTo(q.GroupBy[1:]),
	}
	for i := range a.Units {
		m.Units = append(m.Units, standingUnitTo(&a.Units[i]))
	}
	return m
}

func standingUnitTo(u *analysis.StandingUnit) *pb.StandingUnit {
	return &pb.StandingUnit{
		Unit: u.Unit, Failures: u.Failures, Attempts: u.Attempts,
		RatePer_1000: u.RatePer1000, LowerPer_1000: u.LowerPer1000, UpperPer_1000: u.UpperPer1000, CrudeRank: int32(u.CrudeRank),
		Expected: u.Expected, Ratio: u.Ratio, RatioLower: u.RatioLower, RatioUpper: u.RatioUpper, StandardisedRank: int32(u.StandardisedRank),
		Band: pb.StandingBand(u.Band), TwoSigma: limitsTo(u.TwoSigma), ThreeSigma: limitsTo(u.ThreeSigma), PValue: u.PValue, PAdjusted: u.PAdjusted,
		ShrunkRatio: u.ShrunkRatio, ShrunkLower: u.ShrunkLower, ShrunkUpper: u.ShrunkUpper, AboveRatioLimit: u.AboveRatioLimit,
		RankMean: u.RankMean, RankLower: int32(u.RankLower), RankUpper: int32(u.RankUpper),
		ShrunkPer_1000: u.ShrunkPer1000, ShrunkLowerPer_1000: u.ShrunkLowerPer1000, ShrunkUpperPer_1000: u.ShrunkUpperPer1000, AbovePer_1000: u.AbovePer1000,
		Sentence: u.Sentence,
	}
}
