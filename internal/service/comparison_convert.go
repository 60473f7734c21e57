package service

import (
	"fmt"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/stats"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// scopeFrom reads what all questions on rates have in common.
func scopeFrom(p *problems, kinds []pb.IncidentKind, filters []*pb.GroupValue, start, end string, confidence float64) (analysis.CountQuery, []ledger.IncidentKind) {
	q, o := rateQuestionFrom(p, &pb.QueryRatesRequest{Kinds: kinds, Filters: filters, StartDate: start, EndDate: end, Confidence: confidence})
	return q, o.Kinds
}

// groupingsFrom reads groupings of which each may be given once, and none that is
// in use.
func groupingsFrom(p *problems, field string, list []pb.Grouping, inUse analysis.Grouping) []analysis.Grouping {
	var by []analysis.Grouping
	seen := map[analysis.Grouping]int{}
	for i, g := range list {
		at := fmt.Sprintf("%s[%d]", field, i)
		w, ok := groupingFrom(p, at, g)
		earlier, twice := seen[w]
		switch {
		case !ok:
		case w == inUse:
			p.Add(at, "%s is what is compared; expected another grouping", analysis.Groupings.Name(w))
		case twice:
			p.Add(at, "%s is given twice, in %s[%d] too", analysis.Groupings.Name(w), field, earlier)
		default:
			seen[w] = i
			by = append(by, w)
		}
	}
	return by
}

func armFrom(p *problems, field string, m *pb.GroupValue) (analysis.GroupValue, bool) {
	if m == nil {
		p.Add(field, "is required; expected a grouping and its value")
		return analysis.GroupValue{}, false
	}
	g, ok := groupingFrom(p, field+".grouping", m.Grouping)
	if !ok {
		return analysis.GroupValue{}, false
	}
	return analysis.GroupValue{Grouping: g, Value: filterValue(p, field+".value", g, m.Value)}, true
}

func comparisonQuestionFrom(p *problems, r *pb.QueryComparisonRequest) (analysis.ComparisonQuery, []ledger.IncidentKind, analysis.CompareOptions) {
	scope, kinds := scopeFrom(p, r.Kinds, r.Filters, r.StartDate, r.EndDate, r.Confidence)
	q := analysis.ComparisonQuery{Filters: scope.Filters, StartDay: scope.StartDay, EndDay: scope.EndDay, ByJoint: r.ByJoint}
	a, ok := armFrom(p, "a", r.A)
	q.A = a
	if r.B != nil {
		b, okB := armFrom(p, "b", r.B)
		switch {
		case !ok || !okB:
		case b.Grouping != a.Grouping:
			p.Add("b.grouping", "is %s, but a is a %s; expected the same", analysis.Groupings.Name(b.Grouping), analysis.Groupings.Name(a.Grouping))
		case b.Value == a.Value:
			p.Add("b.value", "%q is A too; expected another %s", b.Value, analysis.Groupings.Name(b.Grouping))
		}
		q.B = &b
	}
	q.StratifyBy = groupingsFrom(p, "stratify_by", r.StratifyBy, a.Grouping)
	for i, f := range r.Filters {
		if ok && wire.Word[analysis.Grouping](f.GetGrouping()) == a.Grouping {
			p.Add(fmt.Sprintf("filters[%d].grouping", i), "%s is what is compared; a and b say which", analysis.Groupings.Name(a.Grouping))
		}
	}
	o := analysis.CompareOptions{Confidence: r.Confidence, Uncorrected: r.Uncorrected}
	o.Difference = methodFrom[stats.DifferenceMethod](p, "difference_method", r.DifferenceMethod, 3)
	o.RelativeRisk = methodFrom[stats.RelativeRiskMethod](p, "relative_risk_method", r.RelativeRiskMethod, 3)
	o.OddsRatio = methodFrom[stats.OddsRatioMethod](p, "odds_ratio_method", r.OddsRatioMethod, 3)
	return q, kinds, o
}

// methodFrom reads an enum that has the numbers of a domain's list, up to most.
func methodFrom[T ~int, E interface {
	~int32
	fmt.Stringer
}](p *problems, field string, v E, most T) T {
	if v < 0 || T(v) > most {
		p.Add(field, "%d is not a method; expected one of %s", int32(v), enumWords[E](int32(most)))
		return 0
	}
	return T(v)
}

// enumWords lists the values of an enum of the API, from 1.
func enumWords[E interface {
	~int32
	fmt.Stringer
}](most int32) string {
	var names []string
	for i := int32(1); i <= most; i++ {
		names = append(names, E(i).String())
	}
	return strings.Join(names, ", ")
}

func comparisonTo(q analysis.ComparisonQuery, a analysis.ComparisonAnswer) *pb.QueryComparisonResponse {
	m := &pb.QueryComparisonResponse{
		Headline: a.Headline, A: armTo(&a.A), B: armTo(&a.B), Disagreement: a.Disagreement,
		Crude: &pb.CrudeComparison{
			Difference: differenceTo(&a.Crude.Difference), RelativeRisk: ratioTo(&a.Crude.RelativeRisk), OddsRatio: ratioTo(&a.Crude.OddsRatio),
			FisherPValue: a.Crude.FisherP, ChiSquare: chiSquareTo(a.Crude.ChiSquare), LeastExpected: a.Crude.LeastExpected,
		},
		Method: a.Method, Assumption: a.Assumption, Cautions: a.Cautions, StratifiedBy: groupingsTo(q.StratifyBy),
	}
	if s := a.Stratified; s != nil {
		m.Stratified = &pb.StratifiedComparison{
			Strata: int32(s.Strata), BothArms: int32(s.BothArms), Informative: int32(s.Informative), Cmh: chiSquareTo(s.CMH),
			OddsRatio: ratioTo(&s.OddsRatio), RelativeRisk: ratioTo(&s.RelativeRisk), Difference: differenceTo(s.Difference),
			BreslowDay: chiSquareTo(s.Homogeneity.BreslowDay), Tarone: chiSquareTo(s.Homogeneity.Tarone), HomogeneityStrata: int32(s.Homogeneity.Strata),
		}
	}
	for _, s := range a.Strata {
		m.Strata = append(m.Strata, &pb.ComparisonStratum{Names: s.Names, A: armTo(s.A), B: armTo(s.B), RelativeRisk: ratioTo(s.RelativeRisk), Note: s.Note})
	}
	if j := a.ByJoint; j != nil {
		m.ByJoint = &pb.JointComparison{
			Headline: j.Headline, A: armTo(&j.A), B: armTo(&j.B), JointsA: int32(j.ClustersA), JointsB: int32(j.ClustersB),
			Robust: ratioTo(&j.Robust), Naive: ratioTo(&j.Naive),
			RobustDifference: differenceTo(&j.RobustDifference), NaiveDifference: differenceTo(&j.NaiveDifference),
			DesignEffect: j.DesignEffect, DesignEffectA: j.DesignEffectA, DesignEffectB: j.DesignEffectB,
			Method: j.Method, Assumption: j.Assumption, Cautions: j.Cautions,
		}
	}
	return m
}

func groupingsTo(by []analysis.Grouping) []pb.Grouping {
	var list []pb.Grouping
	for _, g := range by {
		list = append(list, pb.Grouping(g))
	}
	return list
}

func armTo(r *analysis.CompareRate) *pb.ArmRate {
	if r == nil {
		return nil
	}
	return &pb.ArmRate{Name: r.Name, Failures: r.Failures, Attempts: r.Attempts, RatePer_1000: r.RatePer1000, LowerPer_1000: r.LowerPer1000, UpperPer_1000: r.UpperPer1000}
}

func ratioTo(r *stats.RatioInterval) *pb.RatioEstimate {
	if r == nil {
		return nil
	}
	return &pb.RatioEstimate{Estimate: r.Estimate, Unbounded: r.Unbounded, Lower: r.Lower, Upper: r.Upper, UpperUnbounded: r.Upper == nil}
}

func chiSquareTo(t stats.ChiSquareTest) *pb.TestResult {
	return &pb.TestResult{Statistic: t.Statistic, DegreesOfFreedom: int32(t.DegreesOfFreedom), PValue: t.P}
}

func differenceTo(d *analysis.CompareDifference) *pb.RateDifference {
	if d == nil {
		return nil
	}
	m := &pb.RateDifference{Per_1000: d.Per1000, LowerPer_1000: d.LowerPer1000, UpperPer_1000: d.UpperPer1000, NumberNeededText: d.NumberNeededText}
	if n := d.NumberNeeded; n != nil {
		m.NumberNeeded = &pb.NumberNeeded{Estimate: n.Estimate, EstimateFewer: n.EstimateFewer, Fewer: rangeTo(n.Fewer), More: rangeTo(n.More)}
	}
	return m
}

func rangeTo(r *stats.NumberNeededRange) *pb.NumberNeededRange {
	if r == nil {
		return nil
	}
	return &pb.NumberNeededRange{Least: r.Least, Most: r.Most, MostUnbounded: r.Most == nil}
}

func limitsTo(i *stats.Interval) *pb.Limits {
	if i == nil {
		return nil
	}
	return &pb.Limits{Lower: i.Lower, Upper: i.Upper}
}

// priorTo writes what shrunk figures were drawn towards: the domain's numbers
// begin at 0.
func priorTo(f stats.Fallback) pb.PriorSource { return pb.PriorSource(f + 1) }
