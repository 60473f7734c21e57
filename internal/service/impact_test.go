package service_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/analysis"
	pb "jointledger/proto/jointledger/v1"
)

// failedWrench registers what went by TW-1: good on 1 March, used, and found
// giving 7 % less than it shows on 15 March. The clock stands at 20 March.
func failedWrench(t *testing.T, c clients) (good, failed *pb.Calibration, used *pb.Tightening) {
	t.Helper()
	good, failed = calibration("2026-03-01T09:00:00Z", 24, 24, 24), calibration("2026-03-15T09:00:00Z", 24/1.07, 24/1.07, 24/1.07)
	failed.Certificate, failed.Points[0].Phase = "C-2", pb.CalibrationPhase_CALIBRATION_PHASE_AS_FOUND
	taken(t, must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(t.Context(), &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{good, failed}})).Outcomes)
	used = tightening("2026-03-10T09:00:00Z", 24)
	taken(t, must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(t.Context(), &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{used}})).Outcomes)
	return good, failed, used
}

func TestQueryToolImpact(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		good, failed, used := failedWrench(t, c)
		a := must[*pb.QueryToolImpactResponse](t)(c.impact.QueryToolImpact(ctx, &pb.QueryToolImpactRequest{Tool: "tools/TW-1"}))
		if a.Calibration.GetName() != failed.Name || a.LastGoodCalibration.GetName() != good.Name || len(a.Joints) != 1 || !a.AsOfTime.AsTime().Equal(now) ||
			a.DecisionRule != pb.DecisionRule_DECISION_RULE_SIMPLE_ACCEPTANCE || a.LimitPercent != 4 || a.Cycles != 24 || len(a.Cautions) == 0 {
			t.Fatalf("%v", a)
		}
		if p := a.Points[0]; len(a.Points) != 1 || !p.Failed || p.Verdict != pb.Verdict_VERDICT_FAIL || math.Abs(p.GetWorstPercent()-7) > 1e-9 {
			t.Errorf("%v", a.Points)
		}
		// 32/1.07 = 29.907 N.m (shared trade reference, section G: set/(1 + a/100)).
		j := a.Joints[0]
		if j.Joint != theJoint || j.DecidingRecord != used.Name || len(j.Records) != 1 || math.Abs(j.UnknownDrift.DeliveredNewtonMetres-29.907) > 0.001 ||
			math.Abs(j.GetWindowLowerNewtonMetres()-28.8) > 1e-9 || j.OutsideProbability == nil || j.State != pb.JointState_JOINT_STATE_TIGHTENED {
			t.Errorf("%v", j)
		}
		listed := must[*pb.ListFailedCalibrationsResponse](t)(c.impact.ListFailedCalibrations(ctx, &pb.ListFailedCalibrationsRequest{Sites: []string{"sites/HAR"}}))
		if len(listed.FailedCalibrations) != 1 || listed.FailedCalibrations[0].Calibration != failed.Name || listed.FailedCalibrations[0].Joints != 1 || len(listed.FailedCalibrations[0].FailedPoints) != 1 {
			t.Errorf("%v", listed)
		}

		hold := &pb.HoldToolImpactRequest{Tool: "tools/TW-1", MinimumProbability: proto.Float64(0), Reason: "recheck", Entry: &pb.Entry{Person: "people/nd1"}}
		first := must[*pb.HoldToolImpactResponse](t)(c.impact.HoldToolImpact(ctx, hold))
		taken(t, []*pb.Outcome{first.Holds[0].Outcome})
		placed := must[*pb.Hold](t)(c.control.GetHold(ctx, &pb.GetHoldRequest{Name: first.Holds[0].Outcome.Name}))
		if placed.Place != theJoint || !strings.HasPrefix(placed.Reason, "Impact of tool TW-1, calibration ") || !strings.HasSuffix(placed.Reason, " recheck") || !placed.Entry.OccurTime.AsTime().Equal(now) {
			t.Errorf("%v", placed)
		}
		if again := must[*pb.HoldToolImpactResponse](t)(c.impact.HoldToolImpact(ctx, hold)); again.Holds[0].Outcome.State != pb.Outcome_STATE_ALREADY_KNOWN || again.Holds[0].Outcome.Name != placed.Name {
			t.Errorf("%v", again)
		}
	})
}

