package service_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "jointledger/proto/jointledger/v1"
)

// proved is a calibration of TW-1 with readings as found and as left at 24 N.m.
func proved(when string, found, left float64) *pb.Calibration {
	c := calibration(when, left)
	before := proto.Clone(c.Points[0]).(*pb.CalibrationPoint)
	before.Phase, before.ReadingsNewtonMetres = pb.CalibrationPhase_CALIBRATION_PHASE_AS_FOUND, []float64{found, found}
	c.Points = []*pb.CalibrationPoint{before, c.Points[0]}
	return c
}

func plan(t *testing.T, c clients, start, finish string) {
	t.Helper()
	must[*pb.Tower](t)(c.structure.UpdateTower(t.Context(), &pb.UpdateTowerRequest{
		Tower:      &pb.Tower{Name: theTower, PlannedStart: start, PlannedFinish: finish},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"planned_start", "planned_finish"}},
	}))
}

// The clock stands on Friday 20 March 2026. The joint's 24 fasteners of 32 N.m are
// spread over that day and the five of the week after; the wrench was calibrated on
// 24 March of the year before, so that it is good through the 24th.
func TestQueryCoverage(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		plan(t, c, "2026-03-02", "2026-03-27")
		must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{calibration("2025-03-24T09:00:00Z", 24)}}))
		a := must[*pb.QueryCoverageResponse](t)(c.readiness.QueryCoverage(ctx, &pb.QueryCoverageRequest{Sites: []string{"sites/har", "sites/HAR"}, Weeks: proto.Int32(3), BandEdgesNewtonMetres: []float64{20, 40}}))
		band := &pb.CoverageBand{LowerNewtonMetres: 20, UpperNewtonMetres: proto.Float64(40)}
		want := []*pb.CoverageCell{
			{Site: "sites/HAR", Week: "2026-W12", WeekStart: "2026-03-16", Band: band, Fasteners: 4, Usable: []string{"tools/TW-1"}},
			{Site: "sites/HAR", Week: "2026-W13", WeekStart: "2026-03-23", Band: band, Joints: 1, Fasteners: 20, OpenNewtonMetres: []float64{32}},
		}
		if d := cmp.Diff(want, a.Cells, protocmp.Transform(), protocmp.IgnoreFields(&pb.CoverageCell{}, "out")); d != "" {
			t.Fatal(d)
		}
		out := a.Cells[1].Out
		if len(out) != 1 || out[0].Tool != "tools/TW-1" || out[0].Reason != pb.RefusalReason_REFUSAL_REASON_DUE || !strings.Contains(out[0].Detail, "2026-03-24") {
			t.Errorf("%v", out)
		}
		if len(a.Gaps) != 1 {
			t.Fatalf("%v", a.Gaps)
		}
		g := a.Gaps[0]
		if g.FirstDay != "2026-03-25" || g.LastDay != "2026-03-27" || g.Fasteners != 12 || g.Joints != 1 || len(g.Calibrations) != 1 ||
			g.Calibrations[0].Tool != "tools/TW-1" || g.Calibrations[0].LatestDay != "2026-03-24" || len(g.Transfers) != 0 || g.Sentence == "" {
			t.Errorf("%v", g)
		}
		if a.Weeks != 3 || !a.AsOfTime.AsTime().Equal(now) || a.Method == "" || a.Assumption == "" || len(a.Cautions) == 0 || len(a.Notes) != 0 {
			t.Errorf("%v", a)
		}
		only := must[*pb.QueryCoverageResponse](t)(c.readiness.QueryCoverage(ctx, &pb.QueryCoverageRequest{GapsOnly: true, BandEdgesNewtonMetres: []float64{20, 40}}))
		if len(only.Cells) != 0 || only.Weeks != 8 || !proto.Equal(only.Gaps[0], g) {
			t.Errorf("%v", only)
		}
		// As of a Monday two weeks before, in its first hours: nothing that happened later counts.
		plan(t, c, "", "")
		a = must[*pb.QueryCoverageResponse](t)(c.readiness.QueryCoverage(ctx, &pb.QueryCoverageRequest{AsOfTime: entry("2026-03-02T00:30:00Z").OccurTime}))
		if len(a.Notes) != 1 || !strings.Contains(a.Notes[0], "HAR/CT1 has no planned finish") || a.Cells[0].Week != "2026-W10" {
			t.Errorf("%v", a)
		}
	})
}

