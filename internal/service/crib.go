package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// LendTool issues a tool that is fit for it.
func (s cribService) LendTool(ctx context.Context, r *pb.LendToolRequest) (*pb.LendToolResponse, error) {
	if err := access.Allow(ctx, access.Record); err != nil {
		return nil, err
	}
	var p problems
	change := custodyFrom(&p, r.GetCustodyChange())
	if change.Kind == 0 {
		change.Kind = ledger.CustodyIssued
	}
	if err := p.invalid("custody change", change.Validate); err != nil {
		return nil, err
	}
	outcome, passed, err := s.store.LendTool(ctx, change, store.Change{ValidateOnly: r.ValidateOnly})
	if err != nil {
		return nil, err
	}
	return &pb.LendToolResponse{
		Outcome:    &pb.Outcome{Name: ledger.RecordResource(change), State: outcomeStates[outcome.State], Findings: findingsTo(outcome.Findings)},
		Overridden: refusalsTo(passed),
	}, nil
}

// ListToolWhereabouts pages through tools and says where each is.
func (s cribService) ListToolWhereabouts(ctx context.Context, r *pb.ListToolWhereaboutsRequest) (*pb.ListToolWhereaboutsResponse, error) {
	var p problems
	q := analysis.TrackedQuery{AsOf: asOfTime(&p, s.Services, r.AsOfTime), Holder: p.reference("holder", "people", r.Holder), Lent: r.OnlyLent}
	if r.Site != "" {
		q.Sites, q.Visiting = []string{p.site("site", r.Site)}, true
	}
	if r.Tool != "" {
		q.Serials = []string{p.reference("tool", "tools", r.Tool)}
	}
	found, next, err := listPage(ctx, r, p, func(page store.Page) ([]analysis.TrackedTool, string, error) {
		return s.store.TrackedToolsPage(ctx, q, page)
	}, func(t analysis.TrackedTool) analysis.TrackedTool { return t })
	if err != nil {
		return nil, err
	}
	resp := &pb.ListToolWhereaboutsResponse{NextPageToken: next}
	for _, t := range found {
		w, err := analysis.WhereaboutsOf(t, q.AsOf)
		if err != nil {
			return nil, err
		}
		resp.Tools = append(resp.Tools, whereaboutsTo(w))
	}
	return resp, nil
}

// GetCribPage makes the morning page of a site's crib.
func (s cribService) GetCribPage(ctx context.Context, r *pb.GetCribPageRequest) (*pb.CribPage, error) {
	if err := access.Allow(ctx, access.Read); err != nil {
		return nil, err
	}
	var p problems
	in := analysis.CribInput{Site: p.placeOf("site", r.Site, 1, false).Site, AsOf: asOfTime(&p, s.Services, r.AsOfTime), DueWithinDays: int(r.DueWithinDays)}
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	if err := s.store.CribInput(ctx, &in); err != nil {
		return nil, err
	}
	coverage, err := s.store.CoverageInput(ctx, in.AsOf, []string{in.Site})
	if err != nil {
		return nil, err
	}
	answer, err := analysis.Coverage(coverage, analysis.CoverageOptions{AsOf: in.AsOf, Weeks: coverageWeeks, Sites: []string{in.Site}})
	if err != nil {
		return nil, err
	}
	in.Gaps = answer.Gaps
	page, err := analysis.Crib(in)
	if err != nil {
		return nil, err
	}
	return cribPageTo(page, in), nil
}
