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

	pb "jointledger/proto/jointledger/v1"
)

// story records a joint's whole life on theJoint, and half of one on theSeam:
// theJoint is tightened on two days, inspected, held for a torque of 38 N.m,
// released and accepted; theSeam is sealed only.
type story struct {
	first, strong *pb.Tightening
	audit         *pb.Inspection
	gall          *pb.Incident
	placed        *pb.Hold
	end           *pb.Hold
	seal          *pb.Sealing
	off           *pb.SignOff
}

func tell(t *testing.T, c clients) story {
	t.Helper()
	ctx := t.Context()
	readyToWork(t, c)
	s := story{
		first: sound("2026-03-02T09:00:00Z", 10), strong: sound("2026-03-03T10:00:00Z", 14), gall: galling("2026-03-03T10:30:00Z", 2),
		audit: inspection("2026-03-04T09:00:00Z", theJoint, pb.InspectionResult_INSPECTION_RESULT_PASS), seal: sealing("2026-03-04T10:00:00Z"),
		off: signOff("2026-03-06T09:00:00Z", theJoint, inspector),
	}
	s.strong.TorqueNewtonMetres, s.gall.Entry = proto.Float64(38), late("2026-03-03T10:30:00Z", "nd1")
	for _, m := range []*pb.Tightening{s.first, s.strong} {
		taken(t, []*pb.Outcome{record(t, c, m)})
	}
	taken(t, must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{s.gall}})).Outcomes)
	taken(t, must[*pb.RecordInspectionsResponse](t)(c.inspection.RecordInspections(ctx, &pb.RecordInspectionsRequest{Inspections: []*pb.Inspection{s.audit}})).Outcomes)
	taken(t, must[*pb.RecordSealingsResponse](t)(c.inspection.RecordSealings(ctx, &pb.RecordSealingsRequest{Sealings: []*pb.Sealing{s.seal}})).Outcomes)
	holds := must[*pb.ListHoldsResponse](t)(c.control.ListHolds(ctx, &pb.ListHoldsRequest{Place: theJoint})).Holds
	if len(holds) != 1 {
		t.Fatalf("%v", holds)
	}
	s.placed, s.end = holds[0], release(holds[0], "2026-03-05T09:00:00Z", inspector)
	taken(t, must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{s.end}})).Outcomes)
	taken(t, must[*pb.RecordSignOffsResponse](t)(c.control.RecordSignOffs(ctx, &pb.RecordSignOffsRequest{SignOffs: []*pb.SignOff{s.off}})).Outcomes)
	return s
}

func TestStatesAndProgress(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		tell(t, c)
		stop := hold("2026-03-07T09:00:00Z", theSeam)
		taken(t, must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{stop}})).Outcomes)

		states := func(r *pb.ListJointStatesRequest) string {
			t.Helper()
			var lines []string
			got, _ := follow(t, c.progress.ListJointStates, func(token string) *pb.ListJointStatesRequest {
				r.PageSize, r.PageToken = 1, token
				return r
			}, func(a *pb.ListJointStatesResponse) []string {
				for _, j := range a.Joints {
					lines = append(lines, strings.TrimPrefix(j.State.String(), "JOINT_STATE_")+" "+j.TightenedTime.AsTime().Format("2006-01-02")+" "+strings.Join(named(j.OpenHolds), " "))
				}
				return named(jointsOf(a))
			})
			for i := range lines {
				lines[i] = got[i] + " " + lines[i]
			}
			return strings.Join(lines, "\n")
		}
		if d := cmp.Diff(theJoint+" ACCEPTED 2026-03-03 \n"+theSeam+" SEALED 1970-01-01 "+stop.Name, states(&pb.ListJointStatesRequest{Place: "sites/HAR"})); d != "" {
			t.Error(d)
		}
		if d := cmp.Diff(theSeam+" SEALED 1970-01-01 "+stop.Name, states(&pb.ListJointStatesRequest{Place: "sites/HAR", RemainingOnly: true})); d != "" {
			t.Error(d)
		}

		got := must[*pb.GetProgressResponse](t)(c.progress.GetProgress(ctx, &pb.GetProgressRequest{Place: theTower}))
		want := &pb.GetProgressResponse{
			Joints: 2, OnHold: 1, Days: []*pb.DayCount{{Day: "2026-03-03", Joints: 1}},
			States: []*pb.StateCount{
				{State: pb.JointState_JOINT_STATE_PLANNED}, {State: pb.JointState_JOINT_STATE_SEALED, Joints: 1}, {State: pb.JointState_JOINT_STATE_TIGHTENED},
				{State: pb.JointState_JOINT_STATE_INSPECTED}, {State: pb.JointState_JOINT_STATE_ACCEPTED, Joints: 1},
			},
		}
		if d := cmp.Diff(want, got, protocmp.Transform()); d != "" {
			t.Error(d)
		}
	})
}

func jointsOf(a *pb.ListJointStatesResponse) []*pb.Joint {
	var joints []*pb.Joint
	for _, j := range a.Joints {
		joints = append(joints, j.Joint)
	}
	return joints
}

