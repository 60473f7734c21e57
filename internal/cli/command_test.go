package cli

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

func number(v float64) *float64 { return &v }

// taken answers a batch of one record as taken.
func taken() proto.Message {
	return &pb.RecordTighteningsResponse{Outcomes: []*pb.Outcome{{State: pb.Outcome_STATE_TAKEN}}}
}

// What a person types becomes these requests. Every answer that keeps records has
// the same shape, so one serves for all.
func TestRequests(t *testing.T) {
	at := &timestamppb.Timestamp{Seconds: 1772432700} // 2026-03-02T07:25:00+01:00, from date(1)
	now := &timestamppb.Timestamp{Seconds: at.Seconds, Nanos: 5e8}
	entry := &pb.Entry{OccurTime: now, UtcOffsetMinutes: 60, Person: "people/ab1"}
	noPerson := &pb.Entry{OccurTime: now, UtcOffsetMinutes: 60}
	const joint = "sites/RVB/towers/CT2/cells/C3/joints/J014"
	id := testID.String()
	for _, tc := range []struct {
		args   []string
		method string
		got    proto.Message
		want   proto.Message
	}{
		{[]string{"tighten", "rvb/ct2/c3/j014", "10", "--lot", "L1", "--treatment", "Anti Seize", "--person", "AB1"}, "RecordTightenings", &pb.RecordTighteningsRequest{},
			&pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{{Name: "tightenings/" + id, Joint: joint, Lot: "lots/L1",
				Treatment: pb.Treatment_TREATMENT_ANTI_SEIZE, Fasteners: 10, Pass: pb.Pass_PASS_FIRST, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND, Entry: entry}}}},
		// 24 lbf.ft = 24 x 1.3558179483314004 N.m (NIST SP 811, 2008, appendix B.8).
		{[]string{"tighten", joint, "2", "--lot", "lots/L1", "--treatment", "none", "--tool", "T1", "--torque", "24 lbf.ft", "--pass", "final", "--method", "impact",
			"--batch", "B", "--note", "n", "--device", "d", "--id", "019cad6f-a0e0-7d33-b5f5-d520a5bbb8a0", "--at", "2026-03-02T06:25:00-05:30", "--person", "people/ab1"}, "RecordTightenings", &pb.RecordTighteningsRequest{},
			&pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{{Name: "tightenings/019cad6f-a0e0-7d33-b5f5-d520a5bbb8a0", Joint: joint, Lot: "lots/L1",
				Treatment: pb.Treatment_TREATMENT_NONE, CompoundBatch: "B", Tool: "tools/T1", TorqueNewtonMetres: number(32.53963075995361), TorqueAsTyped: "24 lbf.ft", Fasteners: 2,
				Pass: pb.Pass_PASS_FINAL, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_IMPACT,
				Entry: &pb.Entry{OccurTime: &timestamppb.Timestamp{Seconds: at.Seconds + 5*3600 + 1800}, UtcOffsetMinutes: -330, Person: "people/ab1", Device: "d", Note: "n"}}}}},
		{[]string{"incident", "galling", "rvb/ct2/c3/j014", "--lot", "L1", "--treatment", "none", "--person", "ab1"}, "RecordIncidents", &pb.RecordIncidentsRequest{},
			&pb.RecordIncidentsRequest{Incidents: []*pb.Incident{{Name: "incidents/" + id, Kind: pb.IncidentKind_INCIDENT_KIND_GALLING, Joint: joint, Fasteners: 1, Lot: "lots/L1",
				Treatment: pb.Treatment_TREATMENT_NONE, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND, Entry: entry}}}},
		{[]string{"incident", "dropped-tool", "rvb", "--tool", "T1", "--action", "tagged", "--noticed", "at once", "--person", "ab1"}, "RecordIncidents", &pb.RecordIncidentsRequest{},
			&pb.RecordIncidentsRequest{Incidents: []*pb.Incident{{Name: "incidents/" + id, Kind: pb.IncidentKind_INCIDENT_KIND_DROPPED_TOOL, Site: "sites/RVB", Tool: "tools/T1",
				Action: "tagged", Noticed: "at once", Entry: entry}}}},
		{[]string{"movement", "add", "received", "L1", "4800", "--site", "rvb", "--reference", "DN", "--by", "stores"}, "RecordLotMovements", &pb.RecordLotMovementsRequest{},
			&pb.RecordLotMovementsRequest{LotMovements: []*pb.LotMovement{{Name: "lotMovements/" + id, Lot: "lots/L1", Site: "sites/RVB", Kind: pb.MovementKind_MOVEMENT_KIND_RECEIVED,
				Quantity: 4800, Reference: "DN", HandledBy: "stores", Entry: noPerson}}}},
		{[]string{"calibration", "add", "T1", "--as-found", "8: 8.1;8.2", "--as-left", "24:24.01;24.02 ± 0.288", "--document", "calibration-certificate", "--rule", "guard-band", "--stated-verdict", "fail", "--air", "68 F", "--humidity", "45", "--device-uncertainty", "0.5", "--coverage-factor", "2", "--laboratory", "Lab", "--certificate", "C1"}, "RecordCalibrations", &pb.RecordCalibrationsRequest{},
			&pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{{Name: "calibrations/" + id, Tool: "tools/T1", Laboratory: "Lab", Certificate: "C1", Entry: noPerson,
				Document: pb.CalibrationDocument_CALIBRATION_DOCUMENT_CALIBRATION_CERTIFICATE, DecisionRule: pb.DecisionRule_DECISION_RULE_GUARD_BAND,
				StatedVerdict: pb.Verdict_VERDICT_FAIL, AirCelsius: number(20), HumidityPercent: number(45), DeviceUncertaintyPercent: 0.5,
				Points: []*pb.CalibrationPoint{
					{Phase: pb.CalibrationPhase_CALIBRATION_PHASE_AS_FOUND, TargetNewtonMetres: 8, ReadingsNewtonMetres: []float64{8.1, 8.2}, CoverageFactor: 2},
					{Phase: pb.CalibrationPhase_CALIBRATION_PHASE_AS_LEFT, TargetNewtonMetres: 24, ReadingsNewtonMetres: []float64{24.01, 24.02}, ExpandedUncertaintyNewtonMetres: 0.288, CoverageFactor: 2},
				}}}}},
		{[]string{"tool", "check", "T1", "proof-test", "fail", "--site", "rvb", "--certificate", "PT-1", "--person", "ab1"}, "RecordToolChecks", &pb.RecordToolChecksRequest{},
			&pb.RecordToolChecksRequest{ToolChecks: []*pb.ToolCheck{{Name: "toolChecks/" + id, Tool: "tools/T1", Site: "sites/RVB", Action: pb.ToolAction_TOOL_ACTION_PROOF_TEST,
				Result: pb.InspectionResult_INSPECTION_RESULT_FAIL, Certificate: "PT-1", Entry: entry}}}},
		// 1 lb = 0.45359237 kg, exact (NIST SP 811, 2008).
		{[]string{"tool", "set", "H1", "--rated-load", "3000 lb", "--policy", "periodic-inspection=12mo,after-event", "--policy", "pre-use-check=each-shift"}, "UpdateTool", &pb.UpdateToolRequest{},
			&pb.UpdateToolRequest{Tool: &pb.Tool{Name: "tools/H1", RatedLoadKilograms: 1360.77711, DueAfterEvent: proto.Bool(true), Policies: []*pb.ToolPolicy{
				{Action: pb.ToolAction_TOOL_ACTION_PERIODIC_INSPECTION, Months: 12, AfterEvent: true}, {Action: pb.ToolAction_TOOL_ACTION_PRE_USE_CHECK, EachShift: true},
			}}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"rated_load_kilograms", "policies"}}}},
		{[]string{"site", "add", "rvb", "--name", "N", "--time-zone", "Europe/Dublin", "--units", "us-customary"}, "CreateSite", &pb.CreateSiteRequest{},
			&pb.CreateSiteRequest{SiteId: "RVB", Site: &pb.Site{DisplayName: "N", TimeZone: "Europe/Dublin", UnitPreference: pb.UnitPreference_UNIT_PREFERENCE_US_CUSTOMARY}}},
		{[]string{"lot", "set", "L1", "--state", "quarantined"}, "UpdateLot", &pb.UpdateLotRequest{},
			&pb.UpdateLotRequest{Lot: &pb.Lot{Name: "lots/L1", Fastener: &pb.Fastener{}, State: pb.LotState_LOT_STATE_QUARANTINED}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"state"}}}},
		{[]string{"joint", "add", "rvb/ct2/c3/j014", "--kind", "structural", "--spec", "S1", "--fasteners", "24", "--critical"}, "CreateJoint", &pb.CreateJointRequest{},
			&pb.CreateJointRequest{Parent: "sites/RVB/towers/CT2/cells/C3", JointId: "J014", Joint: &pb.Joint{Kind: pb.JointKind_JOINT_KIND_STRUCTURAL, Critical: true, Specification: "specifications/S1", Fasteners: 24}}},
		{[]string{"joint", "set", "rvb/ct2/c3/j014", "--part-a", "x", "--critical=false"}, "UpdateJoint", &pb.UpdateJointRequest{},
			&pb.UpdateJointRequest{Joint: &pb.Joint{Name: joint, PartA: "x"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"critical", "part_a"}}}},
		{[]string{"tool", "add", "T1", "--kind", "torque-wrench", "--site", "rvb", "--min", "8 N.m", "--max", "40 N.m", "--interval-months", "12", "--due-after-event=false"}, "CreateTool", &pb.CreateToolRequest{},
			&pb.CreateToolRequest{ToolId: "T1", Tool: &pb.Tool{Kind: pb.ToolKind_TOOL_KIND_TORQUE_WRENCH, HomeSite: "sites/RVB", MinimumNewtonMetres: 8, MaximumNewtonMetres: 40, IntervalMonths: 12, DueAfterEvent: proto.Bool(false)}}},
		// 40 F = (40 - 32)/1.8 C and 1 in = 25.4 mm, both exact (NIST SP 811, 2008).
		{[]string{"spec", "add", "S1", "--thread", "M10", "--material", "304", "--treatment", "none", "--locking", "none", "--torque", "32 N.m", "--torque-tolerance-pct", "10", "--torque-basis", "dry", "--min-surface", "40 F", "--seal-width", "1 in"}, "CreateSpecification", &pb.CreateSpecificationRequest{},
			&pb.CreateSpecificationRequest{SpecificationId: "S1", Specification: &pb.Specification{Fastener: &pb.Fastener{Thread: "M10", Material: pb.Material_MATERIAL_304},
				Treatment: pb.Treatment_TREATMENT_NONE, LockingMethod: pb.LockingMethod_LOCKING_METHOD_NONE, TorqueNewtonMetres: 32, TorqueTolerancePercent: 10,
				TorqueBasis: pb.TorqueBasis_TORQUE_BASIS_DRY, SealWidthMillimetres: 25.4, MinimumSurfaceCelsius: number(8 / 1.8)}}},
		{[]string{"person", "add", "AB1", "--name", "A B", "--site", "rvb", "--role", "crib", "--role", "technician", "--qualification", "bolting=2027-01-31", "--qualification", "sealing"}, "CreatePerson", &pb.CreatePersonRequest{},
			&pb.CreatePersonRequest{PersonId: "ab1", Person: &pb.Person{DisplayName: "A B", HomeSite: "sites/RVB", Roles: []pb.Role{pb.Role_ROLE_CRIB, pb.Role_ROLE_TECHNICIAN},
				Qualifications: []*pb.Qualification{{Task: "bolting", ExpireDate: "2027-01-31"}, {Task: "sealing"}}}}},
		{[]string{"joint", "list", "rvb/ct2", "--kind", "seam", "--limit", "7"}, "ListJoints", &pb.ListJointsRequest{},
			&pb.ListJointsRequest{Parent: "sites/RVB/towers/CT2/cells/-", Kind: pb.JointKind_JOINT_KIND_SEAM, PageSize: 7}},
		{[]string{"tower", "list"}, "ListTowers", &pb.ListTowersRequest{}, &pb.ListTowersRequest{Parent: "sites/-", PageSize: 1000}},
		{[]string{"record", "list", "incidents", "--place", "rvb/ct2", "--lot", "L1", "--by-person", "AB1", "--since", "2026-03-02T07:25:00+01:00", "--kind", "galling"}, "ListIncidents", &pb.ListIncidentsRequest{},
			&pb.ListIncidentsRequest{Place: "sites/RVB/towers/CT2", Lot: "lots/L1", Person: "people/ab1", StartTime: at, Kind: pb.IncidentKind_INCIDENT_KIND_GALLING, PageSize: 1000}},
		{[]string{"rate", "--kind", "galling,seized", "--kind", "galling", "--by", "lot,driving_method", "--site", "rvb", "--treatment", "anti seize", "--from", "2026-03-01", "--to", "2026-03-31", "--interval", "jeffreys", "--confidence", "0.9"}, "QueryRates", &pb.QueryRatesRequest{},
			&pb.QueryRatesRequest{Kinds: []pb.IncidentKind{pb.IncidentKind_INCIDENT_KIND_GALLING, pb.IncidentKind_INCIDENT_KIND_SEIZED},
				GroupBy:   []pb.Grouping{pb.Grouping_GROUPING_LOT, pb.Grouping_GROUPING_DRIVING_METHOD},
				Filters:   []*pb.GroupValue{{Grouping: pb.Grouping_GROUPING_SITE, Value: "RVB"}, {Grouping: pb.Grouping_GROUPING_TREATMENT, Value: "anti-seize"}},
				StartDate: "2026-03-01", EndDate: "2026-03-31", IntervalMethod: pb.IntervalMethod_INTERVAL_METHOD_JEFFREYS, Confidence: 0.9}},
		{[]string{"due", "--within", "6w", "--site", "rvb", "--kind", "hoist,sling", "--as-of", "2026-03-02T07:25:00+01:00"}, "ListDueItems", &pb.ListDueItemsRequest{},
			&pb.ListDueItemsRequest{Within: &durationpb.Duration{Seconds: 6 * 7 * 86400}, Sites: []string{"sites/RVB"}, Kinds: []pb.ToolKind{pb.ToolKind_TOOL_KIND_HOIST, pb.ToolKind_TOOL_KIND_SLING}, AsOfTime: at}},
	} {
		t.Run(strings.Join(tc.args[:2], " "), func(t *testing.T) {
			a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
				if strings.HasPrefix(method, "Record") {
					return taken(), nil
				}
				return &pb.ListSitesResponse{}, nil // empty: every other answer may be
			})
			code, _, errOut := run(t, a.address, nil, tc.args...)
			if code != 0 {
				t.Fatalf("exit %d: %s", code, errOut)
			}
			if err := proto.Unmarshal(a.requests[tc.method], tc.got); err != nil || a.requests[tc.method] == nil {
				t.Fatalf("no %s was called (%v)", tc.method, err)
			}
			if d := cmp.Diff(tc.want, tc.got, protocmp.Transform()); d != "" {
				t.Errorf("(-want +got):\n%s", d)
			}
		})
	}
}

