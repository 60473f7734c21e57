package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// LendTool issues a tool that is fit for it.
func (s cribService) LendTool(ctx context.Context, r *pb.LendToolRequest) (*pb.LendToolResponse, error) {
	var p problems
	change := wire.CustodyFrom(&p, r.GetCustodyChange())
	if change.Kind == 0 {
		change.Kind = ledger.CustodyIssued
	}
	if err := p.Invalid("custody change", change.Validate); err != nil {
		return nil, err
	}
	if err := access.AllowAt(ctx, access.KeepTools, change.Site); err != nil {
		return nil, err
	}
	outcome, passed, err := s.store.LendTool(ctx, change, store.Change{ValidateOnly: r.ValidateOnly})
	if err != nil {
		return nil, err
	}
	return &pb.LendToolResponse{
		Outcome:    &pb.Outcome{Name: ledger.RecordResource(change), State: outcomeStates[outcome.State], Findings: wire.FindingsTo(outcome.Findings)},
		Overridden: refusalsTo(passed),
	}, nil
}

// SendTool sends a tool off that lies in the crib of the site that it leaves.
func (s cribService) SendTool(ctx context.Context, r *pb.SendToolRequest) (*pb.SendToolResponse, error) {
	var p problems
	change := wire.CustodyFrom(&p, r.GetCustodyChange())
	if change.Kind == 0 {
		change.Kind = ledger.CustodySent
	}
	to := p.PlaceOf("to_site", r.ToSite, 1, false).Site
	if to != "" {
		note := "to " + to
		if change.Note != "" {
			note += ", " + change.Note
		}
		change.Note = note
	}
	if err := p.Invalid("custody change", change.Validate); err != nil {
		return nil, err
	}
	if err := access.AllowAt(ctx, access.KeepTools, change.Site); err != nil {
		return nil, err
	}
	outcome, err := s.store.SendTool(ctx, change, to, store.Change{ValidateOnly: r.ValidateOnly})
	if err != nil {
		return nil, err
	}
	return &pb.SendToolResponse{
		Outcome: &pb.Outcome{Name: ledger.RecordResource(change), State: outcomeStates[outcome.State], Findings: wire.FindingsTo(outcome.Findings)},
	}, nil
}

// ListToolWhereabouts pages through tools and says where each is.
func (s cribService) ListToolWhereabouts(ctx context.Context, r *pb.ListToolWhereaboutsRequest) (*pb.ListToolWhereaboutsResponse, error) {
	var p problems
	q := analysis.TrackedQuery{AsOf: asOfTime(&p, s.Services, r.AsOfTime), Holder: p.Reference("holder", "people", r.Holder), Lent: r.OnlyLent}
	if r.Site != "" {
		q.Sites, q.Visiting = []string{p.Site("site", r.Site)}, true
	}
	if r.Tool != "" {
		q.Serials = []string{p.Reference("tool", "tools", r.Tool)}
	}
	found, next, err := listPage(r, p, func(page store.Page) ([]analysis.TrackedTool, string, error) {
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
	var p problems
	in := analysis.CribInput{Site: p.PlaceOf("site", r.Site, 1, false).Site, AsOf: asOfTime(&p, s.Services, r.AsOfTime), DueWithinDays: int(r.DueWithinDays)}
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