// itemName is the name of the record of an item.
func itemName(i *pb.HistoryItem) string {
	m := i.ProtoReflect()
	f := m.WhichOneof(m.Descriptor().Oneofs().ByName("record"))
	if f == nil {
		return ""
	}
	return m.Get(f).Message().Interface().(interface{ GetName() string }).GetName()
}

func itemNames(items []*pb.HistoryItem) []string {
	var names []string
	for _, i := range items {
		names = append(names, itemName(i))
	}
	return names
}

func TestJointHistory(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		s := tell(t, c)
		decided := disposition("2026-03-06T10:00:00Z", s.gall.Name, inspector)
		taken(t, must[*pb.RecordDispositionsResponse](t)(c.control.RecordDispositions(ctx, &pb.RecordDispositionsRequest{Dispositions: []*pb.Disposition{decided}})).Outcomes)
		mend := replaced("2026-03-07T09:00:00Z", s.first.Name, sound("2026-03-02T09:00:01Z", 12))
		if got := correct(t, c, mend); got != "TAKEN "+mend.Name {
			t.Fatal(got)
		}
		photo := upload(t, c, head(s.audit.Name, "audit.png", "image/png"), picture(1000))

		got := must[*pb.GetJointHistoryResponse](t)(c.progress.GetJointHistory(ctx, &pb.GetJointHistoryRequest{Joint: theJoint}))
		// The hold that the server placed happened when it placed it: now, after all
		// that is told here.
		want := []string{s.first.Name, mend.GetTightening().Name, s.strong.Name, s.gall.Name, s.audit.Name, s.end.Name, s.off.Name, decided.Name, mend.Name, s.placed.Name}
		if d := cmp.Diff(want, itemNames(got.Items)); d != "" {
			t.Fatal(d)
		}
		if got.Status.Joint.Name != theJoint || got.Status.State != pb.JointState_JOINT_STATE_ACCEPTED || got.Status.Tightened != 26 || len(got.Status.OpenHolds) != 0 {
			t.Errorf("%v", got.Status)
		}
		if i := got.Items[0]; i.GetTightening().Entry.CorrectedBy != mend.Name || found(i.Findings) != "" {
			t.Errorf("the corrected one: %v", i)
		}
		if i := got.Items[2]; found(i.Findings) != "torque-window HOLD" {
			t.Errorf("the strong one: %v", i)
		}
		if i := got.Items[4]; len(i.Attachments) != 1 || i.Attachments[0].Name != photo.Name || i.Attachments[0].Record != s.audit.Name {
			t.Errorf("the audit: %v", i)
		}
		whole := must[*pb.Correction](t)(c.control.GetCorrection(ctx, &pb.GetCorrectionRequest{Name: mend.Name}))
		if d := cmp.Diff(whole, got.Items[8].GetCorrection(), protocmp.Transform()); d != "" {
			t.Error(d)
		}
		if h := got.Items[9].GetHold(); h.Cause != s.strong.Name || h.ReleasedBy != s.end.Name {
			t.Errorf("%v", h)
		}
	})
}

func TestFindingsAreListedAndCounted(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		s := tell(t, c)
		list := func(r *pb.ListFindingsRequest) []string {
			t.Helper()
			got, _ := follow(t, c.progress.ListFindings, func(token string) *pb.ListFindingsRequest {
				r.PageSize, r.PageToken = 1, token
				return r
			}, func(a *pb.ListFindingsResponse) []string {
				var lines []string
				for _, f := range a.Findings {
					lines = append(lines, f.Record+" "+f.Joint+" "+f.Person+" "+f.OccurTime.AsTime().Format("2006-01-02T15:04Z")+" "+f.Finding.Rule)
				}
				return lines
			})
			return got
		}
		strong := s.strong.Name + " " + theJoint + " people/nd1 2026-03-03T10:00Z torque-window"
		all := list(&pb.ListFindingsRequest{})
		if !slices.Contains(all, strong) {
			t.Errorf("%v", all)
		}
		if got := list(&pb.ListFindingsRequest{Place: theJoint, Rule: "torque-window", Severity: pb.Severity_SEVERITY_HOLD}); !slices.Equal(got, []string{strong}) {
			t.Errorf("%v", got)
		}
		if got := list(&pb.ListFindingsRequest{Place: theSeam, Rule: "torque-window"}); len(got) != 0 {
			t.Errorf("%v", got)
		}
		counts := must[*pb.CountFindingsResponse](t)(c.progress.CountFindings(ctx, &pb.CountFindingsRequest{Place: theJoint})).Counts
		if !slices.ContainsFunc(counts, func(f *pb.FindingCount) bool {
			return f.Rule == "torque-window" && f.Severity == pb.Severity_SEVERITY_HOLD && f.Findings == 1
		}) {
			t.Errorf("%v", counts)
		}
		var sum int64
		for _, f := range must[*pb.CountFindingsResponse](t)(c.progress.CountFindings(ctx, &pb.CountFindingsRequest{})).Counts {
			sum += f.Findings
		}
		if sum != int64(len(all)) {
			t.Errorf("%d counted, %d listed", sum, len(all))
		}
		// What was mistaken breaks no rule.
		taken(t, must[*pb.RecordCorrectionsResponse](t)(c.control.RecordCorrections(ctx, &pb.RecordCorrectionsRequest{
			Corrections: []*pb.Correction{correction("2026-03-08T09:00:00Z", s.strong.Name)},
		})).Outcomes)
		if got := list(&pb.ListFindingsRequest{Rule: "torque-window"}); len(got) != 0 {
			t.Errorf("%v", got)
		}
	})
}

