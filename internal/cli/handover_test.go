package cli

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/report"
	pb "jointledger/proto/jointledger/v1"
)

// handoverServer sends the parts that a test gives it, so that a stream can be cut
// short and a verdict be at odds with the record, which the real server never
// does; what the real one sends is tested with it in testdata/script.
type handoverServer struct {
	pb.UnimplementedProgressServiceServer
	parts         []*pb.GetHandoverResponse
	err           error
	stall         bool
	place         string
	authorization []string
}

func (s *handoverServer) GetHandover(r *pb.GetHandoverRequest, stream grpc.ServerStreamingServer[pb.GetHandoverResponse]) error {
	s.place = r.GetPlace()
	headers, _ := metadata.FromIncomingContext(stream.Context())
	s.authorization = headers.Get("authorization")
	for _, p := range s.parts {
		if err := stream.Send(p); err != nil {
			return err
		}
	}
	if s.stall {
		<-stream.Context().Done()
	}
	return s.err
}

func (s *handoverServer) start(t *testing.T) (address string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer()
	pb.RegisterProgressServiceServer(server, s)
	done := make(chan error, 1)
	go func() { done <- server.Serve(listener) }()
	t.Cleanup(func() {
		server.Stop()
		if err := <-done; err != nil && !errors.Is(err, grpc.ErrServerStopped) {
			t.Errorf("serve: %v", err)
		}
	})
	return listener.Addr().String()
}

func headPart(h *pb.HandoverHead) *pb.GetHandoverResponse {
	return &pb.GetHandoverResponse{Part: &pb.GetHandoverResponse_Head{Head: h}}
}

func jointPart(holds []*pb.Hold, items ...*pb.HistoryItem) *pb.GetHandoverResponse {
	return &pb.GetHandoverResponse{Part: &pb.GetHandoverResponse_Joint{Joint: &pb.HandoverJoint{Items: items, Status: &pb.JointStatus{
		State: pb.JointState_JOINT_STATE_ACCEPTED, Tightened: 12, OpenHolds: holds, TightenedTime: &timestamppb.Timestamp{Seconds: 1774747800},
		Joint: &pb.Joint{Name: handoverJoint, Kind: pb.JointKind_JOINT_KIND_SEAM, Critical: true, PartA: "a", PartB: "b", Specification: "specifications/S1", Fasteners: 12},
	}}}}
}

const handoverJoint = "sites/ASH/towers/CT1/cells/C1/joints/J001"

// handoverHead is of a cell with so many joints and nothing missing.
func handoverHead(joints int64) *pb.HandoverHead {
	link := sha256.Sum256([]byte("head"))
	fastener := &pb.Fastener{Thread: "M8", LengthMillimetres: 25, Material: pb.Material_MATERIAL_304}
	return &pb.HandoverHead{
		Place: "sites/ASH/towers/CT1/cells/C1",
		Site: &pb.Site{Name: "sites/ASH", DisplayName: "Ashmere Works", Region: "north", TimeZone: "Europe/Dublin",
			UnitPreference: pb.UnitPreference_UNIT_PREFERENCE_US_CUSTOMARY},
		ReadTime: &timestamppb.Timestamp{Seconds: 1775055900}, // 2026-04-01T15:05:00Z, from date(1)
		Joints:   joints, Complete: true, ChainSequence: 7, ChainLink: link[:], People: []string{"people/ab"},
		Lots: []*pb.Lot{{Name: "lots/L1", Supplier: "Boltworks", Fastener: fastener, State: pb.LotState_LOT_STATE_RELEASED}},
		Specifications: []*pb.Specification{{Name: "specifications/S1@2", Revision: 2, Fastener: fastener,
			Treatment: pb.Treatment_TREATMENT_ANTI_SEIZE, LockingMethod: pb.LockingMethod_LOCKING_METHOD_JAM_NUT, TorqueNewtonMetres: 16, TorqueTolerancePercent: 25,
			TorqueBasis: pb.TorqueBasis_TORQUE_BASIS_LUBRICATED, Sealant: "strip", SealWidthMillimetres: 25.4, MinimumSurfaceCelsius: number(0)}},
		Tools: []*pb.HandoverTool{{
			Tool: &pb.Tool{Name: "tools/T1", Kind: pb.ToolKind_TOOL_KIND_TORQUE_WRENCH, TypeClass: "II-A", MinimumNewtonMetres: 8, MaximumNewtonMetres: 40, IntervalMonths: 12},
			Calibrations: []*pb.Calibration{{Name: "calibrations/k1", Laboratory: "Brackley Metrology", Certificate: "BM-1",
				Points: []*pb.CalibrationPoint{{Phase: pb.CalibrationPhase_CALIBRATION_PHASE_AS_LEFT, TargetNewtonMetres: 8, ReadingsNewtonMetres: []float64{7, 7, 7, 7, 7}}},
				Entry:  &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: 1764320400}}}}, // 2025-11-28T09:00:00Z
		}},
	}
}

