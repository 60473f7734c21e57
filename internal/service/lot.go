package service

import (
	"context"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var lots = thing[ledger.Lot, string, *pb.Lot, *pb.CreateLotRequest]{
	what:     "lot",
	message:  (*pb.CreateLotRequest).GetLot,
	from:     wire.LotFrom,
	to:       wire.LotTo,
	identify: func(_ *problems, r *pb.CreateLotRequest, l *ledger.Lot) { l.Number = r.LotId },
	parse:    wire.LotName,
	key:      func(l ledger.Lot) string { return l.Number },
	resource: func(l ledger.Lot) string { return wire.ResourceName("lots", l.Number) },
	validate: ledger.Lot.Validate,
	fields:   lotFields,
	register: (*store.Store).RegisterLots,
	get:      (*store.Store).Lot,
	update:   (*store.Store).UpdateLot,
}

// CreateLot registers a lot.
func (s lotService) CreateLot(ctx context.Context, r *pb.CreateLotRequest) (*pb.Lot, error) {
	return lots.create(ctx, s.Services, r)
}

// BatchCreateLots registers many and answers for each.
func (s lotService) BatchCreateLots(ctx context.Context, r *pb.BatchCreateLotsRequest) (*pb.BatchCreateLotsResponse, error) {
	outcomes, err := lots.createBatch(ctx, s.Services, r.Requests, r.ValidateOnly)
	return &pb.BatchCreateLotsResponse{Outcomes: outcomes}, err
}

// GetLot reads one lot.
func (s lotService) GetLot(ctx context.Context, r *pb.GetLotRequest) (*pb.Lot, error) {
	return lots.fetch(ctx, s.Services, r.Name)
}

// ListLots pages through lots.
func (s lotService) ListLots(ctx context.Context, r *pb.ListLotsRequest) (*pb.ListLotsResponse, error) {
	var p problems
	filter := store.LotFilter{Supplier: r.Supplier, Thread: r.Thread, State: wire.Known(&p, "state", ledger.LotStates, r.State)}
	items, next, err := listPage(r, p, func(page store.Page) ([]ledger.Lot, string, error) {
		return s.store.Lots(ctx, filter, page)
	}, wire.LotTo)
	return &pb.ListLotsResponse{Lots: items, NextPageToken: next}, err
}

// UpdateLot changes the fields in the mask.
func (s lotService) UpdateLot(ctx context.Context, r *pb.UpdateLotRequest) (*pb.Lot, error) {
	return lots.change(ctx, s.Services, r, r.Lot)
}

// ListLotStock reads the stock of a lot at each site.
func (s lotService) ListLotStock(ctx context.Context, r *pb.ListLotStockRequest) (*pb.ListLotStockResponse, error) {
	var p problems
	lot := wire.LotName(&p, "lot", r.Lot)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	stocks, err := s.store.LotStock(ctx, lot)
	if err != nil {
		return nil, err
	}
	return &pb.ListLotStockResponse{Stocks: lotStocksTo(stocks)}, nil
}