func TestQueryReadiness(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{calibration("2025-03-24T09:00:00Z", 24)}}))
		plan(t, c, "", "2026-03-24")
		kit := []*pb.KitLine{
			{Kind: pb.ToolKind_TOOL_KIND_TORQUE_WRENCH, Quantity: 1, LowestNewtonMetres: 16, HighestNewtonMetres: 32, Note: "structure"},
			{Kind: pb.ToolKind_TOOL_KIND_HOIST, Quantity: 2, LoadKilograms: 500},
		}
		ask := func(place, finish string) *pb.QueryReadinessResponse {
			t.Helper()
			return must[*pb.QueryReadinessResponse](t)(c.readiness.QueryReadiness(ctx, &pb.QueryReadinessRequest{Place: place, Kit: kit, FinishDate: finish}))
		}
		a := ask(theCell, "")
		if a.Ready || a.FinishDate != "2026-03-24" || !a.FinishPlanned || len(a.Lines) != 2 || a.Verdict == "" || a.Method == "" || a.Assumption == "" || len(a.Cautions) == 0 {
			t.Fatalf("%v", a)
		}
		if l := a.Lines[0]; !proto.Equal(l.Line, kit[0]) || l.Have != 1 || l.Short != 0 || !slices.Equal(l.Tools, []string{"tools/TW-1"}) || len(l.Refused) != 0 {
			t.Errorf("%v", l)
		}
		if l := a.Lines[1]; l.Have != 0 || l.Short != 2 || len(l.Tools) != 0 || l.Sentence == "" {
			t.Errorf("%v", l)
		}
		// A day later the wrench is due.
		a = ask("sites/HAR", "2026-03-25")
		if l := a.Lines[0]; a.FinishPlanned || l.Have != 0 || len(l.Refused) != 1 || l.Refused[0].Reason != pb.RefusalReason_REFUSAL_REASON_DUE || !strings.Contains(l.Refused[0].Detail, "before the finish on 2026-03-25") {
			t.Errorf("%v", a)
		}
		kit = kit[:1]
		if a := ask(theTower, ""); !a.Ready {
			t.Errorf("%v", a)
		}
	})
}

