package service

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/stats"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

const (
	defaultConfidence = 0.95
	mostFilterValues  = 100
	mostGrowth        = 10
	mostFewestResults = 1_000_000
)

// QueryReliability says how reliable families of tools are at the end of their
// calibration interval.
func (s readinessService) QueryReliability(ctx context.Context, r *pb.QueryReliabilityRequest) (*pb.QueryReliabilityResponse, error) {
	var p problems
	q := analysis.ReliabilityQuery{AsOf: s.asOf(&p, r.AsOfTime), Kinds: toolKindsFrom(&p, r.Kinds), TypeClasses: typeClassesFrom(&p, r.TypeClasses)}
	o := reliabilityOptionsFrom(&p, r)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	var intervals []analysis.ToolInterval
	leftOut := map[analysis.LeftOutReason]int64{}
	err := s.store.CalibratedTools(ctx, q, func(t analysis.CalibratedTool) error {
		intervals = append(intervals, analysis.IntervalsOf(t, leftOut)...)
		return nil
	})
	if err != nil {
		return nil, err
	}
	a, err := analysis.Reliability(intervals, o)
	if err != nil {
		return nil, argumentFields(err)
	}
	resp := &pb.QueryReliabilityResponse{
		Headline: a.Headline, AsOfTime: wire.Timestamp(q.AsOf), Target: o.Target, Confidence: o.Confidence,
		Method: a.Method, Assumption: a.Assumption, Cautions: a.Cautions,
	}
	for _, f := range a.Families {
		resp.Families = append(resp.Families, familyReliabilityTo(f))
	}
	for i, words := range analysis.LeftOutReasons.All() {
		if n := leftOut[analysis.LeftOutReason(i+1)]; n > 0 {
			resp.LeftOut = append(resp.LeftOut, &pb.IntervalsLeftOut{Reason: words, Intervals: n})
		}
	}
	return resp, nil
}

// ListToolDrifts pages through how tools drifted.
func (s readinessService) ListToolDrifts(ctx context.Context, r *pb.ListToolDriftsRequest) (*pb.ListToolDriftsResponse, error) {
	var p problems
	confidence := defaultConfidence
	fraction(&p, "confidence", r.Confidence, &confidence)
	q := analysis.ReliabilityQuery{AsOf: s.asOf(&p, r.AsOfTime), Kinds: toolKindsFrom(&p, r.Kinds), TypeClasses: typeClassesFrom(&p, r.TypeClasses)}
	mostValues(&p, "tools", len(r.Tools))
	for i, name := range r.Tools {
		q.Serials = append(q.Serials, p.Required(fmt.Sprintf("tools[%d]", i), "tools", name))
	}
	found, next, err := listPage(r, p, func(page store.Page) ([]analysis.CalibratedTool, string, error) {
		return s.store.CalibratedPage(ctx, q, page)
	}, func(t analysis.CalibratedTool) analysis.CalibratedTool { return t })
	if err != nil {
		return nil, err
	}
	resp := &pb.ListToolDriftsResponse{NextPageToken: next, Cautions: analysis.DriftCautions()}
	for _, t := range found {
		drifts, err := analysis.ToolDrifts(t, confidence)
		if err != nil {
			return nil, argumentFields(err)
		}
		for _, d := range drifts {
			resp.Drifts = append(resp.Drifts, toolDriftTo(d))
		}
	}
	return resp, nil
}

func reliabilityOptionsFrom(p *problems, r *pb.QueryReliabilityRequest) analysis.ReliabilityOptions {
	o := analysis.ReliabilityOptions{
		Target: analysis.DefaultTargetReliability, Confidence: defaultConfidence,
		GrowthCap: analysis.DefaultGrowthCap, LeastResults: analysis.DefaultLeastResults,
	}
	fraction(p, "target", r.Target, &o.Target)
	fraction(p, "confidence", r.Confidence, &o.Confidence)
	if r.GrowthCap != nil {
		o.GrowthCap = *r.GrowthCap
		if !(o.GrowthCap >= 1 && o.GrowthCap <= mostGrowth) {
			p.Add("growth_cap", "%v is out of range; expected 1 to %d", o.GrowthCap, mostGrowth)
		}
	}
	if r.FewestResults != nil {
		o.LeastResults = int(*r.FewestResults)
		if o.LeastResults < 1 || o.LeastResults > mostFewestResults {
			p.Add("fewest_results", "%d is out of range; expected 1 to %d", o.LeastResults, mostFewestResults)
		}
	}
	return o
}

