package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var custodyChanges = record[*ledger.Custody, *pb.CustodyChange]{
	kind: ledger.KindCustody, collection: "custodyChanges", members: "custody_changes", action: access.KeepTools, from: wire.CustodyFrom, to: wire.CustodyTo,
}

// RecordCustodyChanges keeps changes of custody and answers for each.
func (s controlService) RecordCustodyChanges(ctx context.Context, r *pb.RecordCustodyChangesRequest) (*pb.RecordCustodyChangesResponse, error) {
	outcomes, err := custodyChanges.keep(ctx, s.Services, r.CustodyChanges, r.ValidateOnly)
	return &pb.RecordCustodyChangesResponse{Outcomes: outcomes}, err
}

// GetCustodyChange reads one change of custody.
func (s controlService) GetCustodyChange(ctx context.Context, r *pb.GetCustodyChangeRequest) (*pb.CustodyChange, error) {
	return custodyChanges.fetch(ctx, s.Services, r.Name)
}

// ListCustodyChanges pages through changes of custody.
func (s controlService) ListCustodyChanges(ctx context.Context, r *pb.ListCustodyChangesRequest) (*pb.ListCustodyChangesResponse, error) {
	var p problems
	f := store.RecordFilter{
		Place: ledger.Place{Site: p.Site("site", r.Site)},
		Tool:  p.Reference("tool", "tools", r.Tool),
	}
	f.Start, f.End = p.Period(r.StartTime, r.EndTime)
	items, next, err := custodyChanges.list(ctx, s.Services, r, p, f)
	return &pb.ListCustodyChangesResponse{CustodyChanges: items, NextPageToken: next}, err
}
