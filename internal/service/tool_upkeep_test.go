package service_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "jointledger/proto/jointledger/v1"
)

// The laboratory's word and the server's stand side by side, and that they differ
// is said. 4.3 % with U = 1 % is the row of the decision table of ILAC-G8:09/2019,
// 4.2, that fails conditionally under guard.
func TestVerdictBesideTheLaboratorys(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	cal := calibration("2026-02-02T09:00:00Z", 24/1.043)
	cal.Points[0].ExpandedUncertaintyNewtonMetres = 24 / 1.043 / 100
	cal.Document, cal.DecisionRule, cal.StatedVerdict = pb.CalibrationDocument_CALIBRATION_DOCUMENT_CALIBRATION_CERTIFICATE, pb.DecisionRule_DECISION_RULE_GUARD_BAND, pb.Verdict_VERDICT_PASS
	cal.AirCelsius, cal.HumidityPercent, cal.DeviceUncertaintyPercent = proto.Float64(0), proto.Float64(45), 0.5
	taken(t, must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{cal}})).Outcomes)
	got := must[*pb.Calibration](t)(c.tools.GetCalibration(ctx, &pb.GetCalibrationRequest{Name: cal.Name}))
	v := got.Verdict
	if v.GetAsLeft() != pb.Verdict_VERDICT_CONDITIONAL_FAIL || !v.GetDisagreesWithStated() || v.GetConformityProbability() < 0.274 || v.GetConformityProbability() > 0.275 {
		t.Errorf("%v", v)
	}
	stripEntry(t, got.Entry, 1)
	cal.Site, cal.Verdict = "sites/HAR", v
	if d := cmp.Diff(cal, got, protocmp.Transform()); d != "" {
		t.Error(d)
	}
}

func TestCalibrationsThatCantBe(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	cal := calibration("2026-02-02T09:00:00Z", 24)
	cal.Points[0].ReadingsNewtonMetres, cal.Points[0].TargetNewtonMetres = []float64{24}, 1e4
	cal.Document, cal.Points[0].ExpandedUncertaintyNewtonMetres = pb.CalibrationDocument_CALIBRATION_DOCUMENT_CALIBRATION_CERTIFICATE, 0
	outcomes := must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{cal}})).Outcomes
	var fields []string
	for _, f := range outcomes[0].GetRefusal().GetFieldViolations() {
		fields = append(fields, f.Field)
	}
	want := []string{"points[0].target_newton_metres", "points[0].readings_newton_metres", "points[0].expanded_uncertainty_newton_metres"}
	if !slices.Equal(fields, want) || outcomes[0].GetRefusal().GetReason() != pb.ErrorReason_ERROR_REASON_INVALID_FIELD {
		t.Errorf("%v", outcomes[0])
	}
	first, second := calibration("2026-02-02T09:00:00Z", 24), calibration("2026-02-03T09:00:00Z", 24)
	second.Certificate = first.Certificate
	outcomes = must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{first, second}})).Outcomes
	if outcomes[0].State != pb.Outcome_STATE_TAKEN || len(outcomes[1].GetRefusal().GetFieldViolations()) != 1 || outcomes[1].GetRefusal().GetFieldViolations()[0].Field != "certificate" {
		t.Errorf("%v", outcomes)
	}
	t.Log("as a replacement, the fields are those of the correction")
	bad := calibration("2026-02-02T09:00:00Z", 24)
	bad.Points[0].TargetNewtonMetres = 1e4
	fix := correction("2026-02-04T09:00:00Z", first.Name)
	fix.Replacement = &pb.Correction_Calibration{Calibration: bad}
	answer := must[*pb.RecordCorrectionsResponse](t)(c.control.RecordCorrections(ctx, &pb.RecordCorrectionsRequest{Corrections: []*pb.Correction{fix}})).Outcomes[0]
	if v := answer.GetRefusal().GetFieldViolations(); len(v) != 1 || v[0].Field != "calibration.points[0].target_newton_metres" {
		t.Errorf("%v", answer)
	}
}