// handoverEntry is 2026-03-29T01:30:00.5Z, half an hour after the clocks of Dublin
// went forward.
func handoverEntry() *pb.Entry {
	return &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: 1774747800, Nanos: 5e8}, UtcOffsetMinutes: 60, Person: "people/ab", Device: "phone 3", Note: "n",
		ReceiveTime: &timestamppb.Timestamp{Seconds: 1774747860}, ChainSequence: 3, ChainLink: []byte{0xab, 0xcd}}
}

// handoverCases are one or more of each kind of record, and what becomes of them.
func handoverCases() (items []*pb.HistoryItem, want []report.Record) {
	at, received := time.Unix(1774747800, 5e8), time.Unix(1774747860, 0)
	add := func(item *pb.HistoryItem, kind, id string, r report.Record) {
		r.Kind = kind
		if r.ID == "" {
			r.Entry = report.Entry{ID: id, At: at, Person: "ab", Device: "phone 3", Note: "n", ReceivedAt: &received, Sequence: 3, Link: "abcd"}
		}
		if r.Findings == nil {
			r.Findings, r.Attachments = []report.Finding{}, []report.Attachment{}
		}
		items, want = append(items, item), append(want, r)
	}
	entry := handoverEntry()
	add(&pb.HistoryItem{Record: &pb.HistoryItem_Tightening{Tightening: &pb.Tightening{Name: "tightenings/t1", Joint: handoverJoint, Specification: "specifications/S1@2", Lot: "lots/L1",
		Treatment: pb.Treatment_TREATMENT_ANTI_SEIZE, CompoundBatch: "B", Tool: "tools/T1", TorqueNewtonMetres: number(16.5), TorqueAsTyped: "16.5 N.m", Fasteners: 12,
		Pass: pb.Pass_PASS_RETIGHTENING, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND, Entry: &pb.Entry{OccurTime: entry.OccurTime, CorrectedBy: "corrections/c1"}}},
		Findings:    []*pb.Finding{{Rule: "torque-window", Severity: pb.Severity_SEVERITY_HOLD, Message: "m", Figure: number(0), Limit: number(1), Unit: "N.m", Source: "s"}},
		Attachments: []*pb.AttachmentInfo{{Name: "attachments/ff00", FileName: "a.png", MediaType: "image/png", SizeBytes: 9, CreateTime: entry.ReceiveTime}}},
		"tightening", "t1", report.Record{Entry: report.Entry{ID: "t1", At: at, CorrectedBy: "c1"},
			Tightening: &report.Tightening{Specification: "S1@2", Fasteners: 12, Lot: "L1", Treatment: "anti-seize", Batch: "B", Tool: "T1",
				TorqueNM: number(16.5), TorqueAsTyped: "16.5 N.m", Pass: "re-tightening", Method: "hand"},
			Findings:    []report.Finding{{Rule: "torque-window", Severity: "hold", Message: "m", Figure: number(0), Limit: number(1), Unit: "N.m", Source: "s"}},
			Attachments: []report.Attachment{{SHA256: "ff00", FileName: "a.png", MediaType: "image/png", SizeBytes: 9, CreatedAt: &received}}})
	add(&pb.HistoryItem{Record: &pb.HistoryItem_Incident{Incident: &pb.Incident{Name: "incidents/i1", Kind: pb.IncidentKind_INCIDENT_KIND_GALLING, Joint: handoverJoint,
		Fasteners: 2, Lot: "lots/L1", Treatment: pb.Treatment_TREATMENT_NONE, Tool: "tools/T1", DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_IMPACT, Noticed: "late",
		Action: "cut", Entry: entry, Specification: "specifications/S1@2"}}},
		"incident", "i1", report.Record{Incident: &report.Incident{Specification: "S1@2", Kind: "galling", Fasteners: 2, Lot: "L1", Treatment: "none", Tool: "T1",
			Method: "impact", Noticed: "late", Action: "cut"}})
	add(&pb.HistoryItem{Record: &pb.HistoryItem_Sealing{Sealing: &pb.Sealing{Name: "sealings/s1", Joint: handoverJoint, Sealant: "strip", Batch: "SE", WidthMillimetres: 25.4,
		Solvent: "acetone", CleanTime: entry.OccurTime, AirCelsius: number(0), SurfaceCelsius: number(-1.5), HumidityPercent: number(79), Splice: pb.Splice_SPLICE_MID_RUN,
		FlangeStraight: new(bool), Entry: entry, Specification: "specifications/S1@2"}}},
		"sealing", "s1", report.Record{Sealing: &report.Sealing{Specification: "S1@2", Sealant: "strip", Batch: "SE", WidthMM: number(25.4), Solvent: "acetone", CleanedAt: &at,
			AirC: number(0), SurfaceC: number(-1.5), HumidityPct: number(79), Splice: "mid-run", FlangeStraight: new(bool)}})
	add(&pb.HistoryItem{Record: &pb.HistoryItem_Inspection{Inspection: &pb.Inspection{Name: "inspections/n1", Joint: handoverJoint, Kind: pb.InspectionKind_INSPECTION_KIND_LEAK_TEST,
		Sample: 2, Plan: "p", ReadingsNewtonMetres: []float64{16.2, 1.0 / 3}, Result: pb.InspectionResult_INSPECTION_RESULT_FAIL, Tool: "tools/T1", Entry: entry}}},
		"inspection", "n1", report.Record{Inspection: &report.Inspection{Kind: "leak-test", Sample: 2, Plan: "p", ReadingsNM: []float64{16.2, 1.0 / 3}, Result: "fail", Tool: "T1"}})
	add(&pb.HistoryItem{Record: &pb.HistoryItem_Hold{Hold: &pb.Hold{Name: "holds/h1", Action: pb.HoldAction_HOLD_ACTION_PLACED, Place: handoverJoint, Reason: "r",
		Rule: "torque-window", Cause: "tightenings/t1", ReleasedBy: "holds/h2", Entry: entry}}},
		"hold", "h1", report.Record{Hold: &report.Hold{Action: "placed", Held: "ASH/CT1/C1/J001", Reason: "r", Rule: "torque-window", Cause: "t1", ReleasedBy: "h2"}})
	add(&pb.HistoryItem{Record: &pb.HistoryItem_Hold{Hold: &pb.Hold{Name: "holds/h2", Action: pb.HoldAction_HOLD_ACTION_RELEASED, Lot: "lots/L1", Site: "sites/ASH", Reason: "r",
		Releases: "holds/h1", Decision: pb.Decision_DECISION_USE_AS_IS, Entry: entry}}},
		"hold", "h2", report.Record{Hold: &report.Hold{Action: "released", Held: "lot L1", Reason: "r", Releases: "h1", Decision: "use-as-is"}})
	add(&pb.HistoryItem{Record: &pb.HistoryItem_Disposition{Disposition: &pb.Disposition{Name: "dispositions/d1", Incident: "incidents/i1", Decision: pb.Decision_DECISION_REWORK,
		Reason: "r", Entry: entry}}},
		"disposition", "d1", report.Record{Disposition: &report.Disposition{Incident: "i1", Decision: "rework", Reason: "r"}})
	add(&pb.HistoryItem{Record: &pb.HistoryItem_SignOff{SignOff: &pb.SignOff{Name: "signOffs/o1", Place: "sites/ASH/towers/CT1/cells/C1",
		Point: pb.SignOffPoint_SIGN_OFF_POINT_HOLD_POINT, Title: "closed", Entry: entry}}},
		"sign-off", "o1", report.Record{SignOff: &report.SignOff{Place: "ASH/CT1/C1", Point: "hold-point", Title: "closed"}})
	add(&pb.HistoryItem{Record: &pb.HistoryItem_Correction{Correction: &pb.Correction{Name: "corrections/c1", Corrects: "tightenings/t1", Reason: "slip", Entry: entry,
		Replacement: &pb.Correction_Tightening{Tightening: &pb.Tightening{Name: "tightenings/t2"}}}}},
		"correction", "c1", report.Record{Correction: &report.Correction{Corrects: "t1", Reason: "slip", Replacement: "t2"}})
	return items, want
}

