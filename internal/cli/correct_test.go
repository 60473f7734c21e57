package cli

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

const (
	mistakenID    = "019cad6f-a0e0-7d33-b5f5-d520a5bbb8a0"
	replacementID = "019cad6f-a0e0-7d33-b5f5-d520a5bbb8a1"
)

// mistaken are records as a server gives them, with all that it adds.
func mistaken(method string) proto.Message {
	entry := &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: 1772432700}, UtcOffsetMinutes: 60, Person: "people/cd", Device: "d", Note: "n",
		ReceiveTime: &timestamppb.Timestamp{Seconds: 1772432800}, ChainSequence: 7, ChainLink: []byte{1}}
	const joint = "sites/RVB/towers/CT2/cells/C3/joints/J014"
	switch method {
	case "GetTightening":
		return &pb.Tightening{Name: "tightenings/" + mistakenID, Joint: joint, Specification: "specifications/S@1", Lot: "lots/L1", Treatment: pb.Treatment_TREATMENT_NONE,
			Tool: "tools/T1", TorqueNewtonMetres: number(32), TorqueAsTyped: "32 N.m", Fasteners: 10, Pass: pb.Pass_PASS_FIRST, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND, Entry: entry}
	case "GetIncident":
		return &pb.Incident{Name: "incidents/" + mistakenID, Kind: pb.IncidentKind_INCIDENT_KIND_LEAK, Site: "sites/RVB", Joint: joint, Entry: entry}
	case "GetInspection":
		return &pb.Inspection{Name: "inspections/" + mistakenID, Joint: joint, Kind: pb.InspectionKind_INSPECTION_KIND_TORQUE_AUDIT, Sample: 2, ReadingsNewtonMetres: []float64{1, 2},
			Result: pb.InspectionResult_INSPECTION_RESULT_PASS, Entry: entry}
	case "GetCalibration":
		return &pb.Calibration{Name: "calibrations/" + mistakenID, Tool: "tools/T1", Site: "sites/RVB", Certificate: "C1", Entry: entry, Points: []*pb.CalibrationPoint{
			{Phase: pb.CalibrationPhase_CALIBRATION_PHASE_AS_FOUND, TargetNewtonMetres: 8, ReadingsNewtonMetres: []float64{8.1}},
			{Phase: pb.CalibrationPhase_CALIBRATION_PHASE_AS_LEFT, TargetNewtonMetres: 8, ReadingsNewtonMetres: []float64{8.2}}}}
	case "GetLotMovement":
		return &pb.LotMovement{Name: "lotMovements/" + mistakenID, Lot: "lots/L1", Site: "sites/RVB", Kind: pb.MovementKind_MOVEMENT_KIND_RECEIVED, Quantity: 5_000_000_000, Entry: entry}
	case "GetHold":
		return &pb.Hold{Name: "holds/" + mistakenID, Action: pb.HoldAction_HOLD_ACTION_PLACED, Lot: "lots/L1", Entry: entry}
	}
	return nil
}

