package rules

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// toolClasses are the types and classes of ISO 6789-1:2017 by their code.
var toolClasses = sync.OnceValue(func() map[string]metrology.ToolClass {
	m := map[string]metrology.ToolClass{}
	for _, c := range metrology.ToolClasses() {
		m[c.Code()] = c
	}
	return m
})

// proveTools is where it is asked that measuring equipment be calibrated at
// intervals or before use, and be traceable.
var proveTools = metrology.Source{Title: "ISO 9001", Edition: "2015", Place: "7.1.5.2, as paraphrased", Mark: metrology.Seen}

// torqueTool says whether the tool measures torque. Others, such as an impact
// wrench, are calibrated only where their owner gave them an interval.
func torqueTool(t *ledger.Tool) bool {
	switch t.Kind {
	case ledger.ToolTorqueWrench, ledger.ToolTorqueScrewdriver, ledger.ToolTorqueMultiplier:
		return true
	default: // the others go on below
	}
	return false
}

// knownTool is the tool that was used; nil when none was or it is not known.
func (f *Facts) knownTool() *ledger.Tool {
	if f.usedTool() == "" {
		return nil
	}
	return f.Tool
}

// checkCalibrationLapsed judges the tool's own due policy. A tool without one
// never falls due, as in the list of what falls due. The day on which it falls
// due is its last good one.
func checkCalibrationLapsed(f *Facts) []Finding {
	t := f.knownTool()
	if t == nil {
		return nil
	}
	finding := Finding{Source: "due policy of tool " + t.Serial}
	var why []string
	if c := f.Calibration; c != nil && t.IntervalMonths > 0 {
		calibrated := metrology.DateOf(c.OccurTime, f.homeZone())
		due := dayOfDate(calibrated.AddMonths(t.IntervalMonths))
		if used := dayOf(f.at().In(f.homeZone()).Date()); used > due {
			finding = finding.against(float64(used-due), 0, "d")
			why = append(why, fmt.Sprintf("it fell due on %s, %s after its calibration on %s, and was used %s later",
				due, quantity(int64(t.IntervalMonths), "month"), dayOfDate(calibrated), quantity(int64(used-due), "day")))
		}
	}
	if c := f.Calibration; c != nil && t.IntervalCycles > 0 && f.CyclesSince >= int64(t.IntervalCycles) {
		if finding.Figure == nil {
			finding = finding.against(float64(f.CyclesSince), float64(t.IntervalCycles), "cycles")
		}
		why = append(why, fmt.Sprintf("%d of its %s since the calibration on %s were used up before",
			f.CyclesSince, quantity(int64(t.IntervalCycles), "cycle"), localDate(c.OccurTime, f.homeZone())))
	}
	if t.DueAfterEvent && f.EventSince {
		why = append(why, "it was dropped, overloaded or repaired and not calibrated since")
	}
	if len(why) == 0 {
		return nil
	}
	finding.Message = fmt.Sprintf("Tool %s was past due: %s.", t.Serial, strings.Join(why, "; "))
	return one(finding)
}

// checkCalibrationUnknown speaks where a fact is missing: that is the point.
func checkCalibrationUnknown(f *Facts) []Finding {
	serial := f.usedTool()
	if serial == "" || f.Calibration != nil {
		return nil
	}
	t := f.Tool
	if t == nil {
		return one(Finding{
			Message: fmt.Sprintf("Tool %s is not known here, so nothing shows that it was calibrated.", serial),
			Source:  proveTools.String(),
		})
	}
	if !torqueTool(t) && t.IntervalMonths == 0 && t.IntervalCycles == 0 {
		return nil
	}
	return one(Finding{
		Message: fmt.Sprintf("Tool %s had no calibration on record on %s.", serial, localDate(f.at(), f.homeZone())),
		Source:  proveTools.String(),
	})
}

