package analysis

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
	"jointledger/internal/stats"
)

// LatestFailure finds, among the calibrations of a tool (withdrawn ones left
// out, in any order), the newest whose as-found readings are not all accepted
// under the rule, and the newest before it that left the tool good. It goes by
// the readings alone, whatever the certificate's verdict. It is false when no
// calibration failed as found.
//
// The error is a *stats.ArgumentError for a tool without a type and class of
// ISO 6789-1 or without a maximum torque, which has no limit to fail, and for an
// unknown rule.
func LatestFailure(tool ledger.Tool, calibrations []ledger.Calibration, rule metrology.DecisionRule) (ToolFailure, bool, error) {
	limit, err := limitOf(tool, rule)
	if err != nil {
		return ToolFailure{}, false, err
	}
	var failed *ledger.Calibration
	for i, c := range calibrations {
		if limit.failedAsFound(c) && (failed == nil || c.OccurTime.After(failed.OccurTime)) {
			failed = &calibrations[i]
		}
	}
	if failed == nil {
		return ToolFailure{}, false, nil
	}
	return limit.before(*failed, calibrations), true, nil
}

// FailureOf sets beside the calibration that is asked about, failed or not, the
// newest before it that left the tool good. Errors as in LatestFailure.
func FailureOf(tool ledger.Tool, calibrations []ledger.Calibration, asked ledger.Calibration, rule metrology.DecisionRule) (ToolFailure, error) {
	limit, err := limitOf(tool, rule)
	if err != nil {
		return ToolFailure{}, err
	}
	return limit.before(asked, calibrations), nil
}

// toolLimit is the permissible deviation of one tool with the rule by which its
// readings are held against it.
type toolLimit struct {
	class   metrology.ToolClass
	percent float64
	rule    metrology.DecisionRule
}

func limitOf(tool ledger.Tool, rule metrology.DecisionRule) (toolLimit, error) {
	if rule == "" {
		rule = metrology.SimpleAcceptance
	}
	if !slices.Contains(metrology.DecisionRules(), rule) {
		return toolLimit{}, &stats.ArgumentError{Argument: "decision rule", Value: strconv.Quote(string(rule)),
			Requirement: "must be simple-acceptance, guard-band or managed-guard-band"}
	}
	class, err := metrology.ParseToolClass(tool.TypeClass)
	if err != nil {
		return toolLimit{}, &stats.ArgumentError{Argument: "type and class of tool " + tool.Serial, Value: strconv.Quote(tool.TypeClass),
			Requirement: "must be one of ISO 6789-1, such as II-A, for without it there is no limit that the tool can fail"}
	}
	percent, err := class.LimitPercent(tool.MaximumNewtonMetres)
	if err != nil {
		return toolLimit{}, &stats.ArgumentError{Argument: "maximum torque of tool " + tool.Serial,
			Value:       strconv.FormatFloat(tool.MaximumNewtonMetres, 'g', -1, 64) + " N·m",
			Requirement: "must be above 0 N·m, for the limit of ISO 6789-1 goes by it"}
	}
	return toolLimit{class: class, percent: percent, rule: rule}, nil
}

func (l toolLimit) before(failed ledger.Calibration, calibrations []ledger.Calibration) ToolFailure {
	f := ToolFailure{Failed: failed}
	for i, c := range calibrations {
		newer := f.LastGood == nil || c.OccurTime.After(f.LastGood.OccurTime)
		if newer && c.OccurTime.Before(failed.OccurTime) && l.leftGood(c) {
			f.LastGood = &calibrations[i]
		}
	}
	return f
}

func (l toolLimit) failedAsFound(c ledger.Calibration) bool {
	return slices.ContainsFunc(pointsOf(c, ledger.AsFound), func(p ledger.CalibrationPoint) bool {
		return !l.judge(p).Accepted()
	})
}

// leftGood says whether every reading of the phase that the tool left the
// laboratory in is accepted; a calibration without readings proves nothing.
func (l toolLimit) leftGood(c ledger.Calibration) bool {
	points := leftPoints(c)
	return len(points) > 0 && !slices.ContainsFunc(points, func(p ledger.CalibrationPoint) bool {
		return !l.judge(p).Accepted()
	})
}

// judge gives the outcome of a point's worst reading. A rule that needs an
// uncertainty falls back on simple acceptance at a point that states none. A
// point without readings fails: nothing was shown there.
func (l toolLimit) judge(p ledger.CalibrationPoint) metrology.Outcome {
	if len(p.ReadingsNewtonMetres) == 0 {
		return metrology.Fail
	}
	worst := metrology.Pass
	for _, v := range p.ReadingsNewtonMetres {
		worst = max(worst, l.judgeReading(metrology.Reading{Target: p.TargetNewtonMetres, Reference: v}, p))
	}
	return worst
}

func (l toolLimit) judgeReading(r metrology.Reading, p ledger.CalibrationPoint) metrology.Outcome {
	a, err := r.DeviationPercent()
	if err != nil {
		return metrology.Fail // no torque at all: as far outside as there is
	}
	rule, expanded := l.rule, 0.0
	if u, stated := standardUncertaintyPercent(p); stated {
		expanded = 2 * u
	} else {
		rule = metrology.SimpleAcceptance
	}
	outcome, err := metrology.Result{Deviation: a, Limit: l.percent, ExpandedUncertainty: expanded}.Decide(rule)
	if err != nil {
		return metrology.Fail
	}
	return outcome
}

// standardUncertaintyPercent is the certificate's U/k at a point, in percent of
// the mean reading; false when it states none. k is 2 when not given.
func standardUncertaintyPercent(p ledger.CalibrationPoint) (percent float64, stated bool) {
	mean := 0.0
	for _, v := range p.ReadingsNewtonMetres {
		mean += v / float64(len(p.ReadingsNewtonMetres))
	}
	u := p.ExpandedUncertaintyNewtonMetres
	if !(u > 0 && mean > 0) || math.IsInf(u/mean, 0) {
		return 0, false
	}
	k := p.CoverageFactor
	if !(k > 0) || math.IsInf(k, 0) {
		k = 2
	}
	return u / k / mean * 100, true
}

// pointsOf gives the points of one phase, by torque.
func pointsOf(c ledger.Calibration, phase ledger.CalibrationPhase) []ledger.CalibrationPoint {
	var points []ledger.CalibrationPoint
	for _, p := range c.Points {
		if p.Phase == phase {
			points = append(points, p)
		}
	}
	slices.SortStableFunc(points, func(a, b ledger.CalibrationPoint) int {
		return cmp.Compare(a.TargetNewtonMetres, b.TargetNewtonMetres)
	})
	return points
}

// leftPoints are the points the tool left the laboratory with: as left, or as
// found when it was not adjusted.
func leftPoints(c ledger.Calibration) []ledger.CalibrationPoint {
	if points := pointsOf(c, ledger.AsLeft); len(points) > 0 {
		return points
	}
	return pointsOf(c, ledger.AsFound)
}
