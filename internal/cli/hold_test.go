package cli

import (
	"fmt"
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

const (
	heldCell  = "sites/RVB/towers/CT2/cells/C3"
	heldJoint = heldCell + "/joints/J014"
)

func placedAt(id, place string) *pb.Hold {
	return &pb.Hold{Name: "holds/" + id, Action: pb.HoldAction_HOLD_ACTION_PLACED, Place: place, Reason: "wet",
		Entry: &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: 1772432700}, UtcOffsetMinutes: 60, Person: "people/ab"}}
}

// holdsOf answers ListHolds as the server does, with what is at or below the place,
// two holds a page.
func holdsOf(holds ...*pb.Hold) func(request []byte) (proto.Message, error) {
	return func(request []byte) (proto.Message, error) {
		var r pb.ListHoldsRequest
		if err := proto.Unmarshal(request, &r); err != nil {
			return nil, err
		}
		var found []*pb.Hold
		for _, h := range holds {
			if h.GetPlace() == r.GetPlace() || strings.HasPrefix(h.GetPlace(), r.GetPlace()+"/") {
				found = append(found, h)
			}
		}
		from := 0
		if r.GetPageToken() != "" {
			if _, err := fmt.Sscanf(r.GetPageToken(), "at %d", &from); err != nil {
				return nil, status.Error(codes.InvalidArgument, "no such token: "+r.GetPageToken())
			}
		}
		page := &pb.ListHoldsResponse{Holds: found[from:]}
		if len(page.Holds) > 2 {
			page.Holds, page.NextPageToken = page.Holds[:2], fmt.Sprintf("at %d", from+2)
		}
		return page, nil
	}
}

// A cell's hold is its joints' too; that of another joint is not.
func TestHoldListOfAJointHasItsCells(t *testing.T) {
	list := holdsOf(placedAt("1", heldJoint), placedAt("2", heldJoint), placedAt("3", heldJoint), placedAt("4", heldCell+"/joints/J015"), placedAt("5", heldCell+"/joints/J0141"), placedAt("6", heldCell))
	a := newAnswering(t, func(_ string, request []byte) (proto.Message, error) { return list(request) })
	for args, want := range map[string]string{
		"hold list rvb/ct2/c3/j014":           "1 2 3 6",
		"hold list rvb/ct2/c3/j014 --all":     "1 2 3 6",
		"hold list rvb/ct2/c3/j014 --limit 4": "1 2 3 6",
		"hold list rvb/ct2/c3/j014 --limit 1": "1",
		"hold list rvb/ct2/c3/j016":           "6",
		"hold list rvb/ct2/c3":                "1 2 3 4 5 6",
		"hold list rvb/ct2":                   "1 2 3 4 5 6",
		"hold list rvb/ct2/c4":                "",
	} {
		code, out, errOut := run(t, a.address, nil, append(strings.Fields(args), "-o", "csv")...)
		var ids []string
		for _, line := range strings.Split(strings.TrimSpace(out), "\n")[1:] {
			id, _, _ := strings.Cut(line, ",")
			ids = append(ids, id)
		}
		if got := strings.Join(ids, " "); code != 0 || got != want {
			t.Errorf("%s: exit %d, %q %s; want %q", args, code, got, errOut, want)
		}
	}
}

