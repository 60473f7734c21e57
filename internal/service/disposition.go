package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var dispositions = record[*ledger.Disposition, *pb.Disposition]{
	kind: ledger.KindDisposition, collection: "dispositions", members: "dispositions", action: access.Decide, from: wire.DispositionFrom, to: wire.DispositionTo,
}

// RecordDispositions keeps dispositions and answers for each.
func (s controlService) RecordDispositions(ctx context.Context, r *pb.RecordDispositionsRequest) (*pb.RecordDispositionsResponse, error) {
	outcomes, err := dispositions.keep(ctx, s.Services, r.Dispositions, r.ValidateOnly)
	return &pb.RecordDispositionsResponse{Outcomes: outcomes}, err
}

// GetDisposition reads one disposition.
func (s controlService) GetDisposition(ctx context.Context, r *pb.GetDispositionRequest) (*pb.Disposition, error) {
	return dispositions.fetch(ctx, s.Services, r.Name)
}

// ListDispositions pages through dispositions.
func (s controlService) ListDispositions(ctx context.Context, r *pb.ListDispositionsRequest) (*pb.ListDispositionsResponse, error) {
	var p problems
	f := store.RecordFilter{Place: p.PlaceFilter("place", r.Place)}
	f.Start, f.End = p.Period(r.StartTime, r.EndTime)
	items, next, err := dispositions.list(ctx, s.Services, r, p, f)
	return &pb.ListDispositionsResponse{Dispositions: items, NextPageToken: next}, err
}
