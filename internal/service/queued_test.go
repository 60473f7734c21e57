package service_test

import (
	"context"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	pb "jointledger/proto/jointledger/v1"
)

// Who asks is told when its records are in the queue, in the header of the answer; nobody
// else is, and nobody whose records are not put there.
func TestWhoAsksIsToldOfTheQueue(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		asking := metadata.AppendToOutgoingContext(context.Background(), pb.QueuedHeader, "tell")
		told := func(ctx context.Context, request *pb.RecordTighteningsRequest) bool {
			t.Helper()
			var header metadata.MD
			answer, err := c.assembly.RecordTightenings(ctx, request, grpc.Header(&header))
			if err != nil || len(answer.Outcomes) != 1 || answer.Outcomes[0].Refusal != nil {
				t.Fatalf("%v, %v", answer, err)
			}
			return len(header.Get(pb.QueuedHeader)) == 1
		}
		one := func() []*pb.Tightening { return []*pb.Tightening{tightening("2026-03-10T08:00:00Z", 4)} }
		if !told(asking, &pb.RecordTighteningsRequest{Tightenings: one()}) {
			t.Error("who asked was not told")
		}
		if told(context.Background(), &pb.RecordTighteningsRequest{Tightenings: one()}) {
			t.Error("who did not ask was told")
		}
		if told(asking, &pb.RecordTighteningsRequest{Tightenings: one(), ValidateOnly: true}) {
			t.Error("who only has records checked was told of a queue")
		}
	})
}
