package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var holds = record[*ledger.Hold, *pb.Hold]{
	kind: ledger.KindHold, collection: "holds", members: "holds", action: access.Hold, from: wire.HoldFrom, to: wire.HoldTo, complete: nameCause,
}

// RecordHolds keeps holds and releases and answers for each.
func (s controlService) RecordHolds(ctx context.Context, r *pb.RecordHoldsRequest) (*pb.RecordHoldsResponse, error) {
	outcomes, err := holds.keep(ctx, s.Services, r.Holds, r.ValidateOnly)
	return &pb.RecordHoldsResponse{Outcomes: outcomes}, err
}

// GetHold reads one hold or release.
func (s controlService) GetHold(ctx context.Context, r *pb.GetHoldRequest) (*pb.Hold, error) {
	return holds.fetch(ctx, s.Services, r.Name)
}

// ListHolds pages through holds and releases.
func (s controlService) ListHolds(ctx context.Context, r *pb.ListHoldsRequest) (*pb.ListHoldsResponse, error) {
	var p problems
	f := store.RecordFilter{
		Place: p.PlaceFilter("place", r.Place),
		Lot:   p.Reference("lot", "lots", r.Lot),
		Tool:  p.Reference("tool", "tools", r.Tool),

		OpenOnly: r.OpenOnly,
	}
	f.Start, f.End = p.Period(r.StartTime, r.EndTime)
	items, next, err := holds.list(ctx, s.Services, r, p, f)
	return &pb.ListHoldsResponse{Holds: items, NextPageToken: next}, err
}