// The record is read again, changed by the flags, and sent whole and under a new
// id; what the server had added to it stays behind.
func TestCorrections(t *testing.T) {
	entry := func() *pb.Entry {
		return &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: 1772432700}, UtcOffsetMinutes: 60, Person: "people/cd", Device: "d", Note: "n"}
	}
	by := &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: 1772432700, Nanos: 5e8}, UtcOffsetMinutes: 60, Person: "people/ab"}
	const joint = "sites/RVB/towers/CT2/cells/C3/joints/J014"
	for _, tc := range []struct {
		collection, flags string
		want              func(c *pb.Correction)
	}{
		{"tightenings", "--fasteners 11 --torque 30N.m --reported-by EF --note=", func(c *pb.Correction) {
			e := entry()
			e.Person, e.Note = "people/ef", ""
			c.Replacement = &pb.Correction_Tightening{Tightening: &pb.Tightening{Name: "tightenings/" + replacementID, Joint: joint, Lot: "lots/L1", Treatment: pb.Treatment_TREATMENT_NONE,
				Tool: "tools/T1", TorqueNewtonMetres: number(30), TorqueAsTyped: "30N.m", Fasteners: 11, Pass: pb.Pass_PASS_FIRST, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND, Entry: e}}
		}},
		{"tightenings", "--tool= --torque= --joint rvb/ct2/c3/j015 --at 2026-03-02T06:25:00Z", func(c *pb.Correction) {
			e := entry()
			e.UtcOffsetMinutes = 0
			c.Replacement = &pb.Correction_Tightening{Tightening: &pb.Tightening{Name: "tightenings/" + replacementID, Joint: "sites/RVB/towers/CT2/cells/C3/joints/J015", Lot: "lots/L1",
				Treatment: pb.Treatment_TREATMENT_NONE, Fasteners: 10, Pass: pb.Pass_PASS_FIRST, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND, Entry: e}}
		}},
		// The end of a name is beside the joint that the record names.
		{"inspections", "--joint j015", func(c *pb.Correction) {
			c.Replacement = &pb.Correction_Inspection{Inspection: &pb.Inspection{Name: "inspections/" + replacementID, Joint: "sites/RVB/towers/CT2/cells/C3/joints/J015", Kind: pb.InspectionKind_INSPECTION_KIND_TORQUE_AUDIT, Sample: 2,
				ReadingsNewtonMetres: []float64{1, 2}, Result: pb.InspectionResult_INSPECTION_RESULT_PASS, Entry: entry()}}
		}},
		{"incidents", "--joint c1/j002", func(c *pb.Correction) {
			c.Replacement = &pb.Correction_Incident{Incident: &pb.Incident{Name: "incidents/" + replacementID, Kind: pb.IncidentKind_INCIDENT_KIND_LEAK, Joint: "sites/RVB/towers/CT2/cells/C1/joints/J002", Entry: entry()}}
		}},
		{"incidents", "--kind seal-gap", func(c *pb.Correction) {
			c.Replacement = &pb.Correction_Incident{Incident: &pb.Incident{Name: "incidents/" + replacementID, Kind: pb.IncidentKind_INCIDENT_KIND_SEAL_GAP, Joint: joint, Entry: entry()}}
		}},
		{"inspections", "--readings 3;4;5N.m", func(c *pb.Correction) {
			c.Replacement = &pb.Correction_Inspection{Inspection: &pb.Inspection{Name: "inspections/" + replacementID, Joint: joint, Kind: pb.InspectionKind_INSPECTION_KIND_TORQUE_AUDIT, Sample: 3,
				ReadingsNewtonMetres: []float64{3, 4, 5}, Result: pb.InspectionResult_INSPECTION_RESULT_PASS, Entry: entry()}}
		}},
		// The points given take the place of those of their phase.
		{"calibrations", "--as-left 24:24.1 --as-left 40:40.1 --certificate C2 --coverage-factor 2", func(c *pb.Correction) {
			c.Replacement = &pb.Correction_Calibration{Calibration: &pb.Calibration{Name: "calibrations/" + replacementID, Tool: "tools/T1", Certificate: "C2", Entry: entry(), Points: []*pb.CalibrationPoint{
				{Phase: pb.CalibrationPhase_CALIBRATION_PHASE_AS_FOUND, TargetNewtonMetres: 8, ReadingsNewtonMetres: []float64{8.1}, CoverageFactor: 2},
				{Phase: pb.CalibrationPhase_CALIBRATION_PHASE_AS_LEFT, TargetNewtonMetres: 24, ReadingsNewtonMetres: []float64{24.1}, CoverageFactor: 2},
				{Phase: pb.CalibrationPhase_CALIBRATION_PHASE_AS_LEFT, TargetNewtonMetres: 40, ReadingsNewtonMetres: []float64{40.1}, CoverageFactor: 2}}}}
		}},
		{"lotMovements", "--quantity 6000000000 --kind sent", func(c *pb.Correction) {
			c.Replacement = &pb.Correction_LotMovement{LotMovement: &pb.LotMovement{Name: "lotMovements/" + replacementID, Lot: "lots/L1", Site: "sites/RVB",
				Kind: pb.MovementKind_MOVEMENT_KIND_SENT, Quantity: 6_000_000_000, Entry: entry()}}
		}},
		{"holds", "", func(*pb.Correction) {}},
	} {
		t.Run(tc.collection+" "+tc.flags, func(t *testing.T) {
			a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
				if m := mistaken(method); m != nil {
					return m, nil
				}
				return taken(), nil
			})
			args := []string{"withdraw", tc.collection + "/" + mistakenID, "--reason", "typed wrong", "--person", "ab"}
			if tc.flags != "" {
				args[0] = "correct"
				args = append(append(args, "--replacement-id", replacementID), strings.Fields(tc.flags)...)
			}
			code, out, errOut := run(t, a.address, nil, args...)
			if code != 0 {
				t.Fatalf("exit %d: %s", code, errOut)
			}
			if tc.flags != "" != strings.Contains(out, "replaced by "+replacementID) {
				t.Errorf("got %q", out)
			}
			var got pb.RecordCorrectionsRequest
			if err := proto.Unmarshal(a.requests["RecordCorrections"], &got); err != nil {
				t.Fatal(err)
			}
			want := &pb.Correction{Name: "corrections/" + testID.String(), Corrects: tc.collection + "/" + mistakenID, Reason: "typed wrong", Entry: by}
			tc.want(want)
			if d := cmp.Diff([]*pb.Correction{want}, got.GetCorrections(), protocmp.Transform()); d != "" {
				t.Errorf("(-want +got):\n%s", d)
			}
		})
	}
}