// The answer is one line that can be read with gloves on.
func TestTheAnswerToARecord(t *testing.T) {
	state := pb.Outcome_STATE_TAKEN
	a := newAnswering(t, func(string, []byte) (proto.Message, error) {
		return &pb.RecordIncidentsResponse{Outcomes: []*pb.Outcome{{State: state}}}, nil
	})
	args := []string{"incident", "galling", "rvb/ct2/c3/j014", "2", "--lot", "M10-1", "--treatment", "none", "--person", "ab"}
	_, out, _ := run(t, a.address, nil, args...)
	if want := "kept: galling, 2 fasteners, RVB/CT2/C3/J014, lot M10-1  (id " + testID.String() + ")\n"; out != want {
		t.Errorf("got %q, want %q", out, want)
	}
	state = pb.Outcome_STATE_ALREADY_KNOWN
	_, out, _ = run(t, a.address, nil, args...)
	if !strings.HasPrefix(out, "already known: galling, 2 fasteners") {
		t.Errorf("got %q", out)
	}
	_, out, _ = run(t, a.address, nil, append(args, "-o", "json")...)
	want := "{\n  \"outcomes\": [\n    {\"record\": \"incident\", \"id\": \"" + testID.String() + "\", \"state\": \"already-known\", \"by_data_of\": null, \"filled_in\": {}, \"findings\": []}\n  ]\n}\n"
	if out != want {
		t.Errorf("got %s", out)
	}
}

