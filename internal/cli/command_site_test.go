package cli

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

// What a person types for the records of the site, and for consumables, becomes
// these requests.
func TestSiteRequests(t *testing.T) {
	at := &timestamppb.Timestamp{Seconds: 1772432700} // 2026-03-02T07:25:00+01:00, from date(1)
	entry := &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: at.Seconds, Nanos: 5e8}, UtcOffsetMinutes: 60, Person: "people/ab1"}
	const joint, some = "sites/RVB/towers/CT2/cells/C3/joints/J014", "019cad6f-a0e0-7d33-b5f5-d520a5bbb8a0"
	id := testID.String()
	for _, tc := range []struct {
		args      string
		method    string
		got, want proto.Message
	}{
		// 40 F = (40 - 32)/1.8 C and 1 in = 25.4 mm, both exact (NIST SP 811, 2008).
		{"seal rvb/ct2/c3/j014 --sealant strip --batch SE-05 --width 1in --solvent acetone --cleaned-at 2026-03-02T07:25:00+01:00 --air -1C --surface 40F --humidity 62.5% --splice mid-run --flange-straight=false", "RecordSealings", &pb.RecordSealingsRequest{},
			&pb.RecordSealingsRequest{Sealings: []*pb.Sealing{{Name: "sealings/" + id, Joint: joint, Sealant: "strip", Batch: "SE-05", WidthMillimetres: 25.4, Solvent: "acetone", CleanTime: at,
				AirCelsius: number(-1), SurfaceCelsius: number(8 / 1.8), HumidityPercent: number(62.5), Splice: pb.Splice_SPLICE_MID_RUN, FlangeStraight: proto.Bool(false), Entry: entry}}}},
		{"seal rvb/ct2/c3/j014 --sealant strip --flange-straight", "RecordSealings", &pb.RecordSealingsRequest{},
			&pb.RecordSealingsRequest{Sealings: []*pb.Sealing{{Name: "sealings/" + id, Joint: joint, Sealant: "strip", FlangeStraight: proto.Bool(true), Entry: entry}}}},
		{"inspect torque-audit rvb/ct2/c3/j014 --result pass --readings 30.7;33.4N.m --tool T1 --plan P", "RecordInspections", &pb.RecordInspectionsRequest{},
			&pb.RecordInspectionsRequest{Inspections: []*pb.Inspection{{Name: "inspections/" + id, Joint: joint, Kind: pb.InspectionKind_INSPECTION_KIND_TORQUE_AUDIT, Sample: 2, Plan: "P",
				ReadingsNewtonMetres: []float64{30.7, 33.4}, Result: pb.InspectionResult_INSPECTION_RESULT_PASS, Tool: "tools/T1", Entry: entry}}}},
		{"inspect Leak_Test rvb/ct2/c3/j014 --result fail --sample 3", "RecordInspections", &pb.RecordInspectionsRequest{},
			&pb.RecordInspectionsRequest{Inspections: []*pb.Inspection{{Name: "inspections/" + id, Joint: joint, Kind: pb.InspectionKind_INSPECTION_KIND_LEAK_TEST, Sample: 3,
				Result: pb.InspectionResult_INSPECTION_RESULT_FAIL, Entry: entry}}}},
		{"custody issued T1 --site rvb --holder CD", "RecordCustodyChanges", &pb.RecordCustodyChangesRequest{},
			&pb.RecordCustodyChangesRequest{CustodyChanges: []*pb.CustodyChange{{Name: "custodyChanges/" + id, Tool: "tools/T1", Kind: pb.CustodyKind_CUSTODY_KIND_ISSUED, Site: "sites/RVB", Holder: "people/cd", Entry: entry}}}},
		{"hold place rvb/ct2/c3 --reason wet", "RecordHolds", &pb.RecordHoldsRequest{},
			&pb.RecordHoldsRequest{Holds: []*pb.Hold{{Name: "holds/" + id, Action: pb.HoldAction_HOLD_ACTION_PLACED, Place: "sites/RVB/towers/CT2/cells/C3", Reason: "wet", Entry: entry}}}},
		{"hold place --lot L1 --site rvb --reason galls", "RecordHolds", &pb.RecordHoldsRequest{},
			&pb.RecordHoldsRequest{Holds: []*pb.Hold{{Name: "holds/" + id, Action: pb.HoldAction_HOLD_ACTION_PLACED, Lot: "lots/L1", Site: "sites/RVB", Reason: "galls", Entry: entry}}}},
		{"decide " + some + " use-as-is --reason r", "RecordDispositions", &pb.RecordDispositionsRequest{},
			&pb.RecordDispositionsRequest{Dispositions: []*pb.Disposition{{Name: "dispositions/" + id, Incident: "incidents/" + some, Decision: pb.Decision_DECISION_USE_AS_IS, Reason: "r", Entry: entry}}}},
		{"sign-off rvb/ct2 --point witness-point --title water", "RecordSignOffs", &pb.RecordSignOffsRequest{},
			&pb.RecordSignOffsRequest{SignOffs: []*pb.SignOff{{Name: "signOffs/" + id, Place: "sites/RVB/towers/CT2", Point: pb.SignOffPoint_SIGN_OFF_POINT_WITNESS_POINT, Title: "water", Entry: entry}}}},
		{"batch add SE-05 --kind strip-sealant --product strip --expires 2026-05-15 --min-temperature 40F", "CreateBatch", &pb.CreateBatchRequest{},
			&pb.CreateBatchRequest{BatchId: "SE-05", Batch: &pb.Batch{Kind: pb.ConsumableKind_CONSUMABLE_KIND_STRIP_SEALANT, Product: "strip", ExpireDate: "2026-05-15", MinimumCelsius: number(8 / 1.8)}}},
		{"substitution set S1 --thread M12 --torque 70N.m --needs washers", "UpdateSubstitution", &pb.UpdateSubstitutionRequest{},
			&pb.UpdateSubstitutionRequest{Substitution: &pb.Substitution{Name: "substitutions/S1", Permitted: &pb.Fastener{Thread: "M12"}, TorqueNewtonMetres: 70, Needs: "washers"},
				UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"permitted.thread", "needs", "torque_newton_metres"}}}},
		{"record list sealings --place rvb --by-person ab1 --limit 5", "ListSealings", &pb.ListSealingsRequest{}, &pb.ListSealingsRequest{Place: "sites/RVB", Person: "people/ab1", PageSize: 5}},
		{"record list custody --site rvb --tool T1", "ListCustodyChanges", &pb.ListCustodyChangesRequest{}, &pb.ListCustodyChangesRequest{Site: "sites/RVB", Tool: "tools/T1", PageSize: 1000}},
		{"record list inspections --since 2026-03-02T07:25:00+01:00", "ListInspections", &pb.ListInspectionsRequest{}, &pb.ListInspectionsRequest{StartTime: at, PageSize: 1000}},
		{"record list holds --place rvb/ct2", "ListHolds", &pb.ListHoldsRequest{}, &pb.ListHoldsRequest{Place: "sites/RVB/towers/CT2", PageSize: 1000}},
		{"record list dispositions", "ListDispositions", &pb.ListDispositionsRequest{}, &pb.ListDispositionsRequest{PageSize: 1000}},
		{"record list sign-offs --until 2026-03-02T07:25:00+01:00", "ListSignOffs", &pb.ListSignOffsRequest{}, &pb.ListSignOffsRequest{EndTime: at, PageSize: 1000}},
		{"record list corrections --site rvb", "ListCorrections", &pb.ListCorrectionsRequest{}, &pb.ListCorrectionsRequest{Site: "sites/RVB", PageSize: 1000}},
		{"record list movements --lot L1", "ListLotMovements", &pb.ListLotMovementsRequest{}, &pb.ListLotMovementsRequest{Lot: "lots/L1", PageSize: 1000}},
		{"findings rvb/ct2 --rule Torque_Window --severity hold --limit 3", "ListFindings", &pb.ListFindingsRequest{},
			&pb.ListFindingsRequest{Place: "sites/RVB/towers/CT2", Rule: "torque-window", Severity: pb.Severity_SEVERITY_HOLD, PageSize: 3}},
		{"findings --count", "CountFindings", &pb.CountFindingsRequest{}, &pb.CountFindingsRequest{}},
		{"remaining rvb/ct2/c3", "ListJointStates", &pb.ListJointStatesRequest{}, &pb.ListJointStatesRequest{Place: "sites/RVB/towers/CT2/cells/C3", RemainingOnly: true, PageSize: 1000}},
		{"lot where L1", "FindLot", &pb.FindLotRequest{}, &pb.FindLotRequest{Lot: "lots/L1"}},
	} {
		t.Run(tc.args, func(t *testing.T) {
			a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
				switch {
				case strings.HasPrefix(method, "Record"):
					return taken(), nil
				case method == "ListJointStates":
					// Of none it would be asked again, whether there are any at all.
					return &pb.ListJointStatesResponse{Joints: []*pb.JointStatus{{Joint: &pb.Joint{Name: joint}}}}, nil
				}
				return &pb.ListSitesResponse{}, nil // empty: every other answer may be
			})
			code, _, errOut := run(t, a.address, map[string]string{envPerson: "ab1"}, strings.Fields(tc.args)...)
			if code != 0 {
				t.Fatalf("exit %d: %s", code, errOut)
			}
			request, called := a.requests[tc.method]
			if err := proto.Unmarshal(request, tc.got); err != nil || !called {
				t.Fatalf("%s was not called (%v)", tc.method, err)
			}
			if d := cmp.Diff(tc.want, tc.got, protocmp.Transform()); d != "" {
				t.Errorf("(-want +got):\n%s", d)
			}
		})
	}
}

