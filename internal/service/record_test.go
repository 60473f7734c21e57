package service_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

// stripEntry leaves out what the server adds to an entry, and sees that it is
// there.
func stripEntry(t *testing.T, e *pb.Entry, sequence int64) {
	t.Helper()
	if e.ReceiveTime == nil || e.ChainSequence != sequence || len(e.ChainLink) != 32 {
		t.Errorf("entry %v; expected sequence %d", e, sequence)
	}
	e.ReceiveTime, e.ChainSequence, e.ChainLink = nil, 0, nil
}

func TestRecordsReadBackAsTheyWereGiven(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	tight, gall := tightening("2026-03-02T09:00:00Z", 20), galling("2026-03-02T10:00:00.123456Z", 2)
	tight.Entry.UtcOffsetMinutes = -330
	drop := &pb.Incident{Name: "incidents/" + newID(), Kind: pb.IncidentKind_INCIDENT_KIND_DROPPED_TOOL, Site: "sites/har", Tool: "tools/TW-1", Entry: entry("2026-03-02T11:00:00Z")}
	cal, move := calibration("2026-03-02T12:00:00Z", 24, 24.1, 0), movement(pb.MovementKind_MOVEMENT_KIND_RECEIVED, 500)
	move.Entry.Person = ""

	for _, o := range slices.Concat(
		must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{tight}})).Outcomes,
		must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{gall, drop}})).Outcomes,
		must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{cal}})).Outcomes,
		must[*pb.RecordLotMovementsResponse](t)(c.lots.RecordLotMovements(ctx, &pb.RecordLotMovementsRequest{LotMovements: []*pb.LotMovement{move}})).Outcomes,
	) {
		if o.State != pb.Outcome_STATE_TAKEN {
			t.Errorf("%v", o)
		}
	}

	same := func(name string, want, got proto.Message) {
		t.Helper()
		if d := cmp.Diff(want, got, protocmp.Transform()); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
	gotTight := must[*pb.Tightening](t)(c.assembly.GetTightening(ctx, &pb.GetTighteningRequest{Name: tight.Name}))
	stripEntry(t, gotTight.Entry, 1)
	tight.Specification = "specifications/SS-M10@1"
	same("tightening", tight, gotTight)

	gotGall := must[*pb.Incident](t)(c.assembly.GetIncident(ctx, &pb.GetIncidentRequest{Name: gall.Name}))
	stripEntry(t, gotGall.Entry, 3) // 2 is the hold that the server placed: the wrench was never calibrated
	gall.Site, gall.Specification = "sites/HAR", "specifications/SS-M10@1"
	same("incident", gall, gotGall)

	gotDrop := must[*pb.Incident](t)(c.assembly.GetIncident(ctx, &pb.GetIncidentRequest{Name: drop.Name}))
	stripEntry(t, gotDrop.Entry, 4)
	drop.Site = "sites/HAR"
	same("dropped tool", drop, gotDrop)

	gotCal := must[*pb.Calibration](t)(c.tools.GetCalibration(ctx, &pb.GetCalibrationRequest{Name: cal.Name}))
	stripEntry(t, gotCal.Entry, 5)
	cal.Site = "sites/HAR"
	// A reading of no torque at 24 N.m: failed, with no deviation to tell. 0.3 N.m on
	// the mean of 24 and 24.1 are 1.247 %: a ratio of 3.207 to the limit of 4 %.
	if v := gotCal.Verdict; v.GetAsLeft() != pb.Verdict_VERDICT_FAIL || v.GetAsFound() != 0 || v.WorstAsLeftPercent != nil || v.GetLimitPercent() != 4 ||
		v.GetDecisionRule() != pb.DecisionRule_DECISION_RULE_SIMPLE_ACCEPTANCE || v.GetTestUncertaintyRatio() < 3.2065 || v.GetTestUncertaintyRatio() > 3.2075 || len(v.GetDeficiencies()) == 0 {
		t.Errorf("%v", v)
	}
	gotCal.Verdict = nil
	same("calibration", cal, gotCal)

	gotMove := must[*pb.LotMovement](t)(c.lots.GetLotMovement(ctx, &pb.GetLotMovementRequest{Name: move.Name}))
	stripEntry(t, gotMove.Entry, 6)
	same("lot movement", move, gotMove)
}