// checkCalibrationFailed judges the readings that the tool went back to work
// with: as left, or as found when it was not adjusted, every one of them. The
// verdict kept with the calibration holds, under its decision rule; without one,
// simple acceptance.
func checkCalibrationFailed(f *Facts) []Finding {
	t := f.knownTool()
	if t == nil || f.Calibration == nil {
		return nil
	}
	if v := f.Calibration.Verdict; v != nil {
		return f.failedVerdict(t, v)
	}
	class, known := toolClasses()[t.TypeClass]
	if !known {
		return nil
	}
	limit, err := class.LimitPercent(t.MaximumNewtonMetres)
	if err != nil {
		return nil
	}
	worst, outside := worstReading(f.Calibration.Points, limit)
	if !outside {
		return nil
	}
	finding := Finding{Source: class.Source.String() + ", simple acceptance"}
	deviation := "no torque at all"
	if !math.IsInf(worst.deviation, 0) {
		figure, bound := apart(worst.deviation, math.Copysign(limit, worst.deviation))
		deviation = fmt.Sprintf("a deviation of %s %% against %s %%", figure, bound)
		finding = finding.against(worst.deviation, math.Copysign(limit, worst.deviation), "%")
	}
	finding.Message = fmt.Sprintf("Tool %s failed its calibration on %s: %s at %s N.m, %s, for type and class %s.",
		t.Serial, localDate(f.Calibration.OccurTime, f.homeZone()), deviation, decimal(worst.target, 2),
		strings.ReplaceAll(ledger.CalibrationPhases.Name(worst.phase), "-", " "), class.Code())
	return one(finding)
}

// failedVerdict goes by what was decided when the calibration was taken in.
func (f *Facts) failedVerdict(t *ledger.Tool, v *ledger.CalibrationVerdict) []Finding {
	if v.Left() == 0 || v.Left().Accepted() {
		return nil
	}
	phase, worst := v.LeftIn()
	source := metrology.Source{Title: "ISO 6789-1", Edition: v.Edition, Mark: metrology.Memory}.String()
	if class, known := toolClasses()[t.TypeClass]; known {
		source = class.Source.String()
	}
	rule := strings.ReplaceAll(ledger.DecisionRules.Name(v.Rule), "-", " ")
	finding := Finding{Source: source + ", " + rule}
	deviation := "no torque at all"
	if worst != nil && math.Abs(*worst) <= math.MaxFloat64 && v.LimitPercent <= math.MaxFloat64 {
		limit := math.Copysign(v.LimitPercent, *worst)
		figure, bound := apart(*worst, limit)
		deviation = fmt.Sprintf("a deviation of %s %% against %s %%", figure, bound)
		finding = finding.against(*worst, limit, "%")
	}
	where, of := "", ""
	if target, ok := f.Calibration.WorstTarget(phase); ok {
		where = fmt.Sprintf(" at %s N.m", decimal(target, 2))
	}
	if t.TypeClass != "" {
		of = ", for type and class " + t.TypeClass
	}
	finding.Message = fmt.Sprintf("Tool %s failed its calibration on %s: %s%s, %s%s; %s under %s.",
		t.Serial, localDate(f.Calibration.OccurTime, f.homeZone()), deviation, where,
		strings.ReplaceAll(ledger.CalibrationPhases.Name(phase), "-", " "), of,
		strings.ReplaceAll(ledger.Verdicts.Name(v.Left()), "-", " "), rule)
	return one(finding)
}

// failedReading is the reading farthest outside the limit; its deviation is
// infinite where the tool gave no torque.
type failedReading struct {
	phase     ledger.CalibrationPhase
	target    float64 // N·m
	deviation float64 // percent of the reference
}

func worstReading(points []ledger.CalibrationPoint, limitPercent float64) (worst failedReading, outside bool) {
	phase := ledger.AsFound
	for _, p := range points {
		if p.Phase == ledger.AsLeft {
			phase = ledger.AsLeft
		}
	}
	for _, p := range points {
		if p.Phase != phase {
			continue
		}
		for _, v := range p.ReadingsNewtonMetres {
			a, err := metrology.Reading{Target: p.TargetNewtonMetres, Reference: v}.DeviationPercent()
			if err != nil {
				return failedReading{phase, p.TargetNewtonMetres, math.Inf(-1)}, true
			}
			verdict, err := metrology.Result{Deviation: a, Limit: limitPercent}.Decide(metrology.SimpleAcceptance)
			if (err != nil || verdict == metrology.Fail) && (!outside || math.Abs(a) > math.Abs(worst.deviation)) {
				worst, outside = failedReading{phase, p.TargetNewtonMetres, a}, true
			}
		}
	}
	return worst, outside
}

func dayOfDate(d metrology.Date) day { return dayOf(d.Year, d.Month, d.Day) }

func localDate(t time.Time, loc *time.Location) day { return dayOf(t.In(loc).Date()) }

// quantity is a count with its noun.
func quantity(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
