package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var inspections = record[*ledger.Inspection, *pb.Inspection]{
	kind: ledger.KindInspection, collection: "inspections", members: "inspections", action: access.Inspect, from: wire.InspectionFrom, to: wire.InspectionTo,
}

// RecordInspections keeps inspections and answers for each.
func (s inspectionService) RecordInspections(ctx context.Context, r *pb.RecordInspectionsRequest) (*pb.RecordInspectionsResponse, error) {
	outcomes, err := inspections.keep(ctx, s.Services, r.Inspections, r.ValidateOnly)
	return &pb.RecordInspectionsResponse{Outcomes: outcomes}, err
}

// GetInspection reads one inspection.
func (s inspectionService) GetInspection(ctx context.Context, r *pb.GetInspectionRequest) (*pb.Inspection, error) {
	return inspections.fetch(ctx, s.Services, r.Name)
}

// ListInspections pages through inspections.
func (s inspectionService) ListInspections(ctx context.Context, r *pb.ListInspectionsRequest) (*pb.ListInspectionsResponse, error) {
	var p problems
	f := workFilter(&p, r)
	items, next, err := inspections.list(ctx, s.Services, r, p, f)
	return &pb.ListInspectionsResponse{Inspections: items, NextPageToken: next}, err
}
