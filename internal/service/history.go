package service

import (
	"context"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// GetJointHistory reads everything on record about one joint.
func (s progressService) GetJointHistory(ctx context.Context, r *pb.GetJointHistoryRequest) (*pb.GetJointHistoryResponse, error) {
	var p problems
	joint := p.PlaceBetween("joint", r.Joint, 4, 4)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	status, items, err := s.store.JointHistory(ctx, joint)
	if err != nil {
		return nil, err
	}
	names := namesFrom(s.store)
	resp := &pb.GetJointHistoryResponse{}
	if resp.Items, err = historyTo(ctx, names, items); err != nil {
		return nil, err
	}
	resp.Status, err = jointStatusTo(ctx, names, status)
	return resp, err
}
