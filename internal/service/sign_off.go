package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var signOffs = record[*ledger.SignOff, *pb.SignOff]{
	kind: ledger.KindSignOff, collection: "signOffs", members: "sign_offs", action: access.SignOff, from: wire.SignOffFrom, to: wire.SignOffTo,
}

// RecordSignOffs keeps sign-offs and answers for each.
func (s controlService) RecordSignOffs(ctx context.Context, r *pb.RecordSignOffsRequest) (*pb.RecordSignOffsResponse, error) {
	outcomes, err := signOffs.keep(ctx, s.Services, r.SignOffs, r.ValidateOnly)
	return &pb.RecordSignOffsResponse{Outcomes: outcomes}, err
}

// GetSignOff reads one sign-off.
func (s controlService) GetSignOff(ctx context.Context, r *pb.GetSignOffRequest) (*pb.SignOff, error) {
	return signOffs.fetch(ctx, s.Services, r.Name)
}

// ListSignOffs pages through sign-offs.
func (s controlService) ListSignOffs(ctx context.Context, r *pb.ListSignOffsRequest) (*pb.ListSignOffsResponse, error) {
	var p problems
	f := store.RecordFilter{Place: p.PlaceFilter("place", r.Place)}
	f.Start, f.End = p.Period(r.StartTime, r.EndTime)
	items, next, err := signOffs.list(ctx, s.Services, r, p, f)
	return &pb.ListSignOffsResponse{SignOffs: items, NextPageToken: next}, err
}