func handoverJSON(t *testing.T, text string) *report.HandoverDocument {
	t.Helper()
	var h report.HandoverDocument
	d := json.NewDecoder(strings.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&h); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
	return &h
}

// Every field that the server sends arrives in the JSON, in the zone of the site
// and with all its digits.
func TestHandoverKeepsEveryField(t *testing.T) {
	items, want := handoverCases()
	s := &handoverServer{parts: []*pb.GetHandoverResponse{headPart(handoverHead(1)), jointPart(nil, items...)}}
	code, out, errOut := run(t, s.start(t), map[string]string{envPerson: "LEAD"}, "handover", "ash/ct1/c1", "-o", "json")
	if code != 0 || !strings.HasPrefix(errOut, "COMPLETE: ASH/CT1/C1, 1 joint, nothing missing\n") {
		t.Fatalf("exit %d, %q", code, errOut)
	}
	if s.place != "sites/ASH/towers/CT1/cells/C1" {
		t.Errorf("asked for %q", s.place)
	}
	h := handoverJSON(t, out)
	if h.PreparedBy != "lead" || h.Site.Units != "us-customary" || h.Chain.Sequence != 7 || len(h.Chain.Link) != 64 || h.People[0] != "ab" {
		t.Errorf("head %+v", h)
	}
	if got := h.ReadAt.Format(time.RFC3339); got != "2026-04-01T16:05:00+01:00" {
		t.Errorf("read at %s", got)
	}
	if s := h.Specifications[0]; s.Code != "S1" || s.LowNM != 12 || s.HighNM != 20 || s.MinimumSurfaceC == nil || *s.MinimumSurfaceC != 0 || s.NutFactor != nil {
		t.Errorf("specification %+v", s)
	}
	if c := h.Tools[0].Calibrations[0]; c.AsLeft.Word != report.VerdictFail || c.AsFound.Word != report.VerdictNotTaken {
		t.Errorf("calibration %+v", c)
	}
	if diff := cmp.Diff(want, h.Joints[0].Records); diff != "" {
		t.Errorf("records (-want +got):\n%s", diff)
	}
	if !strings.Contains(out, `"at": "2026-03-29T02:30:00.5+01:00"`) || !strings.Contains(out, "0.3333333333333333") {
		t.Error("a time without the site's offset, or a figure cut short")
	}
	j := h.Joints[0]
	j.Records, j.TightenedAt = nil, nil
	wantJoint := report.Joint{Place: "ASH/CT1/C1/J001", Kind: "seam", Critical: true, PartA: "a", PartB: "b", Specification: "S1", Fasteners: 12,
		State: "accepted", Tightened: 12, OpenHolds: []report.OpenHold{}}
	if diff := cmp.Diff(wantJoint, j); diff != "" {
		t.Errorf("joint (-want +got):\n%s", diff)
	}
}

