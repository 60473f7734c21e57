package service

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// mostTerms bounds the terms of a model.
const mostTerms = 20

func modelQuestionFrom(p *problems, r *pb.QueryModelRequest) (analysis.ModelQuery, []ledger.IncidentKind, analysis.ModelOptions) {
	scope, kinds := scopeFrom(p, r.Kinds, r.Filters, r.StartDate, r.EndDate, r.Confidence)
	q := analysis.ModelQuery{Filters: scope.Filters, StartDay: scope.StartDay, EndDay: scope.EndDay, ByJoint: r.ByJoint}
	switch n := len(r.Terms); {
	case n == 0:
		p.Add("terms", "is required; expected one at least")
	case n > mostTerms:
		p.Add("terms", "%d are given; expected at most %d", n, mostTerms)
	}
	for i, m := range r.Terms {
		at := fmt.Sprintf("terms[%d]", i)
		t, ok := termFrom(p, at, m)
		if !ok {
			continue
		}
		if k := slices.IndexFunc(q.Terms, func(o analysis.CountTerm) bool { return o.Column() == t.Column() }); k >= 0 {
			p.Add(at, "%s is given twice, in terms[%d] too", t.Column(), k)
		}
		q.Terms = append(q.Terms, t)
	}
	o := analysis.ModelOptions{Confidence: r.Confidence, UseDispersion: r.UseDispersion}
	o.Family = wire.Known(p, "family", analysis.ModelFamilies, r.Family)
	penalty := methodFrom[analysis.ModelPenalty](p, "penalty", r.Penalty, 3)
	o.Penalty = max(penalty, 1) - 1
	return q, kinds, o
}

func termFrom(p *problems, at string, m *pb.ModelTerm) (analysis.CountTerm, bool) {
	var t analysis.CountTerm
	switch {
	case m.GetFactor() != 0 && m.GetCovariate() != 0:
		p.Add(at, "has both a factor and a covariate; expected one of them")
		return t, false
	case m.GetFactor() == 0 && m.GetCovariate() == 0:
		p.Add(at, "names neither a factor nor a covariate; expected one of them")
		return t, false
	case m.GetCovariate() != 0:
		t.Covariate = wire.Known(p, at+".covariate", analysis.ModelCovariates, m.GetCovariate())
		t.Per, t.At = m.GetPer(), m.GetAt()
		// Written so that NaN, which compares false, is refused too.
		if !(t.Per >= 0) || math.IsInf(t.Per, 1) {
			p.Add(at+".per", "%v is out of range; expected a number above 0", t.Per)
		}
		if m.GetReference() != "" {
			p.Add(at+".reference", "is given for a covariate; only a factor has a reference")
		}
		return t, t.Covariate != 0
	}
	factor, ok := groupingFrom(p, at+".factor", m.GetFactor())
	if !ok {
		return t, false
	}
	t.Factor = factor
	t.Reference = filterValue(p, at+".reference", factor, m.GetReference())
	if m.GetPer() != 0 || len(m.GetAt()) > 0 {
		p.Add(at, "per or at is given for a factor; only a covariate has them. Covariates are %s", strings.Join(analysis.ModelCovariates.All(), ", "))
	}
	return t, true
}

func modelTo(a analysis.ModelAnswer) *pb.QueryModelResponse {
	m := &pb.QueryModelResponse{
		Headline: a.Headline, RatioName: a.RatioName, Rows: int32(a.Rows), RowsLeftOut: int32(a.RowsLeftOut), Clusters: int32(a.Clusters),
		Failures: a.Failures, Size: a.Size, Penalised: a.Penalised, PenaltyReason: a.PenaltyReason,
		Method: a.Method, Assumption: a.Assumption, Cautions: a.Cautions,
		Fit: &pb.ModelFit{
			LogLikelihood: a.Fit.LogLikelihood, Aic: a.Fit.AIC, Deviance: a.Fit.Deviance, NullDeviance: a.Fit.NullDeviance,
			DegreesOfFreedom: int32(a.Fit.DegreesOfFreedom), NullDegreesOfFreedom: int32(a.Fit.NullDegreesOfFreedom),
			Dispersion: a.Fit.Dispersion, DispersionUsed: a.Fit.DispersionUsed, Note: a.Fit.Note,
		},
	}
	for i := range a.Terms {
		m.Terms = append(m.Terms, modelTermTo(&a.Terms[i]))
	}
	if a.Intercept != nil {
		m.Intercept = modelCoefficientTo(a.Intercept)
	}
	return m
}

func modelTermTo(t *analysis.ModelTermAnswer) *pb.ModelTermAnswer {
	m := &pb.ModelTermAnswer{Column: t.Column, Covariate: t.Covariate, Reference: t.Reference, Per: t.Per, Test: modelTestTo(t.Test), RobustTest: modelTestTo(t.RobustTest)}
	for i := range t.Coefficients {
		m.Coefficients = append(m.Coefficients, modelCoefficientTo(&t.Coefficients[i]))
	}
	for _, r := range t.Rates {
		m.Rates = append(m.Rates, &pb.ModelRate{
			Level: r.Level, Value: r.Value, Failures: r.Failures, Size: r.Size, CrudePer_1000: r.CrudePer1000, Per_1000: r.Per1000,
			IntervalPer_1000: limitsTo(r.IntervalPer1000), RobustIntervalPer_1000: limitsTo(r.RobustIntervalPer1000),
		})
	}
	return m
}

func modelCoefficientTo(c *analysis.ModelCoefficient) *pb.ModelCoefficient {
	return &pb.ModelCoefficient{
		Level: c.Level, Estimate: c.Estimate, StandardError: c.StandardError, RobustStandardError: c.RobustStandardError, Ratio: c.Ratio,
		Wald: limitsTo(c.Wald), Profile: limitsTo(c.Profile), Robust: limitsTo(c.Robust),
		WaldZ: c.WaldZ, WaldPValue: c.WaldP,
		PValue: c.PValue, PAdjusted: c.PAdjusted, RobustPValue: c.RobustP, DesignEffect: c.DesignEffect, Note: c.Note,
	}
}

func modelTestTo(t *analysis.ModelTest) *pb.TestResult {
	if t == nil {
		return nil
	}
	return &pb.TestResult{Statistic: t.Statistic, DegreesOfFreedom: int32(t.DegreesOfFreedom), PValue: t.PValue}
}
