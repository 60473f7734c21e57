package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
	"jointledger/internal/reliability"
	"jointledger/internal/stats"
)

// ToolDrift is how one tool drifted at one test point over its calibrations.
type ToolDrift struct {
	Serial             string
	TargetNewtonMetres float64
	// LimitPercent is the permissible deviation for its type and class; 0 for none.
	LimitPercent float64
	// Points are what its calibrations found and left, oldest first, at least two.
	Points []DeviationSeen
	// Line is nil when there are no two points of different times to draw one
	// through.
	Line *DriftLine
	// Sentence is the finding in words.
	Sentence string
}

// DeviationSeen is what one calibration found and left at a test point: the mean
// of the readings' deviations, percent of the reference (ISO 6789-1:2017). A
// figure that is not known is nil.
type DeviationSeen struct {
	At                        time.Time
	FoundPercent, LeftPercent *float64
	// UndonePercent is the deviation as it would have been found without the
	// adjustments since the line began: what every adjustment took away is added
	// again. Nil for a point that the line does not go through.
	UndonePercent *float64
}

// DriftLine is the straight line through the deviations, adjustments undone.
type DriftLine struct {
	PercentPerYear float64
	// Interval is Student's; nil below three points.
	Interval *stats.Interval
	Points   int
}

// DriftCautions are what a reader must know before acting on drifts.
func DriftCautions() []string {
	return []string{
		"The line takes out every adjustment, as if the tool had never been touched; it holds only as long as the tool wears as before and nothing befalls it.",
		"The deviations carry the laboratory's uncertainty; a slope whose interval holds 0 may be nothing but that.",
		"A tool inside its limit at one test point may be outside at another; the verdict counts all of them.",
	}
}

// ToolDrifts gives the drift of a tool at each test point at which it was
// calibrated at least twice, the lowest torque first. The error is a
// *stats.ArgumentError for a confidence not strictly between 0 and 1.
func ToolDrifts(t CalibratedTool, confidence float64) ([]ToolDrift, error) {
	var drifts []ToolDrift
	limit, _ := classLimit(t.Tool)
	for _, target := range testPointsOf(t) {
		d := ToolDrift{Serial: t.Tool.Serial, TargetNewtonMetres: target, LimitPercent: limit}
		for _, c := range t.Calibrations {
			p := DeviationSeen{At: c.At, FoundPercent: c.meanDeviation(ledger.AsFound, target), LeftPercent: c.meanDeviation(ledger.AsLeft, target)}
			if p.FoundPercent != nil || p.LeftPercent != nil {
				d.Points = append(d.Points, p)
			}
		}
		if len(d.Points) < 2 {
			continue
		}
		undoAdjustments(d.Points)
		line, err := fitLine(d.Points, confidence)
		if err != nil {
			return nil, err
		}
		d.Line = line
		d.Sentence = d.sentence()
		drifts = append(drifts, d)
	}
	return drifts, nil
}

// testPointsOf are the torques at which the tool was calibrated, rising.
func testPointsOf(t CalibratedTool) []float64 {
	var targets []float64
	for _, c := range t.Calibrations {
		for _, p := range c.Points {
			if !slices.Contains(targets, p.TargetNewtonMetres) {
				targets = append(targets, p.TargetNewtonMetres)
			}
		}
	}
	slices.SortFunc(targets, cmp.Compare[float64])
	return targets
}

// meanDeviation is the mean of the deviations at a test point in a phase; nil when
// nothing was read, or a reading was no torque at all.
func (c CalibrationSeen) meanDeviation(phase ledger.CalibrationPhase, target float64) *float64 {
	sum, n := 0.0, 0
	for _, p := range c.Points {
		if p.Phase != phase || p.TargetNewtonMetres != target {
			continue
		}
		for _, v := range p.ReadingsNewtonMetres {
			a, err := metrology.Reading{Target: target, Reference: v}.DeviationPercent()
			if err != nil {
				return nil
			}
			sum += a
			n++
		}
	}
	if n == 0 {
		return nil
	}
	mean := sum / float64(n)
	return &mean
}

// undoAdjustments fills in UndonePercent. Where a calibration did not say how it
// found the tool, how much it adjusted is not known, and what came before can't be
// put on one line with what came after.
func undoAdjustments(points []DeviationSeen) {
	first := 0
	for i, p := range points {
		if p.FoundPercent == nil {
			first = i
		}
	}
	adjusted := 0.0
	for i := first; i < len(points); i++ {
		p := &points[i]
		found := p.FoundPercent
		if found == nil {
			found = p.LeftPercent
		}
		undone := *found + adjusted
		p.UndonePercent = &undone
		if p.LeftPercent != nil {
			adjusted += *found - *p.LeftPercent
		}
	}
}

// fitLine fits the line; nil for fewer than two points or all of one time.
func fitLine(points []DeviationSeen, confidence float64) (*DriftLine, error) {
	var fit []reliability.DriftPoint
	for _, p := range points {
		if p.UndonePercent != nil {
			years := p.At.Sub(points[0].At).Hours() / (12 * hoursPerMonth)
			fit = append(fit, reliability.DriftPoint{Time: years, Deviation: *p.UndonePercent})
		}
	}
	if !(confidence > 0 && confidence < 1) {
		return nil, badImpact("confidence", fmt.Sprintf("%g", confidence), "must be above 0 and below 1")
	}
	if len(fit) < 2 || fit[0].Time == fit[len(fit)-1].Time {
		return nil, nil
	}
	d, err := reliability.FitDrift(fit, confidence)
	if err != nil {
		return nil, err
	}
	return &DriftLine{PercentPerYear: d.Slope, Interval: d.SlopeInterval, Points: len(fit)}, nil
}

func (d ToolDrift) sentence() string {
	last := d.Points[len(d.Points)-1]
	where := fmt.Sprintf("%s at %g N.m: ", d.Serial, d.TargetNewtonMetres)
	for _, p := range []struct {
		percent *float64
		words   string
	}{{last.FoundPercent, "last found at"}, {last.LeftPercent, "left at"}} {
		if p.percent != nil {
			where += fmt.Sprintf("%s %+.2f %%, ", p.words, *p.percent)
		}
	}
	switch {
	case d.Line == nil:
		return where + "no two calibrations that a line can be drawn through."
	case d.Line.Interval == nil:
		return where + fmt.Sprintf("drift %+.2f %% a year from two calibrations, which set no limits.", d.Line.PercentPerYear)
	}
	s := where + fmt.Sprintf("drift %+.2f %% a year (%+.2f to %+.2f, %d calibrations)", d.Line.PercentPerYear, d.Line.Interval.Lower, d.Line.Interval.Upper, d.Line.Points)
	if d.Line.Interval.Lower <= 0 && d.Line.Interval.Upper >= 0 {
		return s + ", which may be chance."
	}
	return s + "."
}
