package analysis

import (
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// ReliabilityQuery says of which tools the calibrations are asked, and as of
// when. Different parts must all match; empty ones match everything.
type ReliabilityQuery struct {
	// AsOf is the moment looked from; a calibration after it does not count.
	AsOf time.Time
	// Kinds are kinds of tools.
	Kinds []ledger.ToolKind
	// TypeClasses are codes of ISO 6789-1 such as II-A.
	TypeClasses []string
	// Serials are those of single tools.
	Serials []string
}

// CalibratedTool is a tool with its calibrations.
type CalibratedTool struct {
	Tool ledger.Tool
	// Calibrations are those that were not corrected, oldest first.
	Calibrations []CalibrationSeen
}

// CalibrationSeen is what one calibration says.
type CalibrationSeen struct {
	At      time.Time
	Points  []ledger.CalibrationPoint
	Verdict *ledger.CalibrationVerdict // nil when none was computed
	// CyclesToNext are the fasteners tightened with the tool from then to the next
	// calibration; 0 for the newest.
	CyclesToNext int64
}

// limitPercent is the maximum permissible deviation that the calibration was
// judged by, or that of the tool's type and class; false when neither is known.
func (c CalibrationSeen) limitPercent(t ledger.Tool) (float64, bool) {
	if c.Verdict != nil && c.Verdict.LimitPercent > 0 {
		return c.Verdict.LimitPercent, true
	}
	return classLimit(t)
}

// classLimit is the maximum permissible deviation of ISO 6789-1:2017 for the
// tool's type and class; false for a tool without one.
func classLimit(t ledger.Tool) (float64, bool) {
	class, err := metrology.ParseToolClass(t.TypeClass)
	if err != nil {
		return 0, false
	}
	limit, err := class.LimitPercent(t.MaximumNewtonMetres)
	return limit, err == nil
}

// took says whether readings of a phase were taken.
func (c CalibrationSeen) took(phase ledger.CalibrationPhase) bool {
	for _, p := range c.Points {
		if p.Phase == phase && len(p.ReadingsNewtonMetres) > 0 {
			return true
		}
	}
	return false
}

// inside says whether every reading of a phase is inside the limit.
func (c CalibrationSeen) inside(phase ledger.CalibrationPhase, limitPercent float64) bool {
	for _, p := range c.Points {
		if p.Phase != phase {
			continue
		}
		for _, v := range p.ReadingsNewtonMetres {
			if _, outside := outsideLimit(metrology.Reading{Target: p.TargetNewtonMetres, Reference: v}, limitPercent); outside {
				return false
			}
		}
	}
	return true
}

// leftGood says whether the tool left the laboratory good: by the verdict that was
// computed then, otherwise by the readings as left, or as found when it was not
// adjusted.
func (c CalibrationSeen) leftGood(limitPercent float64) bool {
	if c.Verdict != nil && c.Verdict.Left() != 0 {
		return c.Verdict.Left().Accepted()
	}
	if c.took(ledger.AsLeft) {
		return c.inside(ledger.AsLeft, limitPercent)
	}
	return c.inside(ledger.AsFound, limitPercent)
}

// LeftOutReason says why two successive calibrations make no interval.
type LeftOutReason uint8

// Reasons for leaving out.
const (
	LeftOutNoLimit LeftOutReason = iota + 1
	LeftOutNotAsFound
	LeftOutNotGood
	LeftOutNoLength
)

// LeftOutReasons say each in a clause.
var LeftOutReasons = ledger.NewWords[LeftOutReason]("reason for leaving out",
	"no type and class that set a limit", "the later calibration has no readings as found",
	"the earlier calibration left the tool out of tolerance", "both calibrations at one moment")

// IntervalsOf gives the intervals between successive calibrations of a tool that
// say something about the time between them: the earlier one left it good, and
// the later one has readings as found. Whether it was then in tolerance is judged
// by the limit alone, whatever decision rule its verdict was given under: a guard
// band would take the laboratory's doubt for the tool's drift. Of the other pairs
// leftOut counts why they say nothing.
func IntervalsOf(t CalibratedTool, leftOut map[LeftOutReason]int64) []ToolInterval {
	var intervals []ToolInterval
	for i := 1; i < len(t.Calibrations); i++ {
		from, to := t.Calibrations[i-1], t.Calibrations[i]
		before, ok := from.limitPercent(t.Tool)
		after, known := to.limitPercent(t.Tool)
		switch {
		case !ok || !known:
			leftOut[LeftOutNoLimit]++
		case !to.took(ledger.AsFound):
			leftOut[LeftOutNotAsFound]++
		case !from.leftGood(before):
			leftOut[LeftOutNotGood]++
		case !to.At.After(from.At):
			leftOut[LeftOutNoLength]++
		default:
			intervals = append(intervals, ToolInterval{
				Tool: t.Tool, Start: from.At, End: to.At, Cycles: from.CyclesToNext, InTolerance: to.inside(ledger.AsFound, after),
			})
		}
	}
	return intervals
}
