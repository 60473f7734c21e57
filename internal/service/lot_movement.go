package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var lotMovements = record[*ledger.LotMovement, *pb.LotMovement]{
	kind: ledger.KindLotMovement, collection: "lotMovements", members: "lot_movements", action: access.MoveLots, from: wire.LotMovementFrom, to: wire.LotMovementTo,
}

// RecordLotMovements keeps lot movements and answers for each.
func (s lotService) RecordLotMovements(ctx context.Context, r *pb.RecordLotMovementsRequest) (*pb.RecordLotMovementsResponse, error) {
	outcomes, err := lotMovements.keep(ctx, s.Services, r.LotMovements, r.ValidateOnly)
	return &pb.RecordLotMovementsResponse{Outcomes: outcomes}, err
}

// GetLotMovement reads one movement.
func (s lotService) GetLotMovement(ctx context.Context, r *pb.GetLotMovementRequest) (*pb.LotMovement, error) {
	return lotMovements.fetch(ctx, s.Services, r.Name)
}

// ListLotMovements pages through lot movements.
func (s lotService) ListLotMovements(ctx context.Context, r *pb.ListLotMovementsRequest) (*pb.ListLotMovementsResponse, error) {
	var p problems
	f := store.RecordFilter{
		Place: ledger.Place{Site: p.Site("site", r.Site)},
		Lot:   p.Reference("lot", "lots", r.Lot),
	}
	f.Start, f.End = p.Period(r.StartTime, r.EndTime)
	items, next, err := lotMovements.list(ctx, s.Services, r, p, f)
	return &pb.ListLotMovementsResponse{LotMovements: items, NextPageToken: next}, err
}
