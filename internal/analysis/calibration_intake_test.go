package analysis_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

func TestCheckCalibration(t *testing.T) {
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	for name, tt := range map[string]struct {
		change func(*ledger.Calibration)
		// fields that are wrong, each with what is said of it.
		want []string
	}{
		"sound":                  {func(*ledger.Calibration) {}, nil},
		"a single reading":       {func(c *ledger.Calibration) { c.Points[1].ReadingsNewtonMetres = []float64{60} }, []string{"points[1].readings_newton_metres: a single reading says nothing of the spread; expected at least 2"}},
		"two":                    {func(c *ledger.Calibration) { c.Points[1].ReadingsNewtonMetres = []float64{60, 60} }, nil},
		"tomorrow":               {func(c *ledger.Calibration) { c.OccurTime = now.Add(24 * time.Hour) }, nil},
		"after tomorrow":         {func(c *ledger.Calibration) { c.OccurTime = now.Add(24*time.Hour + time.Microsecond) }, []string{"entry.occur_time: 2026-03-03T12:00:00Z lies in the future"}},
		"as found last":          {func(c *ledger.Calibration) { c.Points[2].Phase = ledger.AsFound }, []string{"points[2].phase: as-found at 100 N.m comes after as-left at 20 N.m"}},
		"as found first":         {func(c *ledger.Calibration) { c.Points[0].Phase = ledger.AsFound }, nil},
		"beyond the scale":       {func(c *ledger.Calibration) { c.Points[2].TargetNewtonMetres = 100.6 }, []string{"points[2].target_newton_metres: 100.6 N.m is beyond the scale of tool TW-1; expected at most 100 N.m"}},
		"rounded beyond it":      {func(c *ledger.Calibration) { c.Points[2].TargetNewtonMetres = 100.5 }, nil},
		"below the scale":        {func(c *ledger.Calibration) { c.Points[0].TargetNewtonMetres = 19.7 }, []string{"points[0].target_newton_metres: 19.7 N.m is below the scale of tool TW-1; expected at least 20 N.m"}},
		"rounded below":          {func(c *ledger.Calibration) { c.Points[0].TargetNewtonMetres = 19.75 }, nil},
		"no uncertainty":         {func(c *ledger.Calibration) { c.Points[1].ExpandedUncertaintyNewtonMetres = 0 }, []string{"points[1].expanded_uncertainty_newton_metres: readings without the uncertainty of their measurement decide nothing, and 60 N.m as-left has none"}},
		"no uncertainty, unsaid": {func(c *ledger.Calibration) { c.Document, c.Points[1].ExpandedUncertaintyNewtonMetres = 0, 0 }, []string{"points[1].expanded_uncertainty_newton_metres: "}},
		"no uncertainty, simple": {func(c *ledger.Calibration) {
			c.Document, c.Rule, c.Points[1].ExpandedUncertaintyNewtonMetres = 0, ledger.RuleSimpleAcceptance, 0
		}, []string{"points[1].expanded_uncertainty_newton_metres: "}},
		"no uncertainty, by type": {func(c *ledger.Calibration) {
			c.Document, c.Points[1].ExpandedUncertaintyNewtonMetres = ledger.DeclarationOfConformance, 0
		}, nil},
		"all at once": {func(c *ledger.Calibration) {
			c.Points[1].ReadingsNewtonMetres, c.Points[1].ExpandedUncertaintyNewtonMetres, c.Points[1].TargetNewtonMetres, c.Points[1].Phase = nil, 0, 1, ledger.AsFound
		}, []string{"points[1].phase: ", "points[1].target_newton_metres: ", "points[1].readings_newton_metres: ", "points[1].expanded_uncertainty_newton_metres: "}},
	} {
		t.Run(name, func(t *testing.T) {
			c := certificate(0, 0, 1)
			c.OccurTime = now
			tt.change(c)
			var got []string
			for _, f := range analysis.CheckCalibration(ratedWrench(), c, now) {
				got = append(got, f.Field+": "+f.Description)
			}
			if !slices.EqualFunc(got, tt.want, strings.HasPrefix) {
				t.Errorf("%q, want %q", got, tt.want)
			}
		})
	}
	for kind := ledger.ToolTorqueWrench; kind <= ledger.ToolScaffold; kind++ {
		lifts := kind >= ledger.ToolHoist
		wrong := analysis.CheckCalibration(ledger.Tool{Serial: "X-1", Kind: kind}, certificate(0, 0, 1), now.AddDate(1, 0, 0))
		if got := slices.ContainsFunc(wrong, func(f ledger.FieldError) bool { return f.Field == "tool" }); got != lifts || len(wrong) > 1 {
			t.Errorf("%s: %v", ledger.ToolKinds.Name(kind), wrong)
		}
	}
	// A tool without a scale on record has no end of it.
	if wrong := analysis.CheckCalibration(ledger.Tool{Serial: "DI-1", Kind: ledger.ToolDialIndicator}, certificate(0, 0, 1), now.AddDate(1, 0, 0)); len(wrong) > 0 {
		t.Error(wrong)
	}
}