func TestListsFollowPagesToTheEnd(t *testing.T) {
	a := newAnswering(t, func(_ string, request []byte) (proto.Message, error) {
		var r pb.ListSitesRequest
		if err := proto.Unmarshal(request, &r); err != nil {
			return nil, err
		}
		page := &pb.ListSitesResponse{}
		first := len(r.GetPageToken())
		for i := range min(int(r.GetPageSize()), 2) {
			page.Sites = append(page.Sites, &pb.Site{Name: fmt.Sprintf("sites/S%d", first*2+i)})
		}
		if first < 2 {
			page.NextPageToken = r.GetPageToken() + "x"
		}
		return page, nil
	})
	for limit, want := range map[string]int{"0": 6, "1": 1, "3": 3, "4": 4, "99": 6} {
		code, out, _ := run(t, a.address, nil, "site", "list", "-o", "csv", "--limit", limit)
		if n := strings.Count(out, "\n") - 1; code != 0 || n != want {
			t.Errorf("limit %s: exit %d, %d sites", limit, code, n)
		}
	}
}

func TestListStopsWhenAPageTokenComesTwice(t *testing.T) {
	a := newAnswering(t, func(string, []byte) (proto.Message, error) {
		return &pb.ListSitesResponse{NextPageToken: "same"}, nil
	})
	if code, _, errOut := run(t, a.address, nil, "site", "list"); code != exitInternal || !strings.Contains(errOut, "not complete") {
		t.Errorf("exit %d, %q", code, errOut)
	}
}