func TestToolPoliciesAndChecks(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	policies := []*pb.ToolPolicy{
		{Action: pb.ToolAction_TOOL_ACTION_PERIODIC_INSPECTION, Months: 12, Days: 7, Cycles: 9, AfterEvent: true},
		{Action: pb.ToolAction_TOOL_ACTION_PRE_USE_CHECK, EachShift: true},
	}
	hoist := must[*pb.Tool](t)(c.tools.CreateTool(ctx, &pb.CreateToolRequest{ToolId: "HO-1", Tool: &pb.Tool{
		Kind: pb.ToolKind_TOOL_KIND_HOIST, HomeSite: "sites/HAR", RatedLoadKilograms: 1500, Policies: policies}}))
	if d := cmp.Diff(policies, hoist.Policies, protocmp.Transform()); d != "" || hoist.RatedLoadKilograms != 1500 {
		t.Errorf("%v %s", hoist, d)
	}
	changed := must[*pb.Tool](t)(c.tools.UpdateTool(ctx, &pb.UpdateToolRequest{
		Tool: &pb.Tool{Name: "tools/HO-1", Policies: policies[1:]}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"policies"}}}))
	if d := cmp.Diff(policies[1:], changed.Policies, protocmp.Transform()); d != "" || changed.RatedLoadKilograms != 1500 {
		t.Errorf("%v %s", changed, d)
	}
	for path, want := range map[string]string{
		"type_class": "type_class: a hoist has no type and class of ISO 6789-1:2017; expected nothing, or one of the torque tools as its kind",
		"policies":   "policies[0].action: the policy for calibration is given by interval_months, interval_cycles and due_after_event",
	} {
		_, err := c.tools.UpdateTool(ctx, &pb.UpdateToolRequest{Tool: &pb.Tool{Name: "tools/HO-1", TypeClass: "II-A", Policies: []*pb.ToolPolicy{{Action: pb.ToolAction_TOOL_ACTION_CALIBRATION, Months: 3}}},
			UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{path}}})
		if d := cmp.Diff("InvalidArgument: tool is not valid\nreason jointledger/INVALID_FIELD\nfield "+want, render(err)); d != "" {
			t.Error(d)
		}
	}

	check, unknown := toolCheck("2026-02-12T09:00:00Z"), toolCheck("2026-02-12T09:00:00Z")
	check.Tool, unknown.Tool = "tools/HO-1", "tools/HO-2"
	calibrated := toolCheck("2026-02-12T09:00:00Z")
	calibrated.Action = pb.ToolAction_TOOL_ACTION_CALIBRATION
	outcomes := must[*pb.RecordToolChecksResponse](t)(c.tools.RecordToolChecks(ctx, &pb.RecordToolChecksRequest{ToolChecks: []*pb.ToolCheck{check, unknown, calibrated, check}})).Outcomes
	for i, want := range []pb.Outcome_State{pb.Outcome_STATE_TAKEN, pb.Outcome_STATE_REFUSED, pb.Outcome_STATE_REFUSED, pb.Outcome_STATE_ALREADY_KNOWN} {
		if outcomes[i].State != want {
			t.Errorf("%d: %v", i, outcomes[i])
		}
	}
	if got := outcomes[1].GetRefusal().GetResourceName(); got != "tools/HO-2" {
		t.Errorf("%s", got)
	}
	got := must[*pb.ToolCheck](t)(c.tools.GetToolCheck(ctx, &pb.GetToolCheckRequest{Name: check.Name}))
	stripEntry(t, got.Entry, 1)
	if d := cmp.Diff(check, got, protocmp.Transform()); d != "" {
		t.Error(d)
	}
	listed := must[*pb.ListToolChecksResponse](t)(c.tools.ListToolChecks(ctx, &pb.ListToolChecksRequest{Tool: "tools/HO-1", StartTime: check.Entry.OccurTime}))
	if got := named(listed.ToolChecks); !slices.Equal(got, []string{check.Name}) {
		t.Errorf("%v", got)
	}
}
