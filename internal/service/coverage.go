package service

import (
	"context"
	"fmt"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// Limits of a coverage question, and what stands in for weeks not given.
const (
	coverageWeeks      = 8
	mostCoverageWeeks  = 52
	mostBandEdges      = 50
	mostBandEdgeTorque = 1e6
)

// QueryCoverage sets the joints planned against the tools for them.
func (s readinessService) QueryCoverage(ctx context.Context, r *pb.QueryCoverageRequest) (*pb.QueryCoverageResponse, error) {
	var p problems
	o := s.coverageOptionsFrom(&p, r)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	in, err := s.store.CoverageInput(ctx, o.AsOf, o.Sites)
	if err != nil {
		return nil, err
	}
	a, err := analysis.Coverage(in, o)
	if err != nil {
		return nil, err
	}
	resp := &pb.QueryCoverageResponse{
		Notes: a.Notes, AsOfTime: wire.Timestamp(o.AsOf), Weeks: int32(o.Weeks),
		Method: a.Method, Assumption: a.Assumption, Cautions: a.Cautions,
	}
	if !r.GapsOnly {
		for _, c := range a.Cells {
			resp.Cells = append(resp.Cells, coverageCellTo(c))
		}
	}
	for _, g := range a.Gaps {
		resp.Gaps = append(resp.Gaps, coverageGapTo(g))
	}
	return resp, nil
}

func (s readinessService) coverageOptionsFrom(p *problems, r *pb.QueryCoverageRequest) analysis.CoverageOptions {
	o := analysis.CoverageOptions{AsOf: s.asOf(p, r.AsOfTime), Weeks: coverageWeeks, BandEdges: r.BandEdgesNewtonMetres}
	if r.Weeks != nil {
		o.Weeks = int(*r.Weeks)
		if o.Weeks < 1 || o.Weeks > mostCoverageWeeks {
			p.Add("weeks", "%d is out of range; expected 1 to %d", o.Weeks, mostCoverageWeeks)
		}
	}
	seen := map[string]bool{}
	for i, name := range r.Sites {
		code := p.PlaceOf(fmt.Sprintf("sites[%d]", i), name, 1, false).Site
		if code != "" && !seen[code] {
			seen[code] = true
			o.Sites = append(o.Sites, code)
		}
	}
	if n := len(o.BandEdges); n > mostBandEdges {
		p.Add("band_edges_newton_metres", "%d torques; expected at most %d", n, mostBandEdges)
	}
	for i, edge := range o.BandEdges {
		if !(edge > 0 && edge <= mostBandEdgeTorque) || i > 0 && !(edge > o.BandEdges[i-1]) {
			p.Add(fmt.Sprintf("band_edges_newton_metres[%d]", i), "%v N.m; expected torques above 0 and at most %g, each above the one before", edge, float64(mostBandEdgeTorque))
		}
	}
	return o
}

func coverageCellTo(c analysis.CoverageCell) *pb.CoverageCell {
	return &pb.CoverageCell{
		Site: wire.ResourceName("sites", c.Site), Week: c.Week, WeekStart: c.WeekStart, Band: coverageBandTo(c.Band),
		Joints: c.Joints, Fasteners: c.Fasteners, Usable: toolNames(c.Usable), Out: refusalsTo(c.Out), OpenNewtonMetres: c.OpenNewtonMetres,
	}
}

func coverageGapTo(g analysis.CoverageGap) *pb.CoverageGap {
	return &pb.CoverageGap{
		Site: wire.ResourceName("sites", g.Site), Band: coverageBandTo(g.Band), FirstDay: g.From, LastDay: g.Through,
		Joints: g.Joints, Fasteners: g.Fasteners, OpenNewtonMetres: g.OpenNewtonMetres, Out: refusalsTo(g.Out),
		Transfers: remediesTo(g.Transfers), Calibrations: remediesTo(g.Calibrations),
		UnclosedNewtonMetres: g.Unclosed, Sentence: g.Sentence,
	}
}

func coverageBandTo(b analysis.TorqueBand) *pb.CoverageBand {
	m := &pb.CoverageBand{LowerNewtonMetres: b.LowerNewtonMetres}
	if b.UpperNewtonMetres > 0 {
		m.UpperNewtonMetres = &b.UpperNewtonMetres
	}
	return m
}

func remediesTo(remedies []analysis.GapRemedy) []*pb.GapRemedy {
	var list []*pb.GapRemedy
	for _, r := range remedies {
		list = append(list, &pb.GapRemedy{
			Tool: wire.ResourceName("tools", r.Serial), FromSite: wire.ResourceName("sites", r.FromSite), LatestDay: r.By,
			NewtonMetres: r.NewtonMetres, Reserve: toolNames(r.Reserve),
		})
	}
	return list
}

func refusalsTo(refusals []analysis.ToolRefusal) []*pb.ToolRefusal {
	var list []*pb.ToolRefusal
	for _, r := range refusals {
		list = append(list, &pb.ToolRefusal{
			Tool: wire.ResourceName("tools", r.Serial), Reason: pb.RefusalReason(r.Reason), Time: wire.Timestamp(r.At), Detail: r.Detail,
		})
	}
	return list
}

func toolNames(serials []string) []string {
	var names []string
	for _, serial := range serials {
		names = append(names, wire.ResourceName("tools", serial))
	}
	return names
}
