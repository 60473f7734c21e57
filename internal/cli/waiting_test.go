package cli_test

import (
	"fmt"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/carry/outbox"
	pb "jointledger/proto/jointledger/v1"
)

// waitingTightening is an entry as tighten keeps it.
func waitingTightening(id uuid.UUID, minutes int) outbox.Draft {
	at := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC).Add(time.Duration(minutes) * time.Minute)
	return outbox.Draft{
		ID: id, At: at, New: true, Summary: fmt.Sprintf("1 fastener, first pass, ASH/CT1/C1/J1, lot M10-A, %d", minutes),
		Record: &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Tightening{Tightening: &pb.Tightening{
			Name: "tightenings/" + id.String(), Joint: "sites/ASH/towers/CT1/cells/C1/joints/J1", Fasteners: 1, Lot: "lots/M10-A",
			Treatment: pb.Treatment_TREATMENT_ANTI_SEIZE, Pass: pb.Pass_PASS_FIRST, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND,
			Entry: &pb.Entry{OccurTime: timestamppb.New(at), Person: "people/ab", Offline: true},
		}}},
	}
}
