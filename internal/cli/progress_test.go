package cli

import (
	"encoding/json"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

// detail is the status of a server that is away for the moment.
func detail(t *testing.T) error {
	t.Helper()
	return status.Error(codes.Unavailable, "away")
}

// The numbers by hand: 10 joints in the working days from Monday 2 to Thursday 5
// March 2026 are 2.5 a day; 10 of 20 are left, a median of four days.
func TestProgress(t *testing.T) {
	got := &pb.GetProgressResponse{
		Joints: 20, OnHold: 1, PlannedFinish: "2026-03-31",
		States: []*pb.StateCount{{State: pb.JointState_JOINT_STATE_PLANNED, Joints: 10}, {State: pb.JointState_JOINT_STATE_TIGHTENED, Joints: 10}},
		Days:   []*pb.DayCount{{Day: "2026-03-02", Joints: 2}, {Day: "2026-03-03", Joints: 3}, {Day: "2026-03-05", Joints: 5}, {Day: "2026-03-09", Joints: 4}},
	}
	a := newAnswering(t, func(string, []byte) (proto.Message, error) { return got, nil })
	code, out, errOut := run(t, a.address, nil, "progress", "rvb/ct2", "--as-of", "2026-03-06", "-o", "json")
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	type finish struct {
		Earliest, Expected, Latest, Method string
		Confidence, Dispersion             float64
		Rate                               float64  `json:"joints_per_working_day"`
		WorkingDays                        int      `json:"working_days"`
		FirstDay                           string   `json:"first_day"`
		Week                               []string `json:"days_of_the_week"`
	}
	var answer struct {
		Days []struct {
			Day    string
			Joints int
			InAll  int     `json:"joints_in_all"`
			Share  float64 `json:"share_pct"`
		}
		Place, AsOf                 string
		Joints, Finished, Remaining int
		States                      map[string]int
		Finish                      *finish
		Cautions                    []string
		PlannedFinish               string `json:"planned_finish"`
	}
	if err := json.Unmarshal([]byte(out), &answer); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if len(answer.Days) != 3 || answer.Days[2].InAll != 10 || answer.Days[2].Share != 50 || answer.Joints != 20 || answer.Finished != 10 || answer.Remaining != 10 ||
		answer.States["planned"] != 10 || answer.States["accepted"] != 0 || answer.PlannedFinish != "2026-03-31" {
		t.Errorf("%s", out)
	}
	f := answer.Finish
	if f == nil || f.Rate != 2.5 || f.WorkingDays != 4 || f.FirstDay != "2026-03-02" || strings.Join(f.Week, " ") != "Mon Tue Wed Thu Fri" || f.Confidence != 0.9 ||
		f.Expected < "2026-03-10" || f.Expected > "2026-03-12" || f.Earliest >= f.Expected || f.Latest <= f.Expected || !strings.Contains(f.Method, "Jeffreys") {
		t.Errorf("finish: %s", out)
	}
	said := strings.Join(answer.Cautions, "\n")
	for _, want := range []string{"4 joints finished after 2026-03-06", "only 4 working days", "1 joint on hold"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is missing in %s", want, said)
		}
	}

	_, out, _ = run(t, a.address, nil, "progress", "rvb/ct2", "--as-of", "2026-03-06")
	for _, want := range []string{
		"2026-03-02  2       2       10  ################\n",
		"2026-03-05  5       10      50  ########################################\n",
		"RVB/CT2: 10 of 20 joints finished by 2026-03-06; now 10 planned, 10 tightened; 1 on hold\n",
		"20 |", "[ earliest, E expected, ] latest finish", "P planned finish", "planned finish: 2026-03-31\n", "expected finish: " + f.Expected,
	} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
	for _, l := range strings.Split(out, "\n") {
		if n := len([]rune(l)); n > 100 {
			t.Errorf("%d characters: %q", n, l)
		}
	}
}