// Four calibrations a year apart: found in tolerance, out of it and in again. The
// deviation is that of the tool, 24/(24/1.05) - 1 = 5 %, beyond the 4 % of II-A.
func TestQueryReliability(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		taken(t, must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{
			calibration("2022-03-01T09:00:00Z", 24), proved("2023-03-01T09:00:00Z", 24/1.01, 24), proved("2024-03-01T09:00:00Z", 24/1.05, 24), proved("2025-03-01T09:00:00Z", 24/1.02, 24),
		}})).Outcomes)
		a := must[*pb.QueryReliabilityResponse](t)(c.readiness.QueryReliability(ctx, &pb.QueryReliabilityRequest{TypeClasses: []string{"ii a"}, Kinds: []pb.ToolKind{pb.ToolKind_TOOL_KIND_TORQUE_WRENCH}}))
		if len(a.Families) != 1 || a.Target != 0.95 || a.Confidence != 0.95 || a.Headline == "" || len(a.Cautions) == 0 || len(a.LeftOut) != 0 {
			t.Fatalf("%v", a)
		}
		f := a.Families[0]
		if f.TypeClass != "II-A" || f.Tools != 1 || f.Calibrations != 3 || f.InTolerance != 2 || f.Cycles != nil || f.Months.Present != 12 || !f.Months.PresentFromPolicy {
			t.Errorf("%v", f)
		}
		// Clopper and Pearson (1934) for 2 of 3: the limits solve (1-(1-p)^3 - 3p(1-p)^2) = 0.025, which
		// is 3p^2 - 2p^3 = 0.025, and 1 - p^3 = 0.025.
		if p := f.Lower; math.Abs(3*p*p-2*p*p*p-0.025) > 1e-9 {
			t.Errorf("lower limit %v", p)
		}
		if p := f.Upper; math.Abs(1-p*p*p-0.025) > 1e-9 {
			t.Errorf("upper limit %v", p)
		}
		// P(X <= 2) of 3 at 0.95 is 1 - 0.95^3.
		if math.Abs(f.PBelowTarget-(1-0.95*0.95*0.95)) > 1e-12 {
			t.Errorf("p %v", f.PBelowTarget)
		}
		none := must[*pb.QueryReliabilityResponse](t)(c.readiness.QueryReliability(ctx, &pb.QueryReliabilityRequest{TypeClasses: []string{"I-A"}, Target: proto.Float64(0.9)}))
		if len(none.Families) != 0 || none.Headline == "" || none.Target != 0.9 {
			t.Errorf("%v", none)
		}
		early := must[*pb.QueryReliabilityResponse](t)(c.readiness.QueryReliability(ctx, &pb.QueryReliabilityRequest{AsOfTime: entry("2023-06-01T00:00:00Z").OccurTime}))
		if len(early.Families) != 1 || early.Families[0].Calibrations != 1 {
			t.Errorf("%v", early)
		}

		// Found at 0, 1, 5 and 2 %, each time set right: 0, 1, 6 and 8 % in all.
		d := must[*pb.ListToolDriftsResponse](t)(c.readiness.ListToolDrifts(ctx, &pb.ListToolDriftsRequest{Tools: []string{"tools/TW-1"}}))
		if len(d.Drifts) != 1 || d.NextPageToken != "" || len(d.Cautions) == 0 {
			t.Fatalf("%v", d)
		}
		got := d.Drifts[0]
		if got.GetLimitPercent() != 4 || got.TargetNewtonMetres != 24 || got.LinePoints != 4 || got.LowerPercentPerYear == nil || got.UpperPercentPerYear == nil {
			t.Errorf("%v", got)
		}
		for i, want := range []float64{0, 1, 6, 8} {
			if math.Abs(got.Points[i].GetUndonePercent()-want) > 1e-9 || (got.Points[i].FoundPercent == nil) != (i == 0) {
				t.Errorf("point %d: %v", i, got.Points[i])
			}
		}
		// By hand: the slope through 0, 1, 6, 8 at even steps is (3·8 + 6 - 1)/10 = 2.9 a step, here a year.
		if math.Abs(got.GetPercentPerYear()-2.9) > 0.01 {
			t.Errorf("%v %% a year", got.GetPercentPerYear())
		}
	})
}

