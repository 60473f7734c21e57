package cli

import (
	"encoding/json"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

func entryAt(seconds int64, person string) *pb.Entry {
	return &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: 1772432700 + seconds}, UtcOffsetMinutes: 60, Person: person}
}

// history has a record of every kind that stands on a joint.
func history() *pb.GetJointHistoryResponse {
	corrected := entryAt(60, "people/ab")
	corrected.CorrectedBy, corrected.Note = "corrections/c", "in the rain"
	return &pb.GetJointHistoryResponse{
		Status: &pb.JointStatus{Joint: &pb.Joint{Name: "sites/RVB/towers/CT2/cells/C3/joints/J1", Fasteners: 12}, State: pb.JointState_JOINT_STATE_SEALED, Tightened: 11},
		Items: []*pb.HistoryItem{
			{Record: &pb.HistoryItem_Sealing{Sealing: &pb.Sealing{Name: "sealings/s", Sealant: "strip", Batch: "SE-05", WidthMillimetres: 25.4, SurfaceCelsius: number(2), HumidityPercent: number(90), Splice: pb.Splice_SPLICE_CORNER, Entry: entryAt(0, "people/ab")}},
				Findings: []*pb.Finding{{Rule: "clock", Severity: pb.Severity_SEVERITY_WARN, Message: "It is late."}, {Rule: "seal-cold", Severity: pb.Severity_SEVERITY_HOLD, Message: "It is cold.", Limit: number(4.4), Unit: "°C"}}},
			{Record: &pb.HistoryItem_Tightening{Tightening: &pb.Tightening{Name: "tightenings/t", Fasteners: 11, Pass: pb.Pass_PASS_FIRST, Lot: "lots/L1", Treatment: pb.Treatment_TREATMENT_NONE, TorqueNewtonMetres: number(32), Tool: "tools/T1", Entry: corrected}},
				Attachments: []*pb.AttachmentInfo{{Name: "attachments/00ff", FileName: "bolt.jpg", MediaType: "image/jpeg", SizeBytes: 7}}},
			{Record: &pb.HistoryItem_Incident{Incident: &pb.Incident{Name: "incidents/i", Kind: pb.IncidentKind_INCIDENT_KIND_GALLING, Fasteners: 1, Lot: "lots/L1", Action: "cut off", Entry: entryAt(120, "people/ab")}}},
			{Record: &pb.HistoryItem_Inspection{Inspection: &pb.Inspection{Name: "inspections/n", Kind: pb.InspectionKind_INSPECTION_KIND_VISUAL, Result: pb.InspectionResult_INSPECTION_RESULT_FAIL, Entry: entryAt(180, "people/ab")}}},
			{Record: &pb.HistoryItem_Hold{Hold: &pb.Hold{Name: "holds/h", Action: pb.HoldAction_HOLD_ACTION_RELEASED, Place: "sites/RVB/towers/CT2/cells/C3", Decision: pb.Decision_DECISION_REWORK, Reason: "dried", Entry: entryAt(240, "people/cd")}}},
			{Record: &pb.HistoryItem_Disposition{Disposition: &pb.Disposition{Name: "dispositions/d", Incident: "incidents/i", Decision: pb.Decision_DECISION_SCRAP, Reason: "galled", Entry: entryAt(300, "people/cd")}}},
			{Record: &pb.HistoryItem_SignOff{SignOff: &pb.SignOff{Name: "signOffs/o", Place: "sites/RVB/towers/CT2", Point: pb.SignOffPoint_SIGN_OFF_POINT_HOLD_POINT, Title: "before water", Entry: entryAt(360, "people/cd")}}},
			{Record: &pb.HistoryItem_Correction{Correction: &pb.Correction{Name: "corrections/c", Corrects: "tightenings/t", Reason: "entered twice", Entry: entryAt(420, "people/cd")}}},
		},
	}
}

