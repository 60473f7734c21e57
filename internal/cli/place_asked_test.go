package cli

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "jointledger/proto/jointledger/v1"
)

// What asks about a place takes it as entries do: the end of a name near the current
// place, and that place itself when nothing is typed.
func TestQuestionsTakeTheCurrentPlace(t *testing.T) {
	const site, tower, cell, joint = "sites/RVB", "sites/RVB/towers/CT2", "sites/RVB/towers/CT2/cells/C3", "sites/RVB/towers/CT2/cells/C3/joints/J014"
	for _, tc := range []struct {
		at, args, method, want string
		filled                 string
	}{
		{"rvb/ct2/c3", "remaining", "ListJointStates", cell, "place RVB/CT2/C3"},
		{"rvb/ct2/c3", "remaining j014", "ListJointStates", joint, ""},
		{"rvb/ct2/c3", "remaining c4", "ListJointStates", "sites/RVB/towers/CT2/cells/C4", ""},
		{"rvb/ct2/c3", "remaining /pen", "ListJointStates", "sites/PEN", ""},
		{"rvb/ct2/c3", "history j014", "GetJointHistory", joint, "place RVB/CT2/C3"},
		{"rvb/ct2/c3", "progress", "GetProgress", cell, "place RVB/CT2/C3"},
		{"rvb/ct2/c3", "progress ct2", "GetProgress", tower, ""},
		{"rvb/ct2/c3", "findings", "ListFindings", cell, "place RVB/CT2/C3"},
		{"rvb/ct2/c3", "findings /", "ListFindings", "", ""},
		{"", "findings", "ListFindings", "", ""},
		{"rvb/ct2/c3", "hold list", "ListHolds", cell, "place RVB/CT2/C3"},
		{"rvb/ct2/c3", "hold list --lot L1", "ListHolds", "", ""},
		{"rvb/ct2/c3", "cell list", "ListCells", tower, "place RVB/CT2/C3"},
		{"rvb/ct2/c3", "cell list /", "ListCells", "sites/-/towers/-", ""},
		{"rvb/ct2/c3", "tower list", "ListTowers", site, "place RVB/CT2/C3"},
		{"rvb/ct2/c3", "joint list", "ListJoints", cell, "place RVB/CT2/C3"},
	} {
		t.Run(tc.at+" "+tc.args, func(t *testing.T) {
			a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
				switch method {
				case "ListJointStates":
					return &pb.ListJointStatesResponse{Joints: []*pb.JointStatus{{Joint: &pb.Joint{Name: joint}}}}, nil
				case "GetJointHistory":
					return &pb.GetJointHistoryResponse{Status: &pb.JointStatus{Joint: &pb.Joint{Name: joint}}}, nil
				}
				return &pb.ListSitesResponse{}, nil
			})
			env := map[string]string{envFolder: t.TempDir()}
			if tc.at != "" {
				if code, _, errOut := run(t, "", env, "at", tc.at); code != exitDone {
					t.Fatal(errOut)
				}
			}
			code, _, errOut := run(t, a.address, env, strings.Fields(tc.args)...)
			request, called := a.requests[tc.method]
			if code != exitDone || !called {
				t.Fatalf("exit %d: %s", code, errOut)
			}
			if got := placeOfRequest(t, tc.method, request); got != tc.want {
				t.Errorf("asked about %q, expected %q", got, tc.want)
			}
			if said := strings.Contains(errOut, "filled in: "+tc.filled); said != (tc.filled != "") {
				t.Errorf("it says %q", errOut)
			}
		})
	}
}

// placeOfRequest is the place that a request of the API names.
func placeOfRequest(t *testing.T, method string, request []byte) string {
	t.Helper()
	m := map[string]proto.Message{
		"ListJointStates": &pb.ListJointStatesRequest{}, "GetJointHistory": &pb.GetJointHistoryRequest{}, "GetProgress": &pb.GetProgressRequest{}, "ListFindings": &pb.ListFindingsRequest{},
		"ListHolds": &pb.ListHoldsRequest{}, "ListCells": &pb.ListCellsRequest{}, "ListTowers": &pb.ListTowersRequest{}, "ListJoints": &pb.ListJointsRequest{},
	}[method]
	if err := proto.Unmarshal(request, m); err != nil {
		t.Fatal(err)
	}
	switch m := m.(type) {
	case interface{ GetPlace() string }:
		return m.GetPlace()
	case interface{ GetJoint() string }:
		return m.GetJoint()
	case interface{ GetParent() string }:
		return m.GetParent()
	}
	t.Fatalf("%s names no place", method)
	return ""
}

// Without a current place, or with one that is too far up, what is expected is said.
func TestQuestionsWithoutAPlace(t *testing.T) {
	env := map[string]string{envFolder: t.TempDir()}
	for _, step := range []struct {
		args, says string
		code       int
	}{
		{"remaining", "expected a place such as RVB/CT2/C3/J014, or a current one: trackctl at PLACE keeps it", exitUsage},
		{"at rvb/ct2/c3", "", exitDone},
		{"history", "expected a joint such as RVB/CT2/C3/J014: the current place, RVB/CT2/C3, is a cell", exitUsage},
	} {
		if code, _, errOut := run(t, "127.0.0.1:9", env, strings.Fields(step.args)...); code != step.code || !strings.Contains(errOut, step.says) {
			t.Errorf("%s: exit %d: %s", step.args, code, errOut)
		}
	}
}

// An argument where none belongs is answered with what was probably meant.
func TestAnArgumentWhereNoneBelongs(t *testing.T) {
	const id = "019cadd3-6bc0-77c9-9e41-58325664ba11"
	for args, says := range map[string]string{
		"undo " + id:                          `trackctl undo takes no arguments, got "` + id + `": it takes back the last entry of this device; the record with an id is taken back with trackctl withdraw ` + id,
		"record list tightenings rvb/ct2":     `trackctl record list tightenings takes no arguments, got "rvb/ct2": it is narrowed to a place with --place rvb/ct2`,
		"record list custody rvb/ct2":         "it is narrowed to a site with --site rvb",
		"record list calibrations T1":         "it is narrowed to a tool with --tool SERIAL",
		"record list movements rvb":           "it is narrowed to a site with --site rvb",
		"movement list rvb":                   "trackctl movement list takes no arguments",
		"record list incidents " + id:         "one record is shown with trackctl record show " + id,
		"record list holds holds/" + id:       "one record is shown with trackctl record show holds/" + id,
		"record list tool-checks rvb/ct2 now": "it is narrowed to a tool with --tool SERIAL",
	} {
		if code, out, errOut := run(t, "127.0.0.1:9", nil, strings.Fields(args)...); code != exitUsage || out != "" || !strings.Contains(errOut, says) {
			t.Errorf("%s: exit %d: %s", args, code, errOut)
		}
	}
}
