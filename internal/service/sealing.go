package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var sealings = record[*ledger.Sealing, *pb.Sealing]{
	kind: ledger.KindSealing, collection: "sealings", members: "sealings", action: access.RecordWork, from: wire.SealingFrom, to: wire.SealingTo,
}

// RecordSealings keeps sealings and answers for each.
func (s inspectionService) RecordSealings(ctx context.Context, r *pb.RecordSealingsRequest) (*pb.RecordSealingsResponse, error) {
	outcomes, err := sealings.keep(ctx, s.Services, r.Sealings, r.ValidateOnly)
	return &pb.RecordSealingsResponse{Outcomes: outcomes}, err
}

// GetSealing reads one sealing.
func (s inspectionService) GetSealing(ctx context.Context, r *pb.GetSealingRequest) (*pb.Sealing, error) {
	return sealings.fetch(ctx, s.Services, r.Name)
}

// ListSealings pages through sealings.
func (s inspectionService) ListSealings(ctx context.Context, r *pb.ListSealingsRequest) (*pb.ListSealingsResponse, error) {
	var p problems
	f := workFilter(&p, r)
	items, next, err := sealings.list(ctx, s.Services, r, p, f)
	return &pb.ListSealingsResponse{Sealings: items, NextPageToken: next}, err
}
