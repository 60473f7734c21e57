package analysis

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
	"jointledger/internal/stats"
)

// ImpactQuery says about which calibration of which tool the impact is asked.
type ImpactQuery struct {
	// Tool is its serial.
	Tool string
	// Calibration is the one asked about, failed or not; zero for the newest that
	// failed as found.
	Calibration uuid.UUID
	// LastGood is the calibration to reckon from; zero for the newest before that
	// left the tool good.
	LastGood uuid.UUID
	// Rule decides which test points failed; simple acceptance when empty.
	Rule metrology.DecisionRule
	// AsOf is the moment looked from; nothing that happened later counts.
	AsOf time.Time
}

// SelectFailure finds the calibration that is asked about among those of a tool,
// withdrawn ones left out, in any order, and the one to reckon from.
//
// The error is a *ledger.Error: KindPrecondition with ReasonToolWithoutLimit for a
// tool that has no limit to fail, with ReasonNoFailedCalibration when none failed
// and none is named; KindInvalid for a calibration that is named and is not among
// them or has no as-found readings, and for a last good one that is not among
// them, is not before the failed one or did not leave the tool good.
func SelectFailure(tool ledger.Tool, calibrations []ledger.Calibration, q ImpactQuery) (ToolFailure, error) {
	limit, err := limitOf(tool, q.Rule)
	if err != nil {
		return ToolFailure{}, withoutLimit(tool, err)
	}
	f, err := failureAsked(tool, calibrations, q)
	if err != nil || q.LastGood == uuid.Nil {
		return f, err
	}
	good := calibrationOf(calibrations, q.LastGood)
	switch {
	case good == nil:
		return f, ledger.InvalidField("request", "last_good_calibration", "calibration %s is none of tool %s", q.LastGood, tool.Serial)
	case !good.OccurTime.Before(f.Failed.OccurTime):
		return f, ledger.InvalidField("request", "last_good_calibration", "calibration %s is of %s, not before the one that is asked about, of %s",
			q.LastGood, good.OccurTime.UTC().Format(time.RFC3339), f.Failed.OccurTime.UTC().Format(time.RFC3339))
	case !limit.leftGood(*good):
		return f, ledger.InvalidField("request", "last_good_calibration", "calibration %s did not leave the tool good: its readings as left, or as found without an adjustment, must all be within ±%g %%",
			q.LastGood, limit.percent)
	}
	f.LastGood = good
	return f, nil
}

// failureAsked is the calibration that is named, or else the newest that failed.
func failureAsked(tool ledger.Tool, calibrations []ledger.Calibration, q ImpactQuery) (ToolFailure, error) {
	if q.Calibration == uuid.Nil {
		f, failed, err := LatestFailure(tool, calibrations, q.Rule)
		if err == nil && !failed {
			err = &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonNoFailedCalibration, Resource: "tools/" + tool.Serial,
				Message: fmt.Sprintf("none of the %d calibrations on record of tool %s failed as found; name one to ask about it all the same", len(calibrations), tool.Serial)}
		}
		return f, err
	}
	asked := calibrationOf(calibrations, q.Calibration)
	if asked == nil {
		return ToolFailure{}, ledger.InvalidField("request", "calibration", "calibration %s is none of tool %s", q.Calibration, tool.Serial)
	}
	if len(pointsOf(*asked, ledger.AsFound)) == 0 {
		return ToolFailure{}, ledger.InvalidField("request", "calibration", "calibration %s has no as-found readings: nobody knows what the tool did before it", q.Calibration)
	}
	return FailureOf(tool, calibrations, *asked, q.Rule)
}

func calibrationOf(calibrations []ledger.Calibration, id uuid.UUID) *ledger.Calibration {
	i := slices.IndexFunc(calibrations, func(c ledger.Calibration) bool { return c.ID == id })
	if i < 0 {
		return nil
	}
	return &calibrations[i]
}

// withoutLimit says what the tool lacks.
func withoutLimit(tool ledger.Tool, err error) error {
	var bad *stats.ArgumentError
	if !errors.As(err, &bad) {
		return err
	}
	return &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonToolWithoutLimit, Resource: "tools/" + tool.Serial,
		Message: fmt.Sprintf("%s %s; it is %s", bad.Argument, bad.Requirement, bad.Value)}
}

// ProvenAt says whether a tool was good at a time, as far as its calibrations,
// withdrawn ones left out, in any order, can tell: the newest up to then left it
// good, the tool's months since then were not over, and the next calibration, if
// there is one, did not find it failed. Days end in the location.
func ProvenAt(tool ledger.Tool, location *time.Location, calibrations []ledger.Calibration, at time.Time, rule metrology.DecisionRule) bool {
	limit, err := limitOf(tool, rule)
	if err != nil {
		return false
	}
	var inForce, next *ledger.Calibration
	for i := range calibrations {
		switch c := &calibrations[i]; {
		case c.OccurTime.After(at):
			if next == nil || c.OccurTime.Before(next.OccurTime) {
				next = c
			}
		case inForce == nil || c.OccurTime.After(inForce.OccurTime):
			inForce = c
		}
	}
	if inForce == nil || !limit.leftGood(*inForce) || next != nil && limit.failedAsFound(*next) {
		return false
	}
	if tool.IntervalMonths == 0 {
		return true
	}
	due, err := metrology.CalendarDue(inForce.OccurTime, tool.IntervalMonths, location)
	return err == nil && !at.After(due)
}

// WorstPercent is the deviation of test points farthest from zero, percent of the
// reference; nil when a reading shows no torque at all, and for no points.
func WorstPercent(points []ImpactPoint) *float64 {
	var worst *float64
	for _, p := range points {
		if p.WorstPercent == nil {
			return nil
		}
		if worst == nil || math.Abs(*p.WorstPercent) > math.Abs(*worst) {
			v := *p.WorstPercent
			worst = &v
		}
	}
	return worst
}
