package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var calibrations = record[*ledger.Calibration, *pb.Calibration]{
	kind: ledger.KindCalibration, collection: "calibrations", members: "calibrations", action: access.Calibrate, from: wire.CalibrationFrom, to: wire.CalibrationTo,
}

// RecordCalibrations keeps calibrations and answers for each.
func (s toolService) RecordCalibrations(ctx context.Context, r *pb.RecordCalibrationsRequest) (*pb.RecordCalibrationsResponse, error) {
	outcomes, err := calibrations.keep(ctx, s.Services, r.Calibrations, r.ValidateOnly)
	return &pb.RecordCalibrationsResponse{Outcomes: outcomes}, err
}

// GetCalibration reads one calibration.
func (s toolService) GetCalibration(ctx context.Context, r *pb.GetCalibrationRequest) (*pb.Calibration, error) {
	return calibrations.fetch(ctx, s.Services, r.Name)
}

// ListCalibrations pages through calibrations.
func (s toolService) ListCalibrations(ctx context.Context, r *pb.ListCalibrationsRequest) (*pb.ListCalibrationsResponse, error) {
	var p problems
	f := store.RecordFilter{Tool: p.Reference("tool", "tools", r.Tool)}
	f.Start, f.End = p.Period(r.StartTime, r.EndTime)
	items, next, err := calibrations.list(ctx, s.Services, r, p, f)
	return &pb.ListCalibrationsResponse{Calibrations: items, NextPageToken: next}, err
}
