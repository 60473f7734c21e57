package service

import (
	"context"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// ListFindings pages through findings.
func (s progressService) ListFindings(ctx context.Context, r *pb.ListFindingsRequest) (*pb.ListFindingsResponse, error) {
	var p problems
	filter := store.FindingFilter{
		Place:    p.PlaceFilter("place", r.Place),
		Rule:     r.Rule,
		Severity: wire.Known(&p, "severity", rules.Severities, r.Severity),
	}
	items, next, err := listPage(r, p, func(page store.Page) ([]store.RecordFinding, string, error) {
		return s.store.Findings(ctx, filter, page)
	}, recordFindingTo)
	return &pb.ListFindingsResponse{Findings: items, NextPageToken: next}, err
}

// CountFindings counts findings by rule and severity.
func (s progressService) CountFindings(ctx context.Context, r *pb.CountFindingsRequest) (*pb.CountFindingsResponse, error) {
	var p problems
	place := p.PlaceFilter("place", r.Place)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	counts, err := s.store.CountFindings(ctx, place)
	if err != nil {
		return nil, err
	}
	resp := &pb.CountFindingsResponse{}
	for _, c := range counts {
		resp.Counts = append(resp.Counts, &pb.FindingCount{Rule: c.Rule, Severity: pb.Severity(c.Severity), Findings: c.Findings})
	}
	return resp, nil
}