func TestRecordShowLooksThroughTheKinds(t *testing.T) {
	found := "GetCalibration"
	a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
		if method == found {
			return &pb.Calibration{Name: "calibrations/" + testID.String(), Points: []*pb.CalibrationPoint{{TargetNewtonMetres: 8}}}, nil
		}
		return nil, notFound()
	})
	if code, out, _ := run(t, a.address, nil, "record", "show", testID.String(), "-o", "json"); code != 0 || !strings.Contains(out, `"calibrations": [`) {
		t.Errorf("exit %d, %s", code, out)
	}
	found = "none"
	if code, _, errOut := run(t, a.address, nil, "record", "show", testID.String()); code != exitUnknown || !strings.Contains(errOut, "no record has the id") {
		t.Errorf("exit %d, %s", code, errOut)
	}
}

func TestRates(t *testing.T) {
	group := func(lot, treatment string) *pb.RateGroup {
		return &pb.RateGroup{Values: []*pb.GroupValue{{Grouping: pb.Grouping_GROUPING_LOT, Value: lot}, {Grouping: pb.Grouping_GROUPING_TREATMENT, Value: treatment}}}
	}
	known := func(g *pb.RateGroup, failures, attempts int64, rate, lower, upper, p, adjusted float64) *pb.RateGroup {
		g.Failures, g.Attempts, g.DenominatorKnown = failures, attempts, true
		g.RatePer_1000, g.LowerPer_1000, g.UpperPer_1000, g.PValue, g.PAdjusted = &rate, &lower, &upper, &p, &adjusted
		return g
	}
	bare := group("L3", "")
	bare.Failures = 2
	answer := &pb.QueryRatesResponse{
		Groups: []*pb.RateGroup{
			known(group("L1", "none"), 13, 75, 173.33333333333334, 104.19, 274.31, 1e-9, 2e-9),
			known(group("L2", "anti-seize"), 0, 100, 0, 0, 36.99, 0.04, 0.0712345),
			bare,
		},
		Total:      known(&pb.RateGroup{}, 13, 175, 74.28571428571429, 43.9, 122.9, 1, 1),
		Method:     "a method",
		Assumption: "an assumption",
		Cautions:   []string{"mind the gap"},
	}
	answer.Total.PValue, answer.Total.PAdjusted = nil, nil
	a := newAnswering(t, func(string, []byte) (proto.Message, error) { return answer, nil })

	_, out, _ := run(t, a.address, nil, "rate", "--by", "lot,treatment")
	want := `LOT  TREATMENT   FAILURES  ATTEMPTS   PER 1000  95 % INTERVAL     ADJUSTED p
L1   none        13        75         173.33    104.19 to 274.31  <0.0001
L2   anti-seize  0         100        0.00      0.00 to 36.99     0.0712
L3   (none)      2         not known  -         -                 -

total: 13 of 175, 74.29 per 1000 (43.90 to 122.90)
method: a method
assumed: an assumption
caution: mind the gap
`
	if out != want {
		t.Errorf("table: got\n%s\nwant\n%s", out, want)
	}

	_, out, _ = run(t, a.address, nil, "rate", "--by", "lot,treatment", "-o", "json")
	var got any
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	var wanted any
	if err := json.Unmarshal([]byte(`{
		"groups": [
			{"lot": "L1", "treatment": "none", "failures": 13, "attempts": 75, "rate_per_1000": 173.33333333333334, "lower_per_1000": 104.19, "upper_per_1000": 274.31, "p_value": 1e-9, "p_adjusted": 2e-9, "denominator_known": true},
			{"lot": "L2", "treatment": "anti-seize", "failures": 0, "attempts": 100, "rate_per_1000": 0, "lower_per_1000": 0, "upper_per_1000": 36.99, "p_value": 0.04, "p_adjusted": 0.0712345, "denominator_known": true},
			{"lot": "L3", "treatment": null, "failures": 2, "attempts": 0, "rate_per_1000": null, "lower_per_1000": null, "upper_per_1000": null, "p_value": null, "p_adjusted": null, "denominator_known": false}],
		"total": {"failures": 13, "attempts": 175, "rate_per_1000": 74.28571428571429, "lower_per_1000": 43.9, "upper_per_1000": 122.9, "p_value": null, "p_adjusted": null, "denominator_known": true},
		"method": "a method", "assumption": "an assumption", "cautions": ["mind the gap"]}`), &wanted); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(wanted, got); d != "" {
		t.Errorf("JSON (-want +got):\n%s", d)
	}

	_, out, errOut := run(t, a.address, nil, "rate", "--by", "lot,treatment", "-o", "csv")
	if !strings.HasPrefix(out, "lot,treatment,failures,attempts,rate_per_1000,lower_per_1000,upper_per_1000,p_value,p_adjusted,denominator_known\nL1,none,13,75,173.33333333333334,") ||
		strings.Contains(out, "mind") || !strings.Contains(errOut, "caution: mind the gap") {
		t.Errorf("CSV: %s\nside: %s", out, errOut)
	}
}