// Of work that stopped long ago the rate is told that it had, and that it stopped.
func TestProgressAfterAStop(t *testing.T) {
	a := newAnswering(t, func(string, []byte) (proto.Message, error) {
		return &pb.GetProgressResponse{Joints: 20, Days: []*pb.DayCount{{Day: "2026-01-05", Joints: 5}, {Day: "2026-01-06", Joints: 5}}}, nil
	})
	_, out, _ := run(t, a.address, nil, "progress", "rvb")
	for _, want := range []string{"rate: 5 joints a working day over 2 working days", "as if work were taken up again on 2026-03-02", "expected finish: 2026-03-03"} {
		if !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
}

func TestProgressWithoutAForecast(t *testing.T) {
	for _, tc := range []struct {
		name string
		got  *pb.GetProgressResponse
		want string
	}{
		{"nothing there", &pb.GetProgressResponse{}, "there are no joints at RVB"},
		{"nothing done", &pb.GetProgressResponse{Joints: 3}, "caution: no rate can be told yet"},
		{"all done", &pb.GetProgressResponse{Joints: 3, Days: []*pb.DayCount{{Day: "2026-02-27", Joints: 3}}}, "every joint is finished, the last on 2026-02-27"},
		{"first day", &pb.GetProgressResponse{Joints: 3, Days: []*pb.DayCount{{Day: "2026-03-02", Joints: 1}}}, "caution: no rate can be told yet"},
	} {
		a := newAnswering(t, func(string, []byte) (proto.Message, error) { return tc.got, nil })
		code, out, _ := run(t, a.address, nil, "progress", "rvb")
		if code != 0 || strings.Count(out, tc.want) != 1 || strings.Contains(out, "expected finish") || strings.Contains(out, "0 of 0") {
			t.Errorf("%s: exit %d\n%s", tc.name, code, out)
		}
		if _, out, _ = run(t, a.address, nil, "progress", "rvb", "-o", "json"); !strings.Contains(out, `"finish": null`) {
			t.Errorf("%s: %s", tc.name, out)
		}
	}
}

func TestRemaining(t *testing.T) {
	hold := &pb.Hold{Name: "holds/h1", Action: pb.HoldAction_HOLD_ACTION_PLACED, Place: "sites/RVB/towers/CT2/cells/C3", Reason: "It is cold.", Rule: "seal-cold",
		Entry: &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: 1772432700}, UtcOffsetMinutes: 60}}
	status := func(tag string, state pb.JointState, tightened int64, holds ...*pb.Hold) *pb.JointStatus {
		return &pb.JointStatus{Joint: &pb.Joint{Name: "sites/RVB/towers/CT2/cells/C3/joints/" + tag, Kind: pb.JointKind_JOINT_KIND_SEAM, Specification: "specifications/S1", Fasteners: 12},
			State: state, Tightened: tightened, OpenHolds: holds}
	}
	joints := []*pb.JointStatus{status("J1", pb.JointState_JOINT_STATE_SEALED, 7, hold), status("J2", pb.JointState_JOINT_STATE_PLANNED, 0, hold), status("J3", pb.JointState_JOINT_STATE_PLANNED, 0)}
	a := newAnswering(t, func(string, []byte) (proto.Message, error) { return &pb.ListJointStatesResponse{Joints: joints}, nil })
	_, out, _ := run(t, a.address, nil, "remaining", "rvb/ct2/c3")
	want := `JOINT          KIND  CRITICAL  SPEC  STATE    TIGHTENED  ON HOLD
RVB/CT2/C3/J1  seam  no        S1    sealed   7 of 12    seal-cold
RVB/CT2/C3/J2  seam  no        S1    planned  0 of 12    seal-cold
RVB/CT2/C3/J3  seam  no        S1    planned  0 of 12

3 joints left: 2 planned, 1 sealed; 2 on hold
RVB/CT2/C3 is on hold since 2026-03-02 07:25 +01:00: seal-cold: It is cold.  (hold h1)
a site lead, quality engineer, regional manager or administrator may release them with trackctl
  hold release
`
	if out != want {
		t.Errorf("got\n%s\nwant\n%s", out, want)
	}
	// The sums are of all joints, however few are shown.
	_, out, _ = run(t, a.address, nil, "remaining", "rvb/ct2/c3", "--limit", "1", "-o", "json")
	if strings.Count(out, `"joint": `) != 1 || !strings.Contains(out, `"remaining": 3,`) ||
		!strings.Contains(out, `"states": {"planned": 2, "sealed": 1, "tightened": 0, "inspected": 0, "accepted": 0},`) ||
		!strings.Contains(out, `"on_hold": true, "open_holds": [{"id": "h1", "at": "2026-03-02T07:25:00+01:00", "place": "RVB/CT2/C3", "lot": null, "serial": null, "site": null, "rule": "seal-cold", "cause": null, "reason": "It is cold.", "cause_corrected_by": null, "person": null}]`) {
		t.Errorf("got\n%s", out)
	}
}