// One decision and one reason for all open holds of a joint, each a record of its
// own; its cell's is left, and said so.
func TestHoldReleaseOfAJoint(t *testing.T) {
	released := placedAt("0", heldJoint)
	released.ReleasedBy = "holds/x"
	list := holdsOf(released, placedAt("1", heldJoint), placedAt("2", heldJoint), placedAt("3", heldCell), placedAt("4", heldCell+"/joints/J015"))
	outcomes := []*pb.Outcome{{State: pb.Outcome_STATE_TAKEN}, {State: pb.Outcome_STATE_TAKEN}}
	a := newAnswering(t, func(method string, request []byte) (proto.Message, error) {
		if method == "ListHolds" {
			return list(request)
		}
		return &pb.RecordHoldsResponse{Outcomes: outcomes}, nil
	})
	args := []string{"hold", "release", "rvb/ct2/c3/j014", "--decision", "rework", "--reason", "sealed again", "--person", "cd"}
	code, out, errOut := run(t, a.address, nil, args...)
	want := "kept: released: RVB/CT2/C3/J014, rework, sealed again, hold 1  (id " + testID.String() + ")\n" +
		"kept: released: RVB/CT2/C3/J014, rework, sealed again, hold 2  (id " + testID.String() + ")\n" +
		"RVB/CT2/C3 is on hold since 2026-03-02 07:25 +01:00: ab: wet  (hold 3)\n"
	if code != 0 || out != want {
		t.Errorf("exit %d\n%s%s\nwant\n%s", code, out, errOut, want)
	}
	var got pb.RecordHoldsRequest
	if err := proto.Unmarshal(a.requests["RecordHolds"], &got); err != nil {
		t.Fatal(err)
	}
	release := func(of string) *pb.Hold {
		return &pb.Hold{Name: "holds/" + testID.String(), Action: pb.HoldAction_HOLD_ACTION_RELEASED, Place: heldJoint, Releases: "holds/" + of,
			Decision: pb.Decision_DECISION_REWORK, Reason: "sealed again"}
	}
	if d := cmp.Diff(&pb.RecordHoldsRequest{Holds: []*pb.Hold{release("1"), release("2")}}, &got, protocmp.Transform(), protocmp.IgnoreFields(&pb.Hold{}, "entry")); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	for _, h := range got.GetHolds() {
		if h.GetEntry().GetPerson() != "people/cd" {
			t.Errorf("by %v", h.GetEntry())
		}
	}

	_, out, _ = run(t, a.address, nil, append(args, "-o", "json")...)
	if strings.Count(out, `{"record": "hold", "id": "`+testID.String()+`", "state": "taken", "by_data_of": null, "filled_in": {}, "findings": []}`) != 2 {
		t.Errorf("got %s", out)
	}

	// One that was refused is told with those that were not.
	outcomes[0] = &pb.Outcome{State: pb.Outcome_STATE_REFUSED, Refusal: &pb.Refusal{Reason: pb.ErrorReason_ERROR_REASON_PERMISSION_DENIED, Message: "cd may not"}}
	code, out, errOut = run(t, a.address, nil, args...)
	if code != exitDenied || strings.Count(out, "kept: ") != 1 || errOut != "trackctl: cd may not\n  1 release refused of 2 holds\n" {
		t.Errorf("exit %d\n%s%s", code, out, errOut)
	}
	code, out, _ = run(t, a.address, nil, append(args, "-o", "json")...)
	if code != exitDenied || strings.Count(out, `"state": "taken"`) != 1 {
		t.Errorf("exit %d: %s", code, out)
	}
}

func TestHoldReleaseOfAJointThatCannotBe(t *testing.T) {
	list := holdsOf(placedAt("3", heldCell))
	a := newAnswering(t, func(_ string, request []byte) (proto.Message, error) { return list(request) })
	for _, tc := range []struct {
		args string
		code int
		want string
	}{
		{"hold release rvb/ct2/c3/j014 --decision rework --reason r", exitUnknown, "trackctl: RVB/CT2/C3/J014 has no open hold of its own\n  RVB/CT2/C3 is on hold since 2026-03-02 07:25 +01:00: ab: wet  (hold 3)\n"},
		{"hold release rvb/ct2/c3 --decision rework --reason r", exitUsage, `"rvb/ct2/c3" is a cell; expected a joint`},
		{"hold release rvb/ct2/c3/j014 --decision rework", exitUsage, "needs --reason"},
		{"hold release rvb/ct2/c3/j014 --decision rework --reason r --id 019cad6f-a0e0-7d33-b5f5-d520a5bbb8a0", exitUsage, "--id names one record"},
		{"hold release holds/7 --decision rework --reason r", exitUsage, "HOLD: expected the id of one of the holds"},
	} {
		code, out, errOut := run(t, a.address, nil, append(strings.Fields(tc.args), "--person", "cd")...)
		if code != tc.code || out != "" || !strings.Contains(errOut, tc.want) {
			t.Errorf("%s: exit %d, %q %q; want %d %q", tc.args, code, out, errOut, tc.code, tc.want)
		}
	}
	if len(a.requests["RecordHolds"]) > 0 {
		t.Error("something was released")
	}
}