func TestCorrectionsThatCannotBe(t *testing.T) {
	a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
		if method == "RecordCorrections" {
			return &pb.RecordCorrectionsResponse{Outcomes: []*pb.Outcome{{State: pb.Outcome_STATE_REFUSED, Refusal: &pb.Refusal{
				Reason: pb.ErrorReason_ERROR_REASON_ALREADY_CORRECTED, Message: "it was corrected already",
				FieldViolations: []*pb.FieldViolation{{Field: "corrects", Description: "is corrected"}, {Field: "replacement.fasteners", Description: "too many"}}}}}}, nil
		}
		m := mistaken(method)
		if m == nil {
			return nil, notFound()
		}
		m.(record).GetEntry().CorrectedBy = "corrections/x"
		return m, nil
	})
	for _, tc := range []struct {
		args string
		code int
		want string
	}{
		{"correct holds/" + mistakenID + " --lot L2", exitUsage, "a hold can only be withdrawn"},
		{"correct tightenings/" + mistakenID + " --sealant strip", exitUsage, "--sealant: a tightening has none; it has --joint, --fasteners, --lot, "},
		{"correct tightenings/" + mistakenID + " --treatment ant-seize", exitUsage, `--treatment: "ant-seize" is not a thread treatment (did you mean anti-seize?)`},
		{"correct tightenings/" + mistakenID + " --fasteners 10", exitUsage, "nothing would be different"},
		{"correct sealings/" + mistakenID + " --sealant strip", exitUnknown, "it is not known"},
		{"correct tightenings/" + mistakenID + " --fasteners 11", exitData,
			"trackctl: it was corrected already\n  RECORD: is corrected\n  --fasteners: too many\n  RECORD: corrected already by corrections/x"},
		{"withdraw " + mistakenID, exitData, "it was corrected already"},
	} {
		code, out, errOut := run(t, a.address, nil, append(strings.Fields(tc.args), "--reason", "r", "--person", "ab")...)
		if code != tc.code || out != "" || !strings.Contains(errOut, tc.want) {
			t.Errorf("%s: exit %d, %q %q; want %d %q", tc.args, code, out, errOut, tc.code, tc.want)
		}
	}
}

// A correction whose fate is not known can be sent again without being kept twice.
func TestCorrectionSaysHowToSendItAgain(t *testing.T) {
	a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
		if m := mistaken(method); m != nil {
			return m, nil
		}
		return nil, detail(t)
	})
	code, _, errOut := run(t, a.address, nil, "correct", mistakenID, "--fasteners", "11", "--reason", "r", "--person", "ab", "--replacement-id", replacementID)
	want := "add: --id " + testID.String() + " --corrected-at 2026-03-02T07:25:00.5+01:00 --replacement-id " + replacementID
	if code != exitUnavailable || !strings.Contains(errOut, want) {
		t.Errorf("exit %d, %q lacks %q", code, errOut, want)
	}
}
