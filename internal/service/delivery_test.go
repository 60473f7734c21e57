package service_test

import (
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "jointledger/proto/jointledger/v1"
)

// delivered puts records of any kind into the members of a batch.
func delivered(t *testing.T, records ...proto.Message) *pb.DeliverRecordsRequest {
	t.Helper()
	batch := &pb.DeliverRecordsRequest{}
	for _, r := range records {
		d := &pb.DeliveredRecord{}
		kinds := d.ProtoReflect().Descriptor().Oneofs().ByName("record").Fields()
		for i := range kinds.Len() {
			if kinds.Get(i).Message() == r.ProtoReflect().Descriptor() {
				d.ProtoReflect().Set(kinds.Get(i), protoreflect.ValueOfMessage(r.ProtoReflect()))
			}
		}
		batch.Records = append(batch.Records, d)
	}
	return batch
}

type deliveryClient = grpc.BidiStreamingClient[pb.DeliverRecordsRequest, pb.DeliverRecordsResponse]

// deliver sends a batch and gives the answer.
func deliver(t *testing.T, stream deliveryClient, batch *pb.DeliverRecordsRequest) *pb.DeliverRecordsResponse {
	t.Helper()
	if err := stream.Send(batch); err != nil {
		t.Fatal(err)
	}
	return must[*pb.DeliverRecordsResponse](t)(stream.Recv())
}

// oneOfEach is a batch with a record of every kind that a device makes, those that
// name another after it.
func oneOfEach(t *testing.T) (batch *pb.DeliverRecordsRequest, names []string) {
	t.Helper()
	const at = "2026-03-02T09:00:00Z"
	wrong, right, gall := sound(at, 24), sound(at, 20), galling(at, 2)
	gall.Entry = late(at, "nd1")
	mend := correction(at, wrong.Name)
	mend.Replacement = &pb.Correction_Tightening{Tightening: right}
	second := calibration("2026-02-09T09:00:00Z", 24, 24.1, 24)
	second.Entry = late("2026-02-09T09:00:00Z", "nd1")
	received := movement(pb.MovementKind_MOVEMENT_KIND_RECEIVED, 10)
	received.Entry = late(at, "nd1")
	placed := &pb.Hold{Name: "holds/" + newID(), Action: pb.HoldAction_HOLD_ACTION_PLACED, Place: theJoint, Reason: "look again", Entry: late(at, inspector)}
	decided := &pb.Disposition{Name: "dispositions/" + newID(), Incident: gall.Name, Decision: pb.Decision_DECISION_REWORK, Reason: "new fasteners", Entry: late(at, inspector)}
	signed := &pb.SignOff{Name: "signOffs/" + newID(), Place: theCell, Point: pb.SignOffPoint_SIGN_OFF_POINT_WITNESS_POINT, Title: "before water", Entry: late(at, inspector)}
	look := &pb.Inspection{Name: "inspections/" + newID(), Joint: theJoint, Kind: pb.InspectionKind_INSPECTION_KIND_VISUAL, Result: pb.InspectionResult_INSPECTION_RESULT_PASS, Entry: late(at, inspector)}
	records := []proto.Message{second, received, custody(at, pb.CustodyKind_CUSTODY_KIND_RETURNED), toolCheck(at), wrong, gall, sealing(at), look, placed, decided, signed, mend}
	for _, r := range records {
		names = append(names, r.(interface{ GetName() string }).GetName())
	}
	return delivered(t, records...), names
}

func TestADeliveryTakesEveryKindOnce(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		readyToWork(t, c)
		batch, names := oneOfEach(t)
		kinds := (&pb.DeliveredRecord{}).ProtoReflect().Descriptor().Oneofs().ByName("record").Fields().Len()
		if len(names) != kinds {
			t.Fatalf("%d kinds of %d", len(names), kinds)
		}
		stream := must[deliveryClient](t)(c.delivery.DeliverRecords(t.Context()))
		first := deliver(t, stream, batch)
		if got, want := outcomes(first.Outcomes), "TAKEN "+strings.Join(names, "\nTAKEN "); got != want {
			t.Fatalf("%s\nexpected\n%s", got, want)
		}
		if !first.ServerTime.AsTime().Equal(now) {
			t.Errorf("the server's time is %s", first.ServerTime.AsTime())
		}
		// The stream breaks, and everything is delivered again on another.
		again := must[deliveryClient](t)(c.delivery.DeliverRecords(t.Context()))
		second := deliver(t, again, batch)
		if got, want := outcomes(second.Outcomes), "ALREADY_KNOWN "+strings.Join(names, "\nALREADY_KNOWN "); got != want {
			t.Fatalf("again: %s\nexpected\n%s", got, want)
		}
		for i, o := range first.Outcomes {
			if !proto.Equal(&pb.Outcome{Findings: o.Findings}, &pb.Outcome{Findings: second.Outcomes[i].Findings}) {
				t.Errorf("%s: findings %v, then %v", o.Name, o.Findings, second.Outcomes[i].Findings)
			}
		}
		for _, s := range []deliveryClient{stream, again} {
			if err := s.CloseSend(); err != nil {
				t.Fatal(err)
			}
			if _, err := s.Recv(); !errors.Is(err, io.EOF) {
				t.Errorf("the stream ended with %v", err)
			}
		}
		list := must[*pb.ListTighteningsResponse](t)(c.assembly.ListTightenings(t.Context(), &pb.ListTighteningsRequest{}))
		if len(list.Tightenings) != 2 { // the mistaken one and what stands for it
			t.Errorf("%d tightenings", len(list.Tightenings))
		}
	})
}

