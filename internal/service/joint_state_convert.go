package service

import (
	"context"

	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

func jointStatusTo(ctx context.Context, names *recordNames, j store.JointStatus) (*pb.JointStatus, error) {
	open, err := holds.messages(ctx, names, j.OpenHolds)
	if err != nil {
		return nil, err
	}
	return &pb.JointStatus{
		Joint:         jointTo(j.Joint),
		State:         pb.JointState(j.State),
		OpenHolds:     open,
		Tightened:     j.Tightened,
		TightenedTime: timestamp(j.TightenedTime),
	}, nil
}
