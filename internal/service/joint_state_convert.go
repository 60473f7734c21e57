package service

import (
	"context"

	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func jointStatusTo(ctx context.Context, names *recordNames, j store.JointStatus) (*pb.JointStatus, error) {
	open, err := holds.messages(ctx, names, j.OpenHolds)
	if err != nil {
		return nil, err
	}
	return &pb.JointStatus{
		Joint:         wire.JointTo(j.Joint),
		State:         pb.JointState(j.State),
		OpenHolds:     open,
		Tightened:     j.Tightened,
		TightenedTime: wire.Timestamp(j.TightenedTime),
	}, nil
}