func TestFindLot(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		s := tell(t, c)
		stop := hold("2026-03-07T09:00:00Z", "")
		stop.Lot, stop.Site = "lots/M10-S-1", "sites/HAR"
		taken(t, must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{stop}})).Outcomes)
		got := must[*pb.FindLotResponse](t)(c.progress.FindLot(ctx, &pb.FindLotRequest{Lot: "lots/M10-S-1"}))
		want := &pb.FindLotResponse{
			Lot:    must[*pb.Lot](t)(c.lots.GetLot(ctx, &pb.GetLotRequest{Name: "lots/M10-S-1"})),
			Stocks: []*pb.LotStock{{Site: "sites/HAR", Received: 500, Used: 26, OnHand: 474}},
			Joints: []*pb.LotUse{{Joint: theJoint, Fasteners: 24, Failures: 2}},
			Incidents: []*pb.Incident{
				must[*pb.Incident](t)(c.assembly.GetIncident(ctx, &pb.GetIncidentRequest{Name: s.gall.Name})),
			},
			OpenHolds: []*pb.Hold{must[*pb.Hold](t)(c.control.GetHold(ctx, &pb.GetHoldRequest{Name: stop.Name}))},
		}
		if d := cmp.Diff(want, got, protocmp.Transform()); d != "" {
			t.Error(d)
		}
	})
}

func TestProgressRefusesWhatItCannotAnswer(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	const invalid = "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield "
	for name, tc := range map[string]struct {
		err  error
		want string
	}{
		"states of nothing": {second(c.progress.ListJointStates(ctx, &pb.ListJointStatesRequest{})), invalid + "place: is required; expected a site, tower, cell or joint"},
		"states of many":    {second(c.progress.ListJointStates(ctx, &pb.ListJointStatesRequest{Place: "sites/HAR/towers/-"})), invalid + `place: "sites/HAR/towers/-" stands for many; expected one tower`},
		"progress of a joint": {second(c.progress.GetProgress(ctx, &pb.GetProgressRequest{Place: theJoint})),
			invalid + `place: "` + theJoint + `" is a joint; expected a site, tower or cell`},
		"history of a cell": {second(c.progress.GetJointHistory(ctx, &pb.GetJointHistoryRequest{Joint: theCell})),
			invalid + `joint: "` + theCell + `" is a cell; expected a joint`},
		"no place": {second(c.progress.GetProgress(ctx, &pb.GetProgressRequest{Place: "HAR/CT1"})),
			invalid + `place: "HAR/CT1" is not the name of a place: expected "sites" where it has "HAR"`},
		"unknown lot":  {second(c.progress.FindLot(ctx, &pb.FindLotRequest{Lot: "lots/M10-S-3"})), "NotFound: lot \"M10-S-3\" is not known; the nearest known is \"M10-S-1\"\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/Lot lots/M10-S-3"},
		"unknown rule": {second(c.progress.ListFindings(ctx, &pb.ListFindingsRequest{Rule: "torque-windows"})), "InvalidArgument: question is not valid\nreason jointledger/INVALID_FIELD\nfield rule: \"torque-windows\" is not a rule (did you mean torque-window?)"},
		"unknown severity": {second(c.progress.ListFindings(ctx, &pb.ListFindingsRequest{Severity: 9})),
			invalid + "severity: 9 is no severity; expected one of note, warn, hold"},
	} {
		if d := cmp.Diff(tc.want, render(tc.err)); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
	for name, err := range map[string]error{
		"states":   second(c.progress.ListJointStates(ctx, &pb.ListJointStatesRequest{Place: "sites/HAX"})),
		"progress": second(c.progress.GetProgress(ctx, &pb.GetProgressRequest{Place: "sites/HAX"})),
		"history":  second(c.progress.GetJointHistory(ctx, &pb.GetJointHistoryRequest{Joint: theCell + "/joints/J999"})),
		"findings": second(c.progress.ListFindings(ctx, &pb.ListFindingsRequest{Place: "sites/HAX"})),
		"counts":   second(c.progress.CountFindings(ctx, &pb.CountFindingsRequest{Place: "sites/HAX"})),
	} {
		if status.Code(err) != codes.NotFound || !strings.Contains(render(err), "reason jointledger/UNKNOWN_RESOURCE\nresource jointledger/") {
			t.Errorf("%s of an unknown place: %s", name, render(err))
		}
	}
}

func second[T any](_ T, err error) error { return err }