func TestRecordsAreAnsweredOneByOne(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	good, badJoint, empty, unknownLot := tightening("2026-03-02T09:00:00Z", 20), tightening("2026-03-02T09:00:00Z", 0), &pb.Tightening{}, tightening("2026-03-02T09:00:00Z", 1)
	badJoint.Joint, badJoint.Name, badJoint.Treatment, badJoint.Entry.OccurTime = "sites/HAR/towers/CT1", "tightenings/7", 99, &timestamppb.Timestamp{Seconds: 1e15}
	unknownLot.Lot = "lots/M10-S-3"
	changed := proto.Clone(good).(*pb.Tightening)
	changed.Fasteners = 21
	batch := &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{good, badJoint, empty, unknownLot, good, changed}, ValidateOnly: true}
	want := strings.NewReplacer("<good>", good.Name, "<unknown lot>", unknownLot.Name, "<id>", strings.TrimPrefix(good.Name, "tightenings/")).Replace(`TAKEN <good>
REFUSED tightenings/7 INVALID_FIELD: tightening is not valid
  joint: expected a joint such as RVB/CT2/C3/J014
  treatment: is required; expected one of none, anti-seize, thread-locking-compound, prevailing-torque-nut, other-lubricant
  fasteners: 0 is out of range; expected a whole number from 1 to 100000
  name: "7" is not a UUID in its usual form of 36 characters
  entry.occur_time: is not a moment from year 1 to year 9999
REFUSED  INVALID_FIELD: tightening is not valid
  joint: expected a joint such as RVB/CT2/C3/J014
  lot: is required
  treatment: is required; expected one of none, anti-seize, thread-locking-compound, prevailing-torque-nut, other-lubricant
  fasteners: 0 is out of range; expected a whole number from 1 to 100000
  pass: is required; expected one of first, final, re-tightening
  driving_method: is required; expected one of hand, impact, impact-then-torque-tool, nutrunner
  name: is required; expected tightenings/{id} with a UUIDv7 of your making
  entry.occur_time: is required
  entry.person: is required
REFUSED <unknown lot> UNKNOWN_RESOURCE: lot "M10-S-3" is not known; the nearest known is "M10-S-1"
  resource lots/M10-S-3
ALREADY_KNOWN <good>
REFUSED <good> RECORD_ID_REUSED: record id <id> was used before with other content; a record is never changed, make a new one
  resource <good>`)
	got := must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(ctx, batch))
	if d := cmp.Diff(want, outcomes(got.Outcomes)); d != "" {
		t.Errorf("validate only: %s", d)
	}
	if _, err := c.assembly.GetTightening(ctx, &pb.GetTighteningRequest{Name: good.Name}); status.Code(err) != codes.NotFound {
		t.Fatalf("validate only kept it: %v", err)
	}
	batch.ValidateOnly = false
	got = must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(ctx, batch))
	if d := cmp.Diff(want, outcomes(got.Outcomes)); d != "" {
		t.Error(d)
	}
	got = must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(ctx, batch))
	if d := cmp.Diff(strings.Replace(want, "TAKEN", "ALREADY_KNOWN", 1), outcomes(got.Outcomes)); d != "" {
		t.Errorf("sent again: %s", d)
	}

	// An id belongs to one record, whatever its kind.
	wrongKind := galling("2026-03-02T09:00:00Z", 1)
	wrongKind.Name = strings.Replace(good.Name, "tightenings", "incidents", 1)
	gall := must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{wrongKind}}))
	if o := gall.Outcomes[0]; o.State != pb.Outcome_STATE_REFUSED || o.Refusal.Reason != pb.ErrorReason_ERROR_REASON_RECORD_ID_REUSED {
		t.Errorf("%v", o)
	}
}

func TestRecordsThatAreNotThere(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	name := "lotMovements/" + newID()
	_, err := c.lots.GetLotMovement(ctx, &pb.GetLotMovementRequest{Name: name})
	if d := cmp.Diff("NotFound: lot movement \""+strings.TrimPrefix(name, "lotMovements/")+"\" is not known\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/LotMovement "+name, render(err)); d != "" {
		t.Error(d)
	}
	for _, bad := range []string{"", "incidents/" + newID(), "lotMovements/{" + newID() + "}"} {
		if _, err := c.lots.GetLotMovement(ctx, &pb.GetLotMovementRequest{Name: bad}); status.Code(err) != codes.InvalidArgument {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

func TestLotStock(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	must[*pb.RecordLotMovementsResponse](t)(c.lots.RecordLotMovements(ctx, &pb.RecordLotMovementsRequest{LotMovements: []*pb.LotMovement{
		movement(pb.MovementKind_MOVEMENT_KIND_RECEIVED, 500), movement(pb.MovementKind_MOVEMENT_KIND_SCRAPPED, 30),
	}}))
	again := tightening("2026-03-02T09:30:00Z", 20)
	again.Pass = pb.Pass_PASS_FINAL // goes over the same fasteners, uses none
	must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{tightening("2026-03-02T09:00:00Z", 20), again}}))
	must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{galling("2026-03-02T10:00:00Z", 3)}}))
	got := must[*pb.ListLotStockResponse](t)(c.lots.ListLotStock(ctx, &pb.ListLotStockRequest{Lot: "lots/M10-S-1"}))
	want := &pb.ListLotStockResponse{Stocks: []*pb.LotStock{{Site: "sites/HAR", Received: 500, Removed: 30, Used: 23, OnHand: 447}}}
	if d := cmp.Diff(want, got, protocmp.Transform()); d != "" {
		t.Error(d)
	}
	if _, err := c.lots.ListLotStock(ctx, &pb.ListLotStockRequest{Lot: "lots/none"}); status.Code(err) != codes.NotFound {
		t.Errorf("%v", err)
	}
}
