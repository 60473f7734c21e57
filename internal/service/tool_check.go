package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var toolChecks = record[*ledger.ToolCheck, *pb.ToolCheck]{
	kind: ledger.KindToolCheck, collection: "toolChecks", members: "tool_checks", action: access.KeepTools, from: wire.ToolCheckFrom, to: wire.ToolCheckTo,
}

// RecordToolChecks keeps inspections, proof tests and checks before use, and
// answers for each.
func (s toolService) RecordToolChecks(ctx context.Context, r *pb.RecordToolChecksRequest) (*pb.RecordToolChecksResponse, error) {
	outcomes, err := toolChecks.keep(ctx, s.Services, r.ToolChecks, r.ValidateOnly)
	return &pb.RecordToolChecksResponse{Outcomes: outcomes}, err
}

// GetToolCheck reads one check.
func (s toolService) GetToolCheck(ctx context.Context, r *pb.GetToolCheckRequest) (*pb.ToolCheck, error) {
	return toolChecks.fetch(ctx, s.Services, r.Name)
}

// ListToolChecks pages through checks.
func (s toolService) ListToolChecks(ctx context.Context, r *pb.ListToolChecksRequest) (*pb.ListToolChecksResponse, error) {
	var p problems
	f := store.RecordFilter{Tool: p.Reference("tool", "tools", r.Tool)}
	f.Start, f.End = p.Period(r.StartTime, r.EndTime)
	items, next, err := toolChecks.list(ctx, s.Services, r, p, f)
	return &pb.ListToolChecksResponse{ToolChecks: items, NextPageToken: next}, err
}