func TestDue(t *testing.T) {
	answer := &pb.ListDueItemsResponse{
		Items: []*pb.DueItem{
			{Tool: "tools/T1", Site: "sites/RVB", Kind: pb.ToolKind_TOOL_KIND_TORQUE_WRENCH, DueTime: &timestamppb.Timestamp{Seconds: 1777417199}, UtcOffsetMinutes: 60,
				Reason: pb.DueReason_DUE_REASON_MONTHS, PastDue: true, Detail: "12 months are over.", LastCalibrationTime: &timestamppb.Timestamp{Seconds: 1745830800}, CyclesUsed: 2110, CyclesAllowed: 5000,
				Action: pb.ToolAction_TOOL_ACTION_CALIBRATION, LastDoneTime: &timestamppb.Timestamp{Seconds: 1745830800}, Holder: "people/ab", HolderName: "A. Bolt", CustodySite: "sites/PCL",
				SinceTime: &timestamppb.Timestamp{Seconds: 1745830800}},
			{Tool: "tools/T2", Site: "sites/TLW", Kind: pb.ToolKind_TOOL_KIND_HOIST, DueTime: &timestamppb.Timestamp{Seconds: 1777417199}, UtcOffsetMinutes: -300, Reason: pb.DueReason_DUE_REASON_CYCLES, Forecast: true,
				Action: pb.ToolAction_TOOL_ACTION_PROOF_TEST, CustodySite: "sites/TLW"},
		},
		AsOfTime: &timestamppb.Timestamp{Seconds: 1777420800},
		Cautions: []string{"mind"},
	}
	a := newAnswering(t, func(string, []byte) (proto.Message, error) { return answer, nil })
	_, out, _ := run(t, a.address, nil, "due")
	want := `SERIAL  SITE  DUE                  REASON  ACTION       WITH          DETAIL
T1      RVB   2026-04-28 past due  months  calibration  ab (A. Bolt)  12 months are over.
T2      TLW   2026-04-28 forecast  cycles  proof-test

caution: mind
`
	if out != want {
		t.Errorf("got\n%s\nwant\n%s", out, want)
	}
	_, out, _ = run(t, a.address, nil, "due", "-o", "json")
	wantJSON := `{
  "items": [
    {"serial": "T1", "site": "RVB", "kind": "torque-wrench", "due_at": "2026-04-28T23:59:59+01:00", "due_date": "2026-04-28", "reason": "months", "past_due": true, "forecast": false, "detail": "12 months are over.", "last_calibration_at": "2025-04-28T09:00:00Z", "cycles_used": 2110, "cycles_allowed": 5000, "action": "calibration", "last_done_at": "2025-04-28T09:00:00Z", "holder": "ab", "holder_name": "A. Bolt", "custody_site": "PCL", "since": "2025-04-28T09:00:00Z"},
    {"serial": "T2", "site": "TLW", "kind": "hoist", "due_at": "2026-04-28T17:59:59-05:00", "due_date": "2026-04-28", "reason": "cycles", "past_due": false, "forecast": true, "detail": null, "last_calibration_at": null, "cycles_used": 0, "cycles_allowed": null, "action": "proof-test", "last_done_at": null, "holder": null, "holder_name": null, "custody_site": "TLW", "since": null}
  ],
  "as_of": "2026-04-29T00:00:00Z",
  "cautions": ["mind"]
}
`
	if out != wantJSON {
		t.Errorf("got\n%s\nwant\n%s", out, wantJSON)
	}
}