// fraction reads a number strictly between 0 and 1 where it is given.
func fraction(p *problems, field string, given *float64, into *float64) {
	if given == nil {
		return
	}
	if *into = *given; !(*into > 0 && *into < 1) {
		p.Add(field, "%v is out of range; expected above 0 and below 1", *given)
	}
}

func mostValues(p *problems, field string, n int) {
	if n > mostFilterValues {
		p.Add(field, "%d of them; expected at most %d", n, mostFilterValues)
	}
}

func toolKindsFrom(p *problems, kinds []pb.ToolKind) []ledger.ToolKind {
	mostValues(p, "kinds", len(kinds))
	var list []ledger.ToolKind
	for i, k := range kinds {
		at := fmt.Sprintf("kinds[%d]", i)
		if k == 0 {
			p.Add(at, "is not given; expected one of %s", strings.Join(ledger.ToolKinds.All(), ", "))
		}
		list = append(list, wire.Known(p, at, ledger.ToolKinds, k))
	}
	return list
}

// typeClassesFrom reads types and classes as people write them into their codes.
func typeClassesFrom(p *problems, texts []string) []string {
	mostValues(p, "type_classes", len(texts))
	var codes []string
	for i, text := range texts {
		code, err := analysis.TypeClassCode(text)
		switch {
		case err != nil:
			p.Add(fmt.Sprintf("type_classes[%d]", i), "%v", err)
		case !slices.Contains(codes, code):
			codes = append(codes, code)
		}
	}
	return codes
}

// argumentFields makes what the statistics refuse a refusal of the request.
func argumentFields(err error) error {
	var bad *stats.ArgumentError
	if errors.As(err, &bad) {
		return ledger.InvalidField("request", strings.ReplaceAll(bad.Argument, " ", "_"), "%v", err)
	}
	return err
}

func familyReliabilityTo(f analysis.FamilyReliability) *pb.FamilyReliability {
	m := &pb.FamilyReliability{
		Kind: pb.ToolKind(f.Family.Kind), TypeClass: f.Family.TypeClass, Band: f.Family.Band, Family: f.Family.String(),
		Tools: f.Tools, Calibrations: f.Calibrations, InTolerance: f.InTolerance,
		Reliability: f.Reliability, Lower: f.Lower, Upper: f.Upper, PBelowTarget: f.PBelowTarget,
		Months: intervalAdviceTo(f.Months), Sentence: f.Sentence,
	}
	if f.Cycles != nil {
		m.Cycles = intervalAdviceTo(*f.Cycles)
	}
	return m
}

func intervalAdviceTo(a analysis.IntervalAdvice) *pb.IntervalAdvice {
	return &pb.IntervalAdvice{
		Present: a.Present, PresentFromPolicy: a.PresentFromPolicy, Estimate: finite(a.Estimate), Lower: finite(a.Lower), Upper: finite(a.Upper),
		Model: a.Model, Action: pb.IntervalAction(a.Action), Recommended: a.Recommended, Reason: a.Reason,
	}
}

// finite is a copy of a number that can be told; nil for one that can't.
func finite(v *float64) *float64 {
	if v == nil || math.IsNaN(*v) || math.IsInf(*v, 0) {
		return nil
	}
	return wire.Copied(v)
}

func toolDriftTo(d analysis.ToolDrift) *pb.ToolDrift {
	m := &pb.ToolDrift{Tool: wire.ResourceName("tools", d.Serial), TargetNewtonMetres: d.TargetNewtonMetres, Sentence: d.Sentence}
	if d.LimitPercent > 0 {
		m.LimitPercent = &d.LimitPercent
	}
	for _, c := range d.Points {
		m.Points = append(m.Points, &pb.DriftPoint{
			Time: wire.Timestamp(c.At), FoundPercent: wire.Copied(c.FoundPercent), LeftPercent: wire.Copied(c.LeftPercent), UndonePercent: wire.Copied(c.UndonePercent),
		})
	}
	if d.Line != nil {
		m.PercentPerYear, m.LinePoints = &d.Line.PercentPerYear, int32(d.Line.Points)
		if d.Line.Interval != nil {
			m.LowerPercentPerYear, m.UpperPercentPerYear = finite(&d.Line.Interval.Lower), finite(&d.Line.Interval.Upper)
		}
	}
	return m
}