func TestHistory(t *testing.T) {
	a := newAnswering(t, func(string, []byte) (proto.Message, error) { return history(), nil })
	code, out, errOut := run(t, a.address, nil, "history", "rvb/ct2/c3/j1")
	want := `2026-03-02 07:25 +01:00, sealing, ab  (id s)
  strip, batch SE-05, 25.4 mm, surface 2 °C, 90 % RH, splice corner
  HOLD  It is cold.  (seal-cold; limit 4.4 °C)
  WARN  It is late.  (clock)
2026-03-02 07:26 +01:00, tightening, ab  (id t)  corrected by c
  11 fasteners, first pass, lot L1, none, 32 N.m, tool T1
  note: in the rain
  attached: bolt.jpg, attachments/00ff
2026-03-02 07:27 +01:00, incident, ab  (id i)
  galling, 1 fastener, lot L1, cut off
2026-03-02 07:28 +01:00, inspection, ab  (id n)
  visual, fail
2026-03-02 07:29 +01:00, hold, cd  (id h)
  released: RVB/CT2/C3, rework, dried
2026-03-02 07:30 +01:00, disposition, cd  (id d)
  scrap, galled, incident i
2026-03-02 07:31 +01:00, sign-off, cd  (id o)
  RVB/CT2, hold-point, before water
2026-03-02 07:32 +01:00, correction, cd  (id c)
  withdraws tightenings/t, entered twice

RVB/CT2/C3/J1 is sealed, 11 of 12 fasteners tightened
The equipment maker's manual, local codes and licensed practice come first.
`
	if code != 0 || out != want {
		t.Errorf("exit %d %s, got\n%s\nwant\n%s", code, errOut, out, want)
	}
	_, out, _ = run(t, a.address, nil, "history", "rvb/ct2/c3/j1", "-o", "json")
	var got struct {
		Items []struct {
			Record, ID, Summary string
			CorrectedBy         *string `json:"corrected_by"`
			Findings            []struct{ Severity, Rule string }
			Attachments         []struct{ Name string }
			Content             map[string]any
		}
		Joint map[string]any
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if len(got.Items) != 8 || got.Items[0].Findings[0].Severity != "hold" || got.Items[1].Content["torque_n_m"] != 32.0 || got.Items[1].CorrectedBy == nil ||
		*got.Items[1].CorrectedBy != "c" || got.Items[1].Attachments[0].Name != "attachments/00ff" || got.Items[2].CorrectedBy != nil || got.Joint["state"] != "sealed" {
		t.Errorf("got %s", out)
	}
	code, out, errOut = run(t, a.address, nil, "history", "rvb/ct2/c3/j1", "-o", "csv")
	if n := strings.Count(out, "\n"); code != 0 || n != 9 {
		t.Errorf("exit %d %s, %d lines of CSV", code, errOut, n)
	}
}

// A record of a kind that a newer server knows is said not to be known, and not
// passed over.
func TestHistoryOfANewerServer(t *testing.T) {
	a := newAnswering(t, func(string, []byte) (proto.Message, error) {
		return &pb.GetJointHistoryResponse{Items: []*pb.HistoryItem{{}}}, nil
	})
	if code, _, errOut := run(t, a.address, nil, "history", "rvb/ct2/c3/j1"); code != exitInternal || !strings.Contains(errOut, "older than the server") {
		t.Errorf("exit %d, %q", code, errOut)
	}
}

func TestFindingsOfThePast(t *testing.T) {
	a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
		if method == "CountFindings" {
			return &pb.CountFindingsResponse{Counts: []*pb.FindingCount{{Rule: "seal-cold", Severity: pb.Severity_SEVERITY_HOLD, Findings: 33}, {Rule: "clock", Severity: pb.Severity_SEVERITY_WARN, Findings: 4}}}, nil
		}
		return &pb.ListFindingsResponse{Findings: []*pb.RecordFinding{{Record: "sealings/s", Joint: "sites/RVB/towers/CT2/cells/C3/joints/J1", OccurTime: &timestamppb.Timestamp{Seconds: 1772432700}, Person: "people/ab",
			Finding: &pb.Finding{Rule: "seal-cold", Severity: pb.Severity_SEVERITY_HOLD, Message: "It is cold.", Figure: number(2), Limit: number(4.4), Unit: "°C", Source: "common practice"}}}}, nil
	})
	_, out, _ := run(t, a.address, nil, "findings", "rvb")
	if want := "RVB/CT2/C3/J1, 2026-03-02 06:25 Z, ab, sealings/s\n  HOLD  It is cold.  (seal-cold; limit 4.4 °C; source: common practice)\n"; out != want {
		t.Errorf("got %q, want %q", out, want)
	}
	_, out, _ = run(t, a.address, nil, "findings", "rvb", "-o", "csv")
	if want := "record,joint,at,person,severity,rule,message,figure,limit,unit,source\nsealings/s,RVB/CT2/C3/J1,2026-03-02T06:25:00Z,ab,hold,seal-cold,It is cold.,2,4.4,°C,common practice\n"; out != want {
		t.Errorf("got %q, want %q", out, want)
	}
	_, out, _ = run(t, a.address, nil, "findings", "--count", "--severity", "hold", "-o", "json")
	if want := "{\n  \"counts\": [\n    {\"severity\": \"hold\", \"rule\": \"seal-cold\", \"count\": 33}\n  ]\n}\n"; out != want {
		t.Errorf("got %q, want %q", out, want)
	}
}