// A lot or a tool is held everywhere, whichever site's chain the hold stands in.
func TestHoldOfALotSaysThatItCountsEverywhere(t *testing.T) {
	a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
		if method == "ListHolds" {
			h := placedAt("1", "")
			h.Lot, h.Site = "lots/L1", "sites/RVB"
			return &pb.ListHoldsResponse{Holds: []*pb.Hold{h}}, nil
		}
		return &pb.RecordHoldsResponse{Outcomes: []*pb.Outcome{{State: pb.Outcome_STATE_TAKEN}}}, nil
	})
	for args, want := range map[string]string{
		"hold place --lot L1 --site rvb":  "\nlot L1 is on hold at every site, not at RVB alone\n",
		"hold place --tool T1 --site rvb": "\ntool T1 is on hold at every site, not at RVB alone\n",
		"hold list --lot L1":              "lot L1 is on hold at every site since 2026-03-02 07:25 +01:00: ab: wet  (hold 1)\n",
	} {
		words := strings.Fields(args)
		if words[1] == "place" {
			words = append(words, "--reason", "galls", "--person", "ab")
		}
		if code, out, errOut := run(t, a.address, nil, words...); code != 0 || !strings.HasSuffix(out, want) {
			t.Errorf("%s: exit %d, %q %q; want %q", args, code, out, errOut, want)
		}
	}
	if _, out, _ := run(t, a.address, nil, "hold", "place", "rvb/ct2/c3", "--reason", "wet", "--person", "ab"); strings.Contains(out, "every site") {
		t.Errorf("a cell is held where it stands: %q", out)
	}
}

// Tables of records end with the person and the id, by which a record is shown,
// corrected or withdrawn.
func TestTablesOfRecordsEndWithTheID(t *testing.T) {
	entry := &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: 1772432700}, Person: "people/ab"}
	answers := map[string]proto.Message{
		"tightenings":  &pb.ListTighteningsResponse{Tightenings: []*pb.Tightening{{Name: "tightenings/" + testID.String(), Joint: heldJoint, Entry: entry}}},
		"incidents":    &pb.ListIncidentsResponse{Incidents: []*pb.Incident{{Name: "incidents/" + testID.String(), Joint: heldJoint, Entry: entry}}},
		"sealings":     &pb.ListSealingsResponse{Sealings: []*pb.Sealing{{Name: "sealings/" + testID.String(), Joint: heldJoint, Entry: entry}}},
		"inspections":  &pb.ListInspectionsResponse{Inspections: []*pb.Inspection{{Name: "inspections/" + testID.String(), Joint: heldJoint, Entry: entry}}},
		"calibrations": &pb.ListCalibrationsResponse{Calibrations: []*pb.Calibration{{Name: "calibrations/" + testID.String(), Points: []*pb.CalibrationPoint{{TargetNewtonMetres: 8}}, Entry: entry}}},
		"movements":    &pb.ListLotMovementsResponse{LotMovements: []*pb.LotMovement{{Name: "lotMovements/" + testID.String(), Entry: entry}}},
		"custody":      &pb.ListCustodyChangesResponse{CustodyChanges: []*pb.CustodyChange{{Name: "custodyChanges/" + testID.String(), Entry: entry}}},
		"holds":        &pb.ListHoldsResponse{Holds: []*pb.Hold{{Name: "holds/" + testID.String(), Place: heldJoint, Entry: entry}}},
		"dispositions": &pb.ListDispositionsResponse{Dispositions: []*pb.Disposition{{Name: "dispositions/" + testID.String(), Entry: entry}}},
		"sign-offs":    &pb.ListSignOffsResponse{SignOffs: []*pb.SignOff{{Name: "signOffs/" + testID.String(), Place: heldJoint, Entry: entry}}},
		"corrections":  &pb.ListCorrectionsResponse{Corrections: []*pb.Correction{{Name: "corrections/" + testID.String(), Entry: entry}}},
	}
	for kind, answer := range answers {
		a := newAnswering(t, func(string, []byte) (proto.Message, error) { return answer, nil })
		code, out, errOut := run(t, a.address, nil, "record", "list", kind)
		lines := strings.Split(out, "\n")
		if code != 0 || len(lines) < 2 {
			t.Errorf("%s: exit %d, %s", kind, code, errOut)
			continue
		}
		head, row := strings.Fields(lines[0]), strings.Fields(lines[1])
		at := len([]rune(lines[0][:max(strings.Index(lines[0], "PERSON"), 0)]))
		if head[len(head)-1] != "ID" || row[len(row)-1] != testID.String() || strings.Count(lines[0], "PERSON") != 1 || !strings.HasPrefix(string([]rune(lines[1])[at:]), "ab ") {
			t.Errorf("%s:\n%s", kind, out)
		}
	}
	// One record, line by line; a calibration is a table of its points.
	for _, r := range []proto.Message{answers["sealings"].(*pb.ListSealingsResponse).Sealings[0], answers["calibrations"].(*pb.ListCalibrationsResponse).Calibrations[0]} {
		a := newAnswering(t, func(string, []byte) (proto.Message, error) { return r, nil })
		_, out, _ := run(t, a.address, nil, "record", "show", r.(record).GetName())
		if !strings.Contains(out, testID.String()) || !strings.Contains(strings.ToLower(out), "person") || !strings.Contains(out, "ab") {
			t.Errorf("got\n%s", out)
		}
	}
}
