package service

import (
	"context"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var batches = thing[ledger.Batch, string, *pb.Batch, *pb.CreateBatchRequest]{
	what:     "batch",
	message:  (*pb.CreateBatchRequest).GetBatch,
	from:     wire.BatchFrom,
	to:       wire.BatchTo,
	identify: func(_ *problems, r *pb.CreateBatchRequest, b *ledger.Batch) { b.Number = r.BatchId },
	parse:    wire.BatchName,
	key:      func(b ledger.Batch) string { return b.Number },
	resource: func(b ledger.Batch) string { return wire.ResourceName("batches", b.Number) },
	validate: ledger.Batch.Validate,
	fields:   batchFields,
	register: (*store.Store).RegisterBatches,
	get:      (*store.Store).Batch,
	update:   (*store.Store).UpdateBatch,
}

// CreateBatch registers a consumable batch.
func (s consumableService) CreateBatch(ctx context.Context, r *pb.CreateBatchRequest) (*pb.Batch, error) {
	return batches.create(ctx, s.Services, r)
}

// BatchCreateBatches registers many and answers for each.
func (s consumableService) BatchCreateBatches(ctx context.Context, r *pb.BatchCreateBatchesRequest) (*pb.BatchCreateBatchesResponse, error) {
	outcomes, err := batches.createBatch(ctx, s.Services, r.Requests, r.ValidateOnly)
	return &pb.BatchCreateBatchesResponse{Outcomes: outcomes}, err
}

// GetBatch reads one consumable batch.
func (s consumableService) GetBatch(ctx context.Context, r *pb.GetBatchRequest) (*pb.Batch, error) {
	return batches.fetch(ctx, s.Services, r.Name)
}

// ListBatches pages through consumable batches.
func (s consumableService) ListBatches(ctx context.Context, r *pb.ListBatchesRequest) (*pb.ListBatchesResponse, error) {
	var p problems
	filter := store.BatchFilter{Kind: wire.Known(&p, "kind", ledger.ConsumableKinds, r.Kind)}
	items, next, err := listPage(r, p, func(page store.Page) ([]ledger.Batch, string, error) {
		return s.store.Batches(ctx, filter, page)
	}, wire.BatchTo)
	return &pb.ListBatchesResponse{Batches: items, NextPageToken: next}, err
}

// UpdateBatch changes the fields in the mask.
func (s consumableService) UpdateBatch(ctx context.Context, r *pb.UpdateBatchRequest) (*pb.Batch, error) {
	return batches.change(ctx, s.Services, r, r.Batch)
}
