package analysis

import (
	"fmt"
	"math"
	"time"

	"jointledger/internal/ledger"
)

// Bounds of what is taken in as a calibration.
const (
	// fewestReadings at a test point: one alone says nothing of the spread. Fewer
	// than the standard asks for is a deficiency, not a refusal.
	fewestReadings = 2
	// aheadOfClock is how far a calibration's time may lie ahead of the server's
	// clock: what a clock in another time zone, read wrong, can explain.
	aheadOfClock = 24 * time.Hour
	// rangeSlack lets a test point lie beyond the end of the scale by what rounding
	// a range in other units to whole newton metres explains, as a share of the end.
	rangeSlack = 0.005
)

// CheckCalibration gives every field in which a calibration can't be true of the
// tool, with what was expected: a tool that lifts or carries and measures nothing, a
// single reading at a test point, a test point beyond the tool's scale, as-found
// readings after as-left ones, readings without uncertainty, a time to come. now is
// the server's clock.
// What is wrong whatever the tool is Calibration.Validate's to say.
func CheckCalibration(tool ledger.Tool, c *ledger.Calibration, now time.Time) []ledger.FieldError {
	var fields []ledger.FieldError
	add := func(field, format string, args ...any) {
		fields = append(fields, ledger.FieldError{Field: field, Description: fmt.Sprintf(format, args...)})
	}
	fields = append(fields, CheckNotToCome(c.OccurTime, now)...)
	if measuresNothing(tool.Kind) {
		add("tool", "%s is a %s, which measures no torque; expected a tool that measures, or the periodic inspection or proof test by which it is proved", tool.Serial, ledger.ToolKinds.Name(tool.Kind))
	}
	adjusted := -1
	for i, p := range c.Points {
		at := fmt.Sprintf("points[%d].", i)
		switch {
		case p.Phase == ledger.AsLeft && adjusted < 0:
			adjusted = i
		case p.Phase == ledger.AsFound && adjusted >= 0:
			add(at+"phase", "as-found at %v N.m comes after as-left at %v N.m; expected the readings before adjustment first", p.TargetNewtonMetres, c.Points[adjusted].TargetNewtonMetres)
		}
		low, high := reach(tool)
		switch {
		case tool.MaximumNewtonMetres > 0 && p.TargetNewtonMetres > high:
			add(at+"target_newton_metres", "%v N.m is beyond the scale of tool %s; expected at most %v N.m", p.TargetNewtonMetres, tool.Serial, tool.MaximumNewtonMetres)
		case p.TargetNewtonMetres < low:
			add(at+"target_newton_metres", "%v N.m is below the scale of tool %s; expected at least %v N.m", p.TargetNewtonMetres, tool.Serial, tool.MinimumNewtonMetres)
		}
		if n := len(p.ReadingsNewtonMetres); n < fewestReadings {
			add(at+"readings_newton_metres", "a single reading says nothing of the spread; expected at least %d, 5 or 10 by ISO 6789", fewestReadings)
		}
		if c.Document != ledger.DeclarationOfConformance && p.ExpandedUncertaintyNewtonMetres == 0 {
			add(at+"expanded_uncertainty_newton_metres", "readings without the uncertainty of their measurement decide nothing, and %v N.m %s has none; expected the expanded uncertainty that the calibration certificate states for the test point (ISO 6789-2:2017), above 0 N.m, or a declaration of conformance as the document, which states none (ISO 6789-1:2017)",
				p.TargetNewtonMetres, ledger.CalibrationPhases.Name(p.Phase))
		}
	}
	return fields
}

// measuresNothing is true of what lifts, carries or catches: capacities are in
// kilograms and proved by inspection and proof test.
func measuresNothing(kind ledger.ToolKind) bool {
	switch kind {
	case ledger.ToolHoist, ledger.ToolSling, ledger.ToolHarness, ledger.ToolScaffold:
		return true
	default: // the others go on below
	}
	return false
}

// reach is the tool's scale with its slack, or half a step of the scale where that
// is more.
func reach(tool ledger.Tool) (low, high float64) {
	half := tool.ResolutionNewtonMetres / 2
	return tool.MinimumNewtonMetres - math.Max(half, rangeSlack*tool.MinimumNewtonMetres),
		tool.MaximumNewtonMetres + math.Max(half, rangeSlack*tool.MaximumNewtonMetres)
}

// CheckNotToCome says what is wrong with the time of what was done on a tool, or of
// a loan: it proves or permits something, and so must have been. now is the
// clock of who takes it in; a day ahead of it is taken for a clock that is wrong by its zone.
func CheckNotToCome(at, now time.Time) []ledger.FieldError {
	if !at.After(now.Add(aheadOfClock)) {
		return nil
	}
	return []ledger.FieldError{{Field: "entry.occur_time", Description: fmt.Sprintf("%s lies in the future: the clock says %s; expected a time that has been",
		at.UTC().Format(time.RFC3339), now.UTC().Format(time.RFC3339))}}
}
