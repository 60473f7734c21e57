package analysis

import (
	"fmt"
	"math"
	"slices"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// failedCalibration says whether the newest calibration did not let the tool
// pass: by the verdict that is kept with it, under its decision rule; where none
// is kept, outside the limit of ISO 6789-1:2017 for its type and class under
// simple acceptance. The readings are those as left, or as found when it was not
// adjusted. A tool without a type and class or without a maximum torque has no
// such limit.
func failedCalibration(in DueInput) (claim, bool) {
	if v := in.Last.Verdict; v != nil {
		return failedVerdict(in, v)
	}
	class, err := metrology.ParseToolClass(in.Tool.TypeClass)
	if err != nil {
		return claim{}, false
	}
	limit, err := class.LimitPercent(in.Tool.MaximumNewtonMetres)
	if err != nil {
		return claim{}, false
	}
	worst, ok := worstReading(in.Last.Points, limit)
	if !ok {
		return claim{}, false
	}
	deviation := "no torque at all"
	if a, err := worst.reading.DeviationPercent(); err == nil {
		deviation = fmt.Sprintf("a deviation of %+.1f %%", a)
	}
	return claim{at: in.Last.OccurTime, reason: DueCalibrationFailed, detail: fmt.Sprintf(
		"The calibration on %s found %s %s at %g N.m, outside ±%g %% for %s (ISO 6789-1:2017).",
		day(in.Last.OccurTime, in.Location), deviation, phaseWords[worst.phase], worst.reading.Target, limit, class.Code())}, true
}

func failedVerdict(in DueInput, v *ledger.CalibrationVerdict) (claim, bool) {
	if v.Left() == 0 || v.Left().Accepted() {
		return claim{}, false
	}
	phase, worst := v.LeftIn()
	deviation := "no torque at all"
	if worst != nil {
		deviation = fmt.Sprintf("a deviation of %+.1f %%", *worst)
	}
	where, of := "", ""
	if target, ok := in.Last.WorstTarget(phase); ok {
		where = fmt.Sprintf(" at %g N.m", target)
	}
	if in.Tool.TypeClass != "" {
		of = " for " + in.Tool.TypeClass
	}
	if worst != nil && math.Abs(*worst) <= v.LimitPercent {
		ratio := ""
		if r := v.TestUncertaintyRatio; r != nil {
			ratio = fmt.Sprintf(" (test uncertainty ratio %.2g)", *r)
		}
		return claim{at: in.Last.OccurTime, reason: DueCalibrationFailed, detail: fmt.Sprintf(
			"The calibration on %s proves nothing: its uncertainty leaves no room within ±%g %%%s (ISO 6789-1:%s)%s, though the worst deviation, %+.1f %% %s%s, lies inside: %s under %s.",
			day(in.Last.OccurTime, in.Location), v.LimitPercent, of, v.Edition, ratio, *worst, phaseWords[phase], where,
			ledger.Verdicts.Name(v.Left()), ledger.DecisionRules.Name(v.Rule))}, true
	}
	return claim{at: in.Last.OccurTime, reason: DueCalibrationFailed, detail: fmt.Sprintf(
		"The calibration on %s found %s %s%s against ±%g %%%s (ISO 6789-1:%s): %s under %s.",
		day(in.Last.OccurTime, in.Location), deviation, phaseWords[phase], where, v.LimitPercent, of, v.Edition,
		ledger.Verdicts.Name(v.Left()), ledger.DecisionRules.Name(v.Rule))}, true
}

var phaseWords = map[ledger.CalibrationPhase]string{ledger.AsFound: "as found", ledger.AsLeft: "as left"}

type phaseReading struct {
	phase   ledger.CalibrationPhase
	reading metrology.Reading
}

// worstReading gives the reading farthest outside the limit; false when all of
// the phase that counts are inside.
func worstReading(points []ledger.CalibrationPoint, limitPercent float64) (phaseReading, bool) {
	phase := ledger.AsFound
	if slices.ContainsFunc(points, func(p ledger.CalibrationPoint) bool { return p.Phase == ledger.AsLeft }) {
		phase = ledger.AsLeft
	}
	var worst phaseReading
	most := 0.0
	for _, p := range points {
		if p.Phase != phase {
			continue
		}
		for _, v := range p.ReadingsNewtonMetres {
			r := metrology.Reading{Target: p.TargetNewtonMetres, Reference: v}
			if size, outside := outsideLimit(r, limitPercent); outside && size > most {
				most, worst = size, phaseReading{phase, r}
			}
		}
	}
	return worst, most > 0
}

// outsideLimit says whether a reading lies outside the limit, and how far off it
// is in percent of the reference. A reading of zero is the farthest there is.
func outsideLimit(r metrology.Reading, limitPercent float64) (size float64, outside bool) {
	a, err := r.DeviationPercent()
	if err != nil {
		return math.Inf(1), true
	}
	outcome, err := metrology.Result{Deviation: a, Limit: limitPercent}.Decide(metrology.SimpleAcceptance)
	return math.Abs(a), err != nil || outcome == metrology.Fail
}
