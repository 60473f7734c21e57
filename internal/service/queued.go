package service

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	pb "jointledger/proto/jointledger/v1"
)

// tellQueued gives a function that tells the caller at once, in the header of the answer,
// that its records are in the queue; nil where the caller did not ask. What the caller
// sends after that is written after them, unless they fail: so one who sends many batches
// that are to be taken in order need not wait for each answer.
func tellQueued(ctx context.Context) func() {
	if len(metadata.ValueFromIncomingContext(ctx, pb.QueuedHeader)) == 0 {
		return nil
	}
	return func() {
		// A caller that has gone, or is none of gRPC, hears of it from the answer.
		_ = grpc.SendHeader(ctx, metadata.Pairs(pb.QueuedHeader, "yes"))
	}
}