// A release is of what its hold is of.
func TestReleaseNamesWhatWasHeld(t *testing.T) {
	a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
		if method == "GetHold" {
			return &pb.Hold{Name: "holds/x", Action: pb.HoldAction_HOLD_ACTION_PLACED, Lot: "lots/L1", Site: "sites/RVB", Reason: "galls", Rule: "lot-held"}, nil
		}
		return taken(), nil
	})
	const hold = "019cad6f-a0e0-7d33-b5f5-d520a5bbb8a0"
	code, out, errOut := run(t, a.address, nil, "hold", "release", hold, "--decision", "scrap", "--reason", "thrown away", "--person", "ab")
	if want := "kept: released: lot L1, scrap, thrown away  (id " + testID.String() + ")\n"; code != 0 || out != want {
		t.Fatalf("exit %d: %q %q", code, out, errOut)
	}
	var got pb.RecordHoldsRequest
	if err := proto.Unmarshal(a.requests["RecordHolds"], &got); err != nil {
		t.Fatal(err)
	}
	got.Holds[0].Entry = nil
	want := &pb.RecordHoldsRequest{Holds: []*pb.Hold{{Name: "holds/" + testID.String(), Action: pb.HoldAction_HOLD_ACTION_RELEASED, Lot: "lots/L1", Site: "sites/RVB",
		Releases: "holds/" + hold, Decision: pb.Decision_DECISION_SCRAP, Reason: "thrown away"}}}
	if d := cmp.Diff(want, &got, protocmp.Transform()); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// The findings come with the answer, the worst first, and a hold says who may end