func TestLotWhere(t *testing.T) {
	var open []*pb.Hold
	a := newAnswering(t, func(string, []byte) (proto.Message, error) {
		return &pb.FindLotResponse{
			Lot:       &pb.Lot{Name: "lots/L1", Supplier: "Boltworks", State: pb.LotState_LOT_STATE_QUARANTINED, Fastener: &pb.Fastener{Thread: "M10"}},
			Stocks:    []*pb.LotStock{{Site: "sites/RVB", Received: 100, Used: 26, OnHand: 74}},
			Joints:    []*pb.LotUse{{Joint: "sites/RVB/towers/CT2/cells/C3/joints/J1", Fasteners: 11, Failures: 1}, {Joint: "sites/RVB/towers/CT2/cells/C3/joints/J2", Fasteners: 12, Failures: 2}},
			Incidents: []*pb.Incident{{Name: "incidents/i", Kind: pb.IncidentKind_INCIDENT_KIND_GALLING, Joint: "sites/RVB/towers/CT2/cells/C3/joints/J1", Fasteners: 1, Lot: "lots/L1", Entry: entryAt(0, "people/ab")}},
			OpenHolds: open,
		}, nil
	})
	_, out, _ := run(t, a.address, nil, "lot", "where", "L1")
	want := `lot L1, Boltworks, M10: quarantined; 23 fasteners in 2 joints, 3 lost to thread failures

stock:
SITE  RECEIVED  REMOVED  USED  ON HAND
RVB   100       0        26    74

joints:
JOINT          FASTENERS  FAILURES
RVB/CT2/C3/J1  11         1
RVB/CT2/C3/J2  12         2

incidents:
AT                       KIND     PLACE          NO  LOT  TREATMENT  TOOL  PERSON  CORRECTED  ID
2026-03-02 07:25 +01:00  galling  RVB/CT2/C3/J1  1   L1                    ab                 i

open holds: none

alarms: none
`
	if out != want {
		t.Errorf("got\n%s\nwant\n%s", out, want)
	}
	open = []*pb.Hold{{Name: "holds/h1", Lot: "lots/L1", Site: "sites/RVB", Reason: "galls", Entry: entryAt(0, "people/ab")}}
	_, out, _ = run(t, a.address, nil, "lot", "where", "L1")
	if !strings.HasPrefix(out, "lot L1, Boltworks, M10: on hold; 23 fasteners") || !strings.Contains(out, "\nopen holds:\n") {
		t.Errorf("got\n%s", out)
	}
	open = nil
	_, out, _ = run(t, a.address, nil, "lot", "where", "L1", "-o", "json")
	var got struct {
		Joints, Stocks, Incidents []map[string]any
		OpenHolds                 []any `json:"open_holds"`
		Lot                       map[string]any
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || len(got.Joints) != 2 || got.Stocks[0]["on_hand"] != 74.0 || got.Incidents[0]["kind"] != "galling" ||
		got.OpenHolds == nil || got.Lot["state"] != "quarantined" {
		t.Errorf("%v: %s", err, out)
	}
}