// A bad member costs its neighbours nothing, and is refused with the reason and the
// fields that its own method would give.
func TestADeliveryRefusesAsTheRecordMethodsDo(t *testing.T) {
	c := start(t)
	registerFleet(t, c)
	readyToWork(t, c)
	const at = "2026-03-02T09:00:00Z"
	good, bad, unknown := sound(at, 3), sound(at, 0), sound(at, 3)
	unknown.Lot = "lots/M10-S-9"
	ofNothing := correction(at, "tightenings/"+newID())
	half := correction(at, good.Name)
	replacement := sound(at, 0)
	half.Replacement = &pb.Correction_Tightening{Tightening: replacement}
	otherKind := correction(at, "incidents/"+bare(good.Name))

	batch := delivered(t, good, bad, unknown, ofNothing, half, otherKind)
	batch.Records = append(batch.Records, &pb.DeliveredRecord{})
	stream := must[deliveryClient](t)(c.delivery.DeliverRecords(t.Context()))
	got := deliver(t, stream, batch).Outcomes

	var alone []*pb.Outcome
	alone = append(alone, got[0])
	alone = append(alone, must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(t.Context(), &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{bad, unknown}})).Outcomes...)
	alone = append(alone, must[*pb.RecordCorrectionsResponse](t)(c.control.RecordCorrections(t.Context(), &pb.RecordCorrectionsRequest{Corrections: []*pb.Correction{ofNothing, half, otherKind}})).Outcomes...)
	if a, b := outcomes(got[:6]), outcomes(alone); a != b {
		t.Errorf("delivered:\n%s\nby the methods:\n%s", a, b)
	}
	if got[0].State != pb.Outcome_STATE_TAKEN {
		t.Error(outcomes(got[:1]))
	}
	for _, o := range got[1:] {
		if o.State != pb.Outcome_STATE_REFUSED {
			t.Error(outcomes([]*pb.Outcome{o}))
		}
	}
	if want := "REFUSED  INVALID_FIELD: record is not valid\n  record: is required; expected a record of a kind that this server knows"; outcomes(got[6:]) != want {
		t.Errorf("nothing: %s", outcomes(got[6:]))
	}
	if !strings.Contains(outcomes(got[4:5]), "tightening.fasteners") {
		t.Errorf("the replacement's field: %s", outcomes(got[4:5]))
	}
	// The same id with other content, on the same stream.
	other := sound(at, 4)
	other.Name = good.Name
	if got := outcomes(deliver(t, stream, delivered(t, other)).Outcomes); !strings.HasPrefix(got, "REFUSED "+good.Name+" RECORD_ID_REUSED") {
		t.Error(got)
	}
}

// A record that waits on a device may be withdrawn before it was ever sent, and one
// that was put in place of another too.
func TestADeliveryWithdrawsWhatItBrings(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		readyToWork(t, c)
		const at = "2026-03-02T09:00:00Z"
		one, two, three := sound(at, 24), sound(at, 20), sound(at, 22)
		mend := correction(at, two.Name)
		mend.Replacement = &pb.Correction_Tightening{Tightening: three}
		stream := must[deliveryClient](t)(c.delivery.DeliverRecords(t.Context()))
		taken(t, deliver(t, stream, delivered(t, one, correction(at, one.Name), two, mend, correction(at, three.Name))).Outcomes)
		for _, r := range []*pb.Tightening{one, two, three} {
			if kept := must[*pb.Tightening](t)(c.assembly.GetTightening(t.Context(), &pb.GetTighteningRequest{Name: r.Name})); kept.Entry.CorrectedBy == "" {
				t.Errorf("%s is not corrected", r.Name)
			}
		}
	})
}

func TestADeliveryHasLimits(t *testing.T) {
	c := start(t)
	registerFleet(t, c)
	long := sound("2026-03-02T09:00:00Z", 1)
	long.Entry.Note = strings.Repeat("x", 17<<20)
	for name, b := range map[string]struct {
		batch *pb.DeliverRecordsRequest
		code  codes.Code
		says  string
	}{
		"empty":     {&pb.DeliverRecordsRequest{}, codes.InvalidArgument, "field records: is empty; expected 1 to 1000 members"},
		"too many":  {&pb.DeliverRecordsRequest{Records: make([]*pb.DeliveredRecord, 1001)}, codes.InvalidArgument, "field records: has 1001 members; expected 1 to 1000"},
		"too large": {delivered(t, long), codes.ResourceExhausted, "at most 16777216 (16 MiB) are taken"},
	} {
		for i, r := range b.batch.Records {
			if r == nil {
				b.batch.Records[i] = &pb.DeliveredRecord{}
			}
		}
		stream := must[deliveryClient](t)(c.delivery.DeliverRecords(t.Context()))
		if err := stream.Send(b.batch); err != nil {
			t.Fatal(err)
		}
		if _, err := stream.Recv(); status.Code(err) != b.code || !strings.Contains(render(err), b.says) {
			t.Errorf("%s: %s", name, render(err))
		}
	}
}

// A shut-down does not wait for a device that has nothing more to say.
func TestADeliveryEndsWithTheServer(t *testing.T) {
	c := start(t)
	registerFleet(t, c)
	readyToWork(t, c)
	stream := must[deliveryClient](t)(c.delivery.DeliverRecords(t.Context()))
	taken(t, deliver(t, stream, delivered(t, sound("2026-03-02T09:00:00Z", 1))).Outcomes)
	c.end()
	ended := make(chan error, 1)
	go func() {
		_, err := stream.Recv()
		ended <- err
	}()
	select {
	case err := <-ended:
		if status.Code(err) != codes.Unavailable || !strings.Contains(err.Error(), "deliver what was not answered when it is back") {
			t.Error(render(err))
		}
	case <-time.After(10 * time.Second):
		t.Fatal("the stream stands")
	}
}