func TestImpactRefusesWhatItCannotAnswer(t *testing.T) {
	c := fleet(t)
	ctx := t.Context()
	ask := func(r *pb.QueryToolImpactRequest) string {
		_, err := c.impact.QueryToolImpact(ctx, r)
		return render(err)
	}
	want := func(got, want string) {
		t.Helper()
		if d := cmp.Diff(want, got); d != "" {
			t.Error(d)
		}
	}
	want(ask(&pb.QueryToolImpactRequest{Tool: "tools/TW-1"}), `FailedPrecondition: none of the 0 calibrations on record of tool TW-1 failed as found; name one to ask about it all the same
reason jointledger/NO_FAILED_CALIBRATION
resource jointledger/Tool tools/TW-1
precondition NO_FAILED_CALIBRATION tools/TW-1: none of the 0 calibrations on record of tool TW-1 failed as found; name one to ask about it all the same`)
	want(ask(&pb.QueryToolImpactRequest{Tool: "tools/TW-2"}), `NotFound: tool "TW-2" is not known; the nearest known is "TW-1"
reason jointledger/UNKNOWN_RESOURCE
resource jointledger/Tool tools/TW-2`)
	bare := tool()
	bare.TypeClass = ""
	must[*pb.Tool](t)(c.tools.CreateTool(ctx, &pb.CreateToolRequest{ToolId: "TW-3", Tool: bare}))
	if got := ask(&pb.QueryToolImpactRequest{Tool: "tools/TW-3"}); !strings.HasPrefix(got, "FailedPrecondition: type and class of tool TW-3 must be one of ISO 6789-1") || !strings.Contains(got, "reason jointledger/TOOL_WITHOUT_LIMIT\n") {
		t.Error(got)
	}
	must[*pb.Tool](t)(c.tools.CreateTool(ctx, &pb.CreateToolRequest{ToolId: "TW-4", Tool: tool()}))
	good, failed, _ := failedWrench(t, c)
	want(ask(&pb.QueryToolImpactRequest{Tool: "tools/TW-4", Calibration: failed.Name}), `InvalidArgument: request is not valid
reason jointledger/INVALID_FIELD
field calibration: calibration `+bareID(failed.Name)+` is of tool TW-1, not of TW-4`)
	want(ask(&pb.QueryToolImpactRequest{Tool: "tools/TW-1", Calibration: good.Name}), `InvalidArgument: request is not valid
reason jointledger/INVALID_FIELD
field calibration: calibration `+bareID(good.Name)+` has no as-found readings: nobody knows what the tool did before it`)
	want(ask(&pb.QueryToolImpactRequest{Tool: "tools/TW-1", LastGoodCalibration: failed.Name}), `InvalidArgument: request is not valid
reason jointledger/INVALID_FIELD
field last_good_calibration: calibration `+bareID(failed.Name)+` is of 2026-03-15T09:00:00Z, not before the one that is asked about, of 2026-03-15T09:00:00Z`)
	got := ask(&pb.QueryToolImpactRequest{Calibration: "tightenings/x", LastGoodCalibration: "calibrations/x", DecisionRule: 9, AsOfTime: &timestamppb.Timestamp{Nanos: -1}})
	for _, field := range []string{"tool", "calibration", "last_good_calibration", "decision_rule", "as_of_time"} {
		if !strings.Contains(got, "field "+field+": ") {
			t.Errorf("%s is missing in %s", field, got)
		}
	}
	_, err := c.impact.HoldToolImpact(ctx, &pb.HoldToolImpactRequest{Tool: "tools/TW-1", MinimumProbability: proto.Float64(1.5), Joints: []string{theCell}, Reason: strings.Repeat("x", 201)})
	for _, field := range []string{"minimum_probability", "joints[0]", "reason", "entry.person"} {
		if !strings.Contains(render(err), "field "+field+": ") {
			t.Errorf("%s is missing in %s", field, render(err))
		}
	}
}

func bareID(name string) string { return name[strings.IndexByte(name, '/')+1:] }

func TestApartReasonsAreTheDomains(t *testing.T) {
	checkEnum(t, pb.ApartReason(0).Descriptor(), analysis.ApartReasons, parser(analysis.ApartReasons))
}