func TestImportExits(t *testing.T) {
	a := newAnswering(t, func(string, []byte) (proto.Message, error) { return nil, notFound() })
	if code, _, errOut := run(t, a.address, nil, "import", filepath.Join(t.TempDir(), "absent")); code != exitNoInput || !strings.Contains(errOut, "no such file") {
		t.Errorf("missing folder: exit %d, %q", code, errOut)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "sites.csv"), []byte("code,name,time_zone\nRVB,,Europe/Dublin\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errOut := run(t, a.address, nil, "import", dir, "-o", "json")
	if code != exitData || !strings.Contains(errOut, filepath.Join(dir, "sites.csv")+":2:5: column name: expected what people call the site, got nothing\n") {
		t.Errorf("bad line: exit %d, %q", code, errOut)
	}
	var got struct {
		Files []struct {
			File, Status                      string
			Taken, AlreadyKnown, Refused, Row int
		}
		Problems []struct{ Line, Column int }
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || len(got.Files) != 1 || got.Files[0].Status != "refused" || got.Files[0].Refused != 1 ||
		len(got.Problems) != 1 || got.Problems[0].Line != 2 || got.Problems[0].Column != 5 {
		t.Errorf("%v: %s", err, out)
	}
}

// A p-value has three significant digits, and none that it has not.
func TestPText(t *testing.T) {
	for p, want := range map[float64]string{1: "1.00", 0.5: "0.500", 0.05: "0.0500", 0.0712345: "0.0712", 0.001234: "0.00123", 0.0001: "0.000100", 0.00009: "<0.0001", 0: "<0.0001"} {
		if got := pText(p); got != want {
			t.Errorf("pText(%v) = %s, want %s", p, got, want)
		}
	}
}