// Each kind of record that a history can have is among those that are tested.
func TestHandoverKnowsEveryKindOfRecord(t *testing.T) {
	have := map[string]bool{}
	items, _ := handoverCases()
	for _, item := range items {
		m := item.ProtoReflect()
		have[string(m.WhichOneof(m.Descriptor().Oneofs().ByName("record")).Name())] = true
	}
	fields := (&pb.HistoryItem{}).ProtoReflect().Descriptor().Oneofs().ByName("record").Fields()
	for i := range fields.Len() {
		if !have[string(fields.Get(i).Name())] {
			t.Errorf("no %s among the cases", fields.Get(i).Name())
		}
	}
}

func TestHandoverPage(t *testing.T) {
	items, _ := handoverCases()
	head := handoverHead(1)
	head.Complete = false
	for range handoverLines + 3 {
		head.Missing = append(head.Missing, &pb.Missing{Place: handoverJoint, Sentence: "Joint ASH/CT1/C1/J001: no sealing is on record."})
	}
	s := &handoverServer{parts: []*pb.GetHandoverResponse{headPart(head), jointPart(nil, items...)}}
	address := s.start(t)
	dir := t.TempDir()
	file := filepath.Join(dir, "page.html")
	if err := os.WriteFile(file, []byte("an earlier one"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errOut := run(t, address, nil, "handover", "ASH/CT1/C1", "--file", file)
	if code != exitNotComplete || out != "" {
		t.Errorf("exit %d, out %q", code, out)
	}
	for _, want := range []string{"NOT COMPLETE: ASH/CT1/C1, 1 joint, 23 things missing\n", "  ASH/CT1/C1/J001: No sealing is on record.\n",
		"  and 3 more; the record has them all\n", "written to " + file + "\n", "come first"} {
		if !strings.Contains(errOut, want) {
			t.Errorf("%q lacks %q", errOut, want)
		}
	}
	page, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"<!DOCTYPE html>", "NOT COMPLETE: 23 things missing", "02:30 IST", `class="struck"`, "12.17\u00a0lbf·ft (16.5\u00a0N·m)", "</html>"} {
		if !strings.Contains(string(page), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 1 {
		t.Errorf("the folder has %v, %v", left, err)
	}

	// Without a file the same page is the output.
	code, out, _ = run(t, address, nil, "handover", "ASH/CT1/C1")
	if code != exitNotComplete || out != string(page) {
		t.Errorf("exit %d; the output is not the page in the file", code)
	}
}

// A hold that is open makes a record incomplete whatever the server thinks.
func TestHandoverOpenHold(t *testing.T) {
	hold := &pb.Hold{Name: "holds/h1", Place: "sites/ASH/towers/CT1/cells/C1", Reason: "suspect", Entry: handoverEntry()}
	s := &handoverServer{parts: []*pb.GetHandoverResponse{headPart(handoverHead(1)), jointPart([]*pb.Hold{hold})}}
	code, out, errOut := run(t, s.start(t), nil, "handover", "ASH/CT1/C1", "-o", "json")
	if h := handoverJSON(t, out); code != exitNotComplete || h.Complete || len(h.Missing) != 1 || len(h.Joints[0].OpenHolds) != 1 {
		t.Errorf("exit %d, %q, %+v", code, errOut, h.Missing)
	}
}

// What is not a whole record is written nowhere.
func TestHandoverThatIsNotWhole(t *testing.T) {
	head, joint := headPart(handoverHead(1)), jointPart(nil)
	for _, tc := range []struct {
		name   string
		server *handoverServer
		code   int
		want   string
	}{
		{"too few joints", &handoverServer{parts: []*pb.GetHandoverResponse{headPart(handoverHead(2)), joint}}, exitInternal, "1 of 2 joints came; nothing was written"},
		{"nothing", &handoverServer{}, exitInternal, "nothing came"},
		{"no head", &handoverServer{parts: []*pb.GetHandoverResponse{joint}}, exitInternal, "a joint came before the head"},
		{"two heads", &handoverServer{parts: []*pb.GetHandoverResponse{head, head}}, exitInternal, "its head came twice"},
		{"an unknown part", &handoverServer{parts: []*pb.GetHandoverResponse{head, {}}}, exitInternal, "may be older than the server"},
		{"cut in mid-way", &handoverServer{parts: []*pb.GetHandoverResponse{head, joint}, err: status.Error(codes.Unavailable, "gone")}, exitUnavailable, "can't be reached"},
		{"an empty place", &handoverServer{err: status.Error(codes.FailedPrecondition, "cell ASH/CT1/C1 has no joint")}, exitData, "cell ASH/CT1/C1 has no joint"},
		{"no such place", &handoverServer{err: notFound()}, exitUnknown, "it is not known"},
		{"no next part", &handoverServer{parts: []*pb.GetHandoverResponse{head}, stall: true}, exitTryAgain, "did not answer within 300ms"},
		{"an older server", &handoverServer{err: status.Error(codes.Unimplemented, "unknown")}, exitInternal, "does not know this call"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "page.html")
			code, out, errOut := run(t, tc.server.start(t), nil, "handover", "ASH/CT1/C1", "--file", file, "--timeout", "300ms")
			if code != tc.code || out != "" || !strings.Contains(errOut, tc.want) {
				t.Errorf("exit %d, out %q, err %q", code, out, errOut)
			}
			if _, err := os.Stat(file); !errors.Is(err, os.ErrNotExist) {
				t.Errorf("the file: %v", err)
			}
		})
	}
}

func TestHandoverUsage(t *testing.T) {
	for args, want := range map[string]string{
		"handover":                     "takes PLACE; got 0 of 1 argument",
		"handover a/b/c/d":             `"a/b/c/d" is a joint; expected a site such as RVB or a tower such as RVB/CT2 or a cell such as RVB/CT2/C3`,
		"handover a/b/c -o csv":        "a hand-over record is a page",
		"handover a/b/c --file=":       "expected the name of a file",
		"handover a/b/c --fle x":       "did you mean --file?",
		"handover a/b/c -o html":       "expected one of table, json, csv",
		"handover a/b/c --file x d/e":  "got 2 of 1 argument",
		"handover a/b/c --timeout -1s": "--timeout: expected a time above 0",
	} {
		code, out, errOut := run(t, "", nil, strings.Fields(args)...)
		if code != exitUsage || out != "" || !strings.Contains(errOut, want) {
			t.Errorf("%s: exit %d, %q", args, code, errOut)
		}
	}
}

func TestHandoverFileThatCannotBeWritten(t *testing.T) {
	s := &handoverServer{parts: []*pb.GetHandoverResponse{headPart(handoverHead(1)), jointPart(nil)}}
	code, _, errOut := run(t, s.start(t), nil, "handover", "ASH/CT1/C1", "--file", filepath.Join(t.TempDir(), "absent", "page.html"))
	if code != exitCantWrite || !strings.Contains(errOut, "can't be written") || strings.Contains(errOut, "COMPLETE") {
		t.Errorf("exit %d, %q", code, errOut)
	}
}

// The token goes with the stream once: a server refuses two.
func TestHandoverSendsTheToken(t *testing.T) {
	file := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(file, []byte("s3cret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := &handoverServer{parts: []*pb.GetHandoverResponse{headPart(handoverHead(1)), jointPart(nil)}}
	code, _, errOut := run(t, s.start(t), map[string]string{envTokenFile: file}, "handover", "ASH/CT1/C1")
	if code != 0 {
		t.Errorf("exit %d, %q", code, errOut)
	}
	if diff := cmp.Diff([]string{"Bearer s3cret"}, s.authorization); diff != "" {
		t.Error(diff)
	}
}

// The record of a site takes longer than other answers, and its first part may be
// larger than gRPC takes when nobody says how much.
func TestHandoverIsGivenTimeAndRoom(t *testing.T) {
	late := newAnswering(t, func(string, []byte) (proto.Message, error) { return nil, status.Error(codes.DeadlineExceeded, "late") })
	file := filepath.Join(t.TempDir(), "h.html")
	for args, want := range map[string]string{"": "did not answer within 5m0s", "--timeout 2s": "did not answer within 2s"} {
		_, _, errOut := run(t, late.address, nil, append([]string{"handover", "ASH/CT1/C1", "--file", file}, strings.Fields(args)...)...)
		if !strings.Contains(errOut, want) {
			t.Errorf("%q: %s; want %q", args, errOut, want)
		}
	}
	missing := strings.Repeat("x", 8<<20)
	large := newAnswering(t, func(string, []byte) (proto.Message, error) {
		return parts{of: []proto.Message{&pb.GetHandoverResponse{Part: &pb.GetHandoverResponse_Head{Head: &pb.HandoverHead{
			Place: "sites/ASH/towers/CT1/cells/C1", Site: &pb.Site{Name: "sites/ASH", TimeZone: "UTC"}, ReadTime: timestamppb.Now(),
			Missing: []*pb.Missing{{Place: "sites/ASH/towers/CT1/cells/C1", Sentence: missing}}}}}}}, nil
	})
	code, _, errOut := run(t, large.address, nil, "handover", "ASH/CT1/C1", "--file", file)
	if code != exitNotComplete || strings.Contains(errOut, "larger than max") {
		t.Errorf("exit %d: %.300s", code, errOut)
	}
}