// it.
func TestFindingsAreToldAtOnce(t *testing.T) {
	outcome := &pb.Outcome{State: pb.Outcome_STATE_TAKEN, Findings: []*pb.Finding{
		{Rule: "clock", Severity: pb.Severity_SEVERITY_WARN, Message: "It is late."},
		{Rule: "torque-window", Severity: pb.Severity_SEVERITY_HOLD, Message: "40 N.m is too much.", Figure: number(40), Limit: number(35.2), Unit: "N.m", Source: "SS-M10, revision 2"},
	}}
	a := newAnswering(t, func(string, []byte) (proto.Message, error) {
		return &pb.RecordTighteningsResponse{Outcomes: []*pb.Outcome{outcome}}, nil
	})
	args := []string{"tighten", "rvb/ct2/c3/j014", "10", "--lot", "L1", "--treatment", "none", "--person", "ab"}
	code, out, _ := run(t, a.address, nil, args...)
	want := "kept: 10 fasteners, first pass, RVB/CT2/C3/J014, lot L1  (id " + testID.String() + `)
HOLD  40 N.m is too much.  (torque-window; limit 35.2 N.m; source: SS-M10, revision 2)
WARN  It is late.  (clock)
RVB/CT2/C3/J014 is on hold: a site lead, quality engineer, regional manager or administrator may
  release it, see trackctl hold list RVB/CT2/C3/J014
`
	if code != 0 || out != want {
		t.Errorf("exit %d, got\n%s\nwant\n%s", code, out, want)
	}
	_, out, _ = run(t, a.address, nil, append(args, "-o", "json")...)
	wantJSON := `{
  "outcomes": [
    {"record": "tightening", "id": "` + testID.String() + `", "state": "taken", "by_data_of": null, "filled_in": {}, "findings": [{"severity": "hold", "rule": "torque-window", "message": "40 N.m is too much.", "figure": 40, "limit": 35.2, "unit": "N.m", "source": "SS-M10, revision 2"}, {"severity": "warn", "rule": "clock", "message": "It is late.", "figure": null, "limit": null, "unit": null, "source": null}]}
  ]
}
`
	if out != wantJSON {
		t.Errorf("got\n%s\nwant\n%s", out, wantJSON)
	}
	// Of a record that is known already, the hold may have been released since.
	outcome.State = pb.Outcome_STATE_ALREADY_KNOWN
	_, out, _ = run(t, a.address, nil, args...)
	if !strings.Contains(out, "RVB/CT2/C3/J014 was put on hold then") {
		t.Errorf("got %s", out)
	}
}

