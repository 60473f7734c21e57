package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var tightenings = record[*ledger.Tightening, *pb.Tightening]{
	kind: ledger.KindTightening, collection: "tightenings", members: "tightenings", action: access.RecordWork, from: wire.TighteningFrom, to: wire.TighteningTo,
}

// RecordTightenings keeps tightenings and answers for each.
func (s assemblyService) RecordTightenings(ctx context.Context, r *pb.RecordTighteningsRequest) (*pb.RecordTighteningsResponse, error) {
	outcomes, err := tightenings.keep(ctx, s.Services, r.Tightenings, r.ValidateOnly)
	return &pb.RecordTighteningsResponse{Outcomes: outcomes}, err
}

// GetTightening reads one tightening.
func (s assemblyService) GetTightening(ctx context.Context, r *pb.GetTighteningRequest) (*pb.Tightening, error) {
	return tightenings.fetch(ctx, s.Services, r.Name)
}

// ListTightenings pages through tightenings.
func (s assemblyService) ListTightenings(ctx context.Context, r *pb.ListTighteningsRequest) (*pb.ListTighteningsResponse, error) {
	var p problems
	f := store.RecordFilter{
		Place:  p.PlaceFilter("place", r.Place),
		Lot:    p.Reference("lot", "lots", r.Lot),
		Tool:   p.Reference("tool", "tools", r.Tool),
		Person: p.Reference("person", "people", r.Person),
	}
	f.Start, f.End = p.Period(r.StartTime, r.EndTime)
	items, next, err := tightenings.list(ctx, s.Services, r, p, f)
	return &pb.ListTighteningsResponse{Tightenings: items, NextPageToken: next}, err
}