// What is accepted and on hold is left; a place where nothing is left is finished
// only when there are joints.
func TestRemainingOfWhatIsAcceptedAndOfNothing(t *testing.T) {
	var left, all []*pb.JointStatus
	a := newAnswering(t, func(_ string, request []byte) (proto.Message, error) {
		var r pb.ListJointStatesRequest
		if err := proto.Unmarshal(request, &r); err != nil {
			return nil, err
		}
		if r.GetRemainingOnly() {
			return &pb.ListJointStatesResponse{Joints: left}, nil
		}
		return &pb.ListJointStatesResponse{Joints: all}, nil
	})
	_, out, _ := run(t, a.address, nil, "remaining", "rvb/ct2/c3")
	if out != "there are no joints at RVB/CT2/C3\n" {
		t.Errorf("an empty place: %q", out)
	}
	if _, out, _ = run(t, a.address, nil, "remaining", "rvb/ct2/c3", "-o", "json"); !strings.Contains(out, `"has_joints": false`) {
		t.Errorf("an empty place: %s", out)
	}
	accepted := &pb.JointStatus{Joint: &pb.Joint{Name: "sites/RVB/towers/CT2/cells/C3/joints/J1"}, State: pb.JointState_JOINT_STATE_ACCEPTED}
	all = []*pb.JointStatus{accepted}
	if _, out, _ = run(t, a.address, nil, "remaining", "rvb/ct2/c3"); out != "every joint of RVB/CT2/C3 is accepted, and none is on hold\n" {
		t.Errorf("a finished place: %q", out)
	}
	if _, out, _ = run(t, a.address, nil, "remaining", "rvb/ct2/c3", "-o", "json"); !strings.Contains(out, `"has_joints": true`) || !strings.Contains(out, `"remaining": 0`) {
		t.Errorf("a finished place: %s", out)
	}
	accepted.OpenHolds = []*pb.Hold{{Name: "holds/h1", Place: accepted.GetJoint().GetName(), Reason: "doubtful", Entry: &pb.Entry{Person: "people/ab"}}}
	left = []*pb.JointStatus{accepted, {Joint: &pb.Joint{Name: "sites/RVB/towers/CT2/cells/C3/joints/J2"}, State: pb.JointState_JOINT_STATE_PLANNED}}
	if _, out, _ = run(t, a.address, nil, "remaining", "rvb/ct2/c3"); !strings.Contains(out, "\n2 joints left: 1 planned, 1 accepted but on hold; 1 on hold\n") {
		t.Errorf("got %s", out)
	}
}

// A hold outlives the record that caused it: who reads of it is told.
func TestAHoldWhoseCauseWasCorrected(t *testing.T) {
	hold := func(id, cause string) *pb.Hold {
		return &pb.Hold{Name: "holds/" + id, Action: pb.HoldAction_HOLD_ACTION_PLACED, Place: "sites/RVB/towers/CT2/cells/C3/joints/J1", Reason: "It is cold.", Rule: "seal-cold", Cause: cause,
			Entry: &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: 1772432700}, UtcOffsetMinutes: 60}}
	}
	holds := []*pb.Hold{hold("h1", "sealings/s1"), hold("h2", "sealings/s1"), hold("h3", "tightenings/t1"), hold("h4", "sealings/gone")}
	asked, fault := 0, error(nil)
	a := newAnswering(t, func(method string, request []byte) (proto.Message, error) {
		var get pb.GetSealingRequest
		switch method {
		case "ListHolds":
			var r pb.ListHoldsRequest
			if err := proto.Unmarshal(request, &r); err != nil || strings.HasSuffix(r.GetPlace(), "/C3") {
				return &pb.ListHoldsResponse{}, err
			}
			return &pb.ListHoldsResponse{Holds: holds}, nil
		case "ListJointStates":
			return &pb.ListJointStatesResponse{Joints: []*pb.JointStatus{{Joint: &pb.Joint{Name: holds[0].GetPlace()}, OpenHolds: holds}}}, nil
		case "GetTightening":
			return &pb.Tightening{Name: "tightenings/t1", Entry: &pb.Entry{}}, fault
		}
		asked++
		if err := proto.Unmarshal(request, &get); err != nil || get.GetName() != "sealings/s1" {
			return nil, notFound()
		}
		return &pb.Sealing{Name: "sealings/s1", Entry: &pb.Entry{CorrectedBy: "corrections/c1"}}, nil
	})
	const corrected = "the record that caused it, sealings/s1, was corrected since by c1"
	for _, args := range [][]string{{"hold", "list", "rvb/ct2/c3/j1"}, {"remaining", "rvb/ct2/c3"}} {
		asked = 0
		code, out, errOut := run(t, a.address, nil, args...)
		told := strings.Join(strings.Fields(out), " ")
		if code != 0 || strings.Count(told, corrected) != 2 || strings.Count(told, "was corrected") != 2 || !strings.Contains(told, "(hold h1); "+corrected) || asked != 2 {
			t.Errorf("%q: exit %d, %d look-ups, %s\n%s", args, code, asked, errOut, out)
		}
		_, out, _ = run(t, a.address, nil, append(args, "-o", "json")...)
		if strings.Count(out, `"cause_corrected_by": "c1"`) != 2 || strings.Count(out, `"cause_corrected_by": null`) != 2 {
			t.Errorf("%q: %s", args, out)
		}
	}
	fault = status.Error(codes.Unavailable, "away")
	if code, _, _ := run(t, a.address, nil, "hold", "list", "rvb"); code != exitUnavailable {
		t.Errorf("a look-up that failed: exit %d", code)
	}
}
