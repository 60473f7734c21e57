package service

import (
	"context"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// QueryToolImpact names the joints that a failed tool was used on.
func (s impactService) QueryToolImpact(ctx context.Context, r *pb.QueryToolImpactRequest) (*pb.QueryToolImpactResponse, error) {
	var p problems
	q := s.impactQuestionFrom(&p, r)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	found, err := s.store.ToolImpact(ctx, q)
	if err != nil {
		return nil, err
	}
	return impactTo(found, q), nil
}

// HoldToolImpact puts joints on hold for what a failed tool did to them.
func (s impactService) HoldToolImpact(ctx context.Context, r *pb.HoldToolImpactRequest) (*pb.HoldToolImpactResponse, error) {
	var p problems
	decision := s.impactDecisionFrom(&p, r)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	held, err := s.store.HoldToolImpact(ctx, decision, store.Change{ValidateOnly: r.ValidateOnly, Caller: callerOf(ctx)})
	if err != nil {
		return nil, err
	}
	return impactHoldsTo(held), nil
}

// ListFailedCalibrations pages through the tools of which a calibration failed.
func (s impactService) ListFailedCalibrations(ctx context.Context, r *pb.ListFailedCalibrationsRequest) (*pb.ListFailedCalibrationsResponse, error) {
	var p problems
	f := s.failedFilterFrom(&p, r)
	items, next, err := listPage(r, p, func(page store.Page) ([]store.FailedCalibration, string, error) {
		return s.store.FailedCalibrations(ctx, f, page)
	}, failedCalibrationTo)
	return &pb.ListFailedCalibrationsResponse{FailedCalibrations: items, NextPageToken: next}, err
}
