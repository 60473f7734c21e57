package service

import (
	"context"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// GetProgress reads how many joints were finished on each day.
func (s progressService) GetProgress(ctx context.Context, r *pb.GetProgressRequest) (*pb.GetProgressResponse, error) {
	var p problems
	place := p.PlaceBetween("place", r.Place, 1, 3)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	found, err := s.store.Progress(ctx, place)
	if err != nil {
		return nil, err
	}
	resp := &pb.GetProgressResponse{Joints: found.Joints, OnHold: found.OnHold, PlannedFinish: found.PlannedFinish}
	for i := range ledger.JointStates.All() {
		state := ledger.JointState(i + 1)
		resp.States = append(resp.States, &pb.StateCount{State: pb.JointState(state), Joints: found.States[state]})
	}
	for _, d := range found.Days {
		resp.Days = append(resp.Days, &pb.DayCount{Day: d.Day, Joints: d.Joints})
	}
	return resp, nil
}
