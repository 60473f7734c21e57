package service

import (
	"google.golang.org/grpc"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// GetHandover sends the head of the hand-over record, then each joint. All is
// read from one state of the database.
func (s progressService) GetHandover(r *pb.GetHandoverRequest, stream grpc.ServerStreamingServer[pb.GetHandoverResponse]) error {
	ctx := stream.Context()
	var p problems
	place := p.PlaceBetween("place", r.Place, 1, 3)
	if err := ledger.Invalid("request", p); err != nil {
		return err
	}
	return s.store.Handover(ctx, place, func(h store.HandoverHead) error {
		return stream.Send(&pb.GetHandoverResponse{Part: &pb.GetHandoverResponse_Head{Head: handoverHeadTo(h)}})
	}, func(j store.HandoverJoint) error {
		m, err := handoverJointTo(ctx, namesSeen(), j)
		if err != nil {
			return err
		}
		return stream.Send(&pb.GetHandoverResponse{Part: &pb.GetHandoverResponse_Joint{Joint: m}})
	})
}