func TestHoldListShowsWhatIsOpen(t *testing.T) {
	hold := func(id, releasedBy, correctedBy string, action pb.HoldAction) *pb.Hold {
		return &pb.Hold{Name: "holds/" + id, Action: action, Place: "sites/RVB/towers/CT2/cells/C3", Reason: "wet", ReleasedBy: releasedBy,
			Entry: &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: 1772432700}, UtcOffsetMinutes: 60, Person: "people/ab", CorrectedBy: correctedBy}}
	}
	placed := pb.HoldAction_HOLD_ACTION_PLACED
	a := newAnswering(t, func(string, []byte) (proto.Message, error) {
		return &pb.ListHoldsResponse{Holds: []*pb.Hold{hold("1", "", "", placed), hold("2", "holds/3", "", placed),
			hold("3", "", "", pb.HoldAction_HOLD_ACTION_RELEASED), hold("4", "", "corrections/5", placed)}}, nil
	})
	_, out, _ := run(t, a.address, nil, "hold", "list", "rvb")
	if want := "RVB/CT2/C3 is on hold since 2026-03-02 07:25 +01:00: ab: wet  (hold 1)\n"; out != want {
		t.Errorf("got %q, want %q", out, want)
	}
	_, out, _ = run(t, a.address, nil, "hold", "list", "--all", "-o", "csv")
	if n := strings.Count(out, "\n"); n != 5 || strings.Count(out, ",placed,true,") != 1 {
		t.Errorf("got %s", out)
	}
	_, out, _ = run(t, a.address, nil, "hold", "list", "--all")
	for _, want := range []string{"RVB/CT2/C3 (no longer)", "RVB/CT2/C3 (release)", "corrected"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
}
