package service_test

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "jointledger/proto/jointledger/v1"
)

// Each calibration that can't be is refused with its field and what was expected, and
// nothing of it is kept, whether it comes alone or after one that is sound.
func TestBadCalibrationsKeepNothing(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	kept := calibration("2026-02-01T09:00:00Z", 24)
	kept.Certificate = "FM-118"
	send := func(list ...*pb.Calibration) []*pb.Outcome {
		t.Helper()
		return must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: list})).Outcomes
	}
	taken(t, send(kept))
	point := func(m *pb.Calibration) *pb.CalibrationPoint { return m.Points[0] }
	for name, tc := range map[string]struct {
		change func(*pb.Calibration)
		field  string
		part   string
	}{
		"a single reading":     {func(m *pb.Calibration) { point(m).ReadingsNewtonMetres = []float64{24} }, "points[0].readings_newton_metres", "a single reading says nothing of the spread"},
		"no uncertainty":       {func(m *pb.Calibration) { point(m).ExpandedUncertaintyNewtonMetres = 0 }, "points[0].expanded_uncertainty_newton_metres", "decide nothing"},
		"negative uncertainty": {func(m *pb.Calibration) { point(m).ExpandedUncertaintyNewtonMetres = -0.3 }, "points[0].expanded_uncertainty_newton_metres", "out of range"},
		"beyond the scale":     {func(m *pb.Calibration) { point(m).TargetNewtonMetres = 1e4 }, "points[0].target_newton_metres", "beyond the scale"},
		"as-left first": {func(m *pb.Calibration) {
			before := proto.CloneOf(point(m))
			before.Phase = pb.CalibrationPhase_CALIBRATION_PHASE_AS_FOUND
			m.Points = append(m.Points, before)
		}, "points[1].phase", "comes after as-left"},
		"a certificate used":            {func(m *pb.Calibration) { m.Certificate = "FM-118" }, "certificate", kept.Name},
		"the same as somebody types it": {func(m *pb.Calibration) { m.Certificate, m.Laboratory = "fm\u2013 118", "FELL metrology" }, "certificate", kept.Name},
		"to come":                       {func(m *pb.Calibration) { m.Entry = entry("2100-01-01T09:00:00Z") }, "entry.occur_time", "lies in the future"},
	} {
		bad := calibration("2026-02-02T09:00:00Z", 24)
		tc.change(bad)
		outcome := send(bad)[0]
		v := outcome.GetRefusal().GetFieldViolations()
		if outcome.State != pb.Outcome_STATE_REFUSED || len(v) != 1 || v[0].Field != tc.field || !strings.Contains(v[0].Description, tc.part) {
			t.Errorf("%s:\n%s", name, outcomes([]*pb.Outcome{outcome}))
		}
	}
	if all := must[*pb.ListCalibrationsResponse](t)(c.tools.ListCalibrations(ctx, &pb.ListCalibrationsRequest{})).Calibrations; len(all) != 1 || all[0].Name != kept.Name {
		t.Errorf("kept: %v", all)
	}
	tool := tool()
	tool.TypeClass = "II-Z"
	_, err := c.tools.CreateTool(ctx, &pb.CreateToolRequest{ToolId: "TW-9", Tool: tool})
	if got := render(err); !strings.Contains(got, "InvalidArgument") || !strings.Contains(got, "type_class") || !strings.Contains(got, "expected one of II-A") {
		t.Errorf("a class that the type does not have: %s", got)
	}
}
