package service

import (
	"context"

	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// ListJointStates pages through joints with their derived state and open holds.
func (s progressService) ListJointStates(ctx context.Context, r *pb.ListJointStatesRequest) (*pb.ListJointStatesResponse, error) {
	var p problems
	place := p.PlaceBetween("place", r.Place, 1, 4)
	found, next, err := listPage(r, p, func(page store.Page) ([]store.JointStatus, string, error) {
		return s.store.JointStates(ctx, place, r.RemainingOnly, page)
	}, func(j store.JointStatus) store.JointStatus { return j })
	if err != nil {
		return nil, err
	}
	names := namesFrom(s.store)
	resp := &pb.ListJointStatesResponse{NextPageToken: next}
	for _, j := range found {
		m, err := jointStatusTo(ctx, names, j)
		if err != nil {
			return nil, err
		}
		resp.Joints = append(resp.Joints, m)
	}
	return resp, nil
}