func TestReadinessRefusesWhatItCannotAnswer(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	const invalid = "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield "
	wrench := func(l *pb.KitLine) []*pb.KitLine {
		l.Kind = pb.ToolKind_TOOL_KIND_TORQUE_WRENCH
		return []*pb.KitLine{l}
	}
	ready := func(r *pb.QueryReadinessRequest) error { return second(c.readiness.QueryReadiness(ctx, r)) }
	for name, tc := range map[string]struct {
		err  error
		want string
	}{
		"no weeks":       {second(c.readiness.QueryCoverage(ctx, &pb.QueryCoverageRequest{Weeks: proto.Int32(0)})), invalid + "weeks: 0 is out of range; expected 1 to 52"},
		"too many weeks": {second(c.readiness.QueryCoverage(ctx, &pb.QueryCoverageRequest{Weeks: proto.Int32(60)})), invalid + "weeks: 60 is out of range; expected 1 to 52"},
		"falling bands": {second(c.readiness.QueryCoverage(ctx, &pb.QueryCoverageRequest{BandEdgesNewtonMetres: []float64{10, 10}})),
			invalid + "band_edges_newton_metres[1]: 10 N.m; expected torques above 0 and at most 1e+06, each above the one before"},
		"a band of no number": {second(c.readiness.QueryCoverage(ctx, &pb.QueryCoverageRequest{BandEdgesNewtonMetres: []float64{math.NaN()}})),
			invalid + "band_edges_newton_metres[0]: NaN N.m; expected torques above 0 and at most 1e+06, each above the one before"},
		"no kit": {ready(&pb.QueryReadinessRequest{Place: theTower, FinishDate: "2026-04-01"}), invalid + "kit: has no lines; expected at least one"},
		"no finish": {ready(&pb.QueryReadinessRequest{Place: theTower, Kit: wrench(&pb.KitLine{Quantity: 1})}),
			invalid + "finish_date: is not given, and HAR/CT1 has no planned finish; expected YYYY-MM-DD"},
		"a finish gone by": {ready(&pb.QueryReadinessRequest{Place: theTower, Kit: wrench(&pb.KitLine{Quantity: 1}), FinishDate: "2026-03-19"}),
			invalid + "finish_date: 2026-03-19 is before the day looked from, 2026-03-20"},
		"a kit line of nothing": {ready(&pb.QueryReadinessRequest{Place: theTower, Kit: wrench(&pb.KitLine{Quantity: -1, LowestNewtonMetres: 20, HighestNewtonMetres: 10, LoadKilograms: -5}), FinishDate: "2026-04-01"}),
			invalid + "kit[0].quantity: -1 is out of range; expected 1 to 2000\nfield kit[0].load_kilograms: -5 is out of range; expected 0 for no need, or a number above 0 (kg)\n" +
				"field kit[0].highest_newton_metres: 10 N.m is below the lowest, 20 N.m"},
		"a joint": {ready(&pb.QueryReadinessRequest{Place: theJoint, Kit: wrench(&pb.KitLine{Quantity: 1})}),
			invalid + `place: "` + theJoint + `" is a joint; expected a site, tower or cell`},
		"a target of all": {second(c.readiness.QueryReliability(ctx, &pb.QueryReliabilityRequest{Target: proto.Float64(1), Confidence: proto.Float64(0), GrowthCap: proto.Float64(0.5), FewestResults: proto.Int32(0)})),
			invalid + "target: 1 is out of range; expected above 0 and below 1\nfield confidence: 0 is out of range; expected above 0 and below 1\n" +
				"field growth_cap: 0.5 is out of range; expected 1 to 10\nfield fewest_results: 0 is out of range; expected 1 to 1000000"},
		"no such class": {second(c.readiness.ListToolDrifts(ctx, &pb.ListToolDriftsRequest{TypeClasses: []string{"II-H"}})),
			invalid + `type_classes[0]: no tool class "II-H" in ISO 6789-1; there are I-A, I-B, I-C, I-D, I-E, II-A, II-B, II-C, II-D, II-E, II-F, II-G; did you mean II-A?`},
	} {
		if d := cmp.Diff(tc.want, render(tc.err)); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
	for name, err := range map[string]error{
		"coverage": second(c.readiness.QueryCoverage(ctx, &pb.QueryCoverageRequest{Sites: []string{"sites/HAX"}})),
		"ready":    ready(&pb.QueryReadinessRequest{Place: "sites/HAX", Kit: wrench(&pb.KitLine{Quantity: 1})}),
		"drift":    second(c.readiness.ListToolDrifts(ctx, &pb.ListToolDriftsRequest{Tools: []string{"tools/TW-9"}})),
	} {
		if status.Code(err) != codes.NotFound || !strings.Contains(render(err), "reason jointledger/UNKNOWN_RESOURCE\nresource jointledger/") {
			t.Errorf("%s of what is unknown: %s", name, render(err))
		}
	}
}
