package analysis

import (
	"errors"
	"math"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// verdictEdition is the edition of ISO 6789 whose test points are asked for.
const verdictEdition = metrology.Edition2017

var decisionRules = map[ledger.DecisionRule]metrology.DecisionRule{
	ledger.RuleSimpleAcceptance: metrology.SimpleAcceptance,
	ledger.RuleGuardBand:        metrology.GuardBand,
	ledger.RuleManagedGuardBand: metrology.ManagedGuardBand,
}

var verdictOfOutcome = map[metrology.Outcome]ledger.Verdict{
	metrology.Pass: ledger.VerdictPass, metrology.ConditionalPass: ledger.VerdictConditionalPass,
	metrology.ConditionalFail: ledger.VerdictConditionalFail, metrology.Fail: ledger.VerdictFail,
}

// CalibrationVerdict computes the verdict on a calibration from its readings:
// every reading of each phase, under the decision rule that the calibration
// names, simple acceptance when it names none, against the maximum permissible
// deviation of ISO 6789-1:2017 for the tool's type and class.
//
// Probability (JCGM 106:2012, 7.3-7.4) and test uncertainty ratio are of the
// phase that the tool left the laboratory in: the probability of its worst
// reading, the ratio the smallest of its test points; each nil where no
// uncertainty is stated. A reading of no torque has no deviation: its phase
// fails, and neither worst deviation nor probability is told.
//
// It gives nil for a tool without a type and class or without a maximum torque,
// for which ISO 6789-1 knows no limit. It fails with an error of
// ledger.KindInvalid when the rule needs the expanded uncertainty of a test point
// that has none, and when the figures of a test point are too far apart to be
// reckoned with.
func CalibrationVerdict(tool ledger.Tool, c *ledger.Calibration) (*ledger.CalibrationVerdict, error) {
	class, err := metrology.ParseToolClass(tool.TypeClass)
	if err != nil || !(tool.MaximumNewtonMetres > 0) {
		return nil, nil //nolint:nilerr // a tool without a class or a range has no verdict
	}
	rule := c.Rule
	if rule == 0 {
		rule = ledger.RuleSimpleAcceptance
	}
	if err := needsUncertainty(rule, c.Points); err != nil {
		return nil, err
	}
	v := &ledger.CalibrationVerdict{Rule: rule, Edition: string(verdictEdition)}
	found, left := phasePoints(c.Points, ledger.AsFound), phasePoints(c.Points, ledger.AsLeft)
	a, err := metrology.Calibration{
		Class: class, Range: verdictRange(tool, c.Points), Edition: verdictEdition, Rule: decisionRules[rule],
		DeviceUncertaintyPercent: c.DeviceUncertaintyPercent, AsFound: found.points, AsLeft: left.points,
	}.Assess()
	if err != nil {
		return nil, unreckonable(err)
	}
	v.LimitPercent = a.LimitPercent
	v.AsFound, v.WorstAsFoundPercent = found.verdict(a.AsFound)
	v.AsLeft, v.WorstAsLeftPercent = left.verdict(a.AsLeft)
	out, idle := a.AsFound, found.idle
	if v.AsLeft != 0 {
		out, idle = a.AsLeft, left.idle
	}
	if v.ConformityProbability, v.TestUncertaintyRatio, err = confidence(out, a.LimitPercent); err != nil {
		return nil, unreckonable(err)
	}
	if len(idle) > 0 {
		v.ConformityProbability = nil
	}
	v.Deficiencies = deficiencies(tool, c, class, a, found, left)
	return v, nil
}

// needsUncertainty refuses a rule that keeps a guard band of the uncertainty
// where none is stated. To fall back to another rule would be to state
// conformity under a rule that nobody asked for.
func needsUncertainty(rule ledger.DecisionRule, points []ledger.CalibrationPoint) error {
	if rule == ledger.RuleSimpleAcceptance {
		return nil
	}
	for _, p := range points {
		if p.ExpandedUncertaintyNewtonMetres == 0 {
			return ledger.InvalidField("calibration", "decision_rule",
				"%s needs the expanded uncertainty of every test point, and %g N.m %s has none; expected it, or simple-acceptance",
				ledger.DecisionRules.Name(rule), p.TargetNewtonMetres, ledger.CalibrationPhases.Name(p.Phase))
		}
	}
	return nil
}

// unreckonable tells figures with which no deviation or uncertainty in percent
// can be reckoned, such as an uncertainty beyond all bounds of the reading.
func unreckonable(err error) error {
	detail := err.Error()
	var out *metrology.RangeError
	if errors.As(err, &out) {
		detail = out.Error()
	}
	return ledger.InvalidField("calibration", "points", "no verdict can be computed from the test points: %s", detail)
}

// verdictRange is the tool's scale. Where its lowest torque is not on record the
// lowest test point stands for it, so that only the others are asked for.
func verdictRange(tool ledger.Tool, points []ledger.CalibrationPoint) metrology.TorqueRange {
	r := metrology.TorqueRange{Lowest: tool.MinimumNewtonMetres, Maximum: tool.MaximumNewtonMetres, Graduation: tool.ResolutionNewtonMetres}
	if r.Lowest == 0 {
		r.Lowest = r.Maximum
		for _, p := range points {
			r.Lowest = math.Min(r.Lowest, p.TargetNewtonMetres)
		}
	}
	return r
}

// phaseOfReadings are the test points of one phase.
type phaseOfReadings struct {
	phase ledger.CalibrationPhase
	given []ledger.CalibrationPoint
	// points hold the readings that have a deviation; idle are the targets at which
	// a reading showed no torque.
	points []metrology.TestPoint
	idle   []float64
}

func phasePoints(points []ledger.CalibrationPoint, phase ledger.CalibrationPhase) phaseOfReadings {
	out := phaseOfReadings{phase: phase}
	for _, p := range points {
		if p.Phase != phase {
			continue
		}
		out.given = append(out.given, p)
		point := metrology.TestPoint{Target: p.TargetNewtonMetres, ExpandedUncertainty: p.ExpandedUncertaintyNewtonMetres, CoverageFactor: p.CoverageFactor}
		none := false
		for _, v := range p.ReadingsNewtonMetres {
			a, err := metrology.Reading{Target: p.TargetNewtonMetres, Reference: v}.DeviationPercent()
			if err != nil || math.IsInf(a, 0) {
				none = true
				continue
			}
			point.References = append(point.References, v)
		}
		if none {
			out.idle = append(out.idle, p.TargetNewtonMetres)
		}
		if len(point.References) > 0 {
			out.points = append(out.points, point)
		}
	}
	return out
}

// verdict gives the verdict on the phase, and its deviation farthest from zero.
func (p phaseOfReadings) verdict(a metrology.PhaseAssessment) (ledger.Verdict, *float64) {
	switch {
	case len(p.idle) > 0:
		return ledger.VerdictFail, nil
	case !a.Taken:
		return 0, nil
	}
	return verdictOfOutcome[a.Outcome], &worstPoint(a).WorstPercent
}

// worstPoint is the test point with the deviation farthest from zero; nil when
// there is none.
func worstPoint(a metrology.PhaseAssessment) *metrology.PointAssessment {
	var worst *metrology.PointAssessment
	for i := range a.Points {
		if worst == nil || math.Abs(a.Points[i].WorstPercent) > math.Abs(worst.WorstPercent) {
			worst = &a.Points[i]
		}
	}
	return worst
}

// confidence gives the probability that the worst reading conforms and the
// smallest test uncertainty ratio.
func confidence(a metrology.PhaseAssessment, limit float64) (probability, ratio *float64, err error) {
	tolerance := metrology.Symmetric(limit)
	if w := worstPoint(a); w != nil && w.UncertaintyPercent > 0 {
		p, err := metrology.Estimate{Value: w.WorstPercent, StandardUncertainty: w.UncertaintyPercent / 2}.ConformityProbability(tolerance)
		if err != nil {
			return nil, nil, err
		}
		probability = &p
	}
	for _, p := range a.Points {
		if p.UncertaintyPercent == 0 {
			continue
		}
		r, err := tolerance.TestUncertaintyRatio(p.UncertaintyPercent)
		if err != nil {
			return nil, nil, err
		}
		if ratio == nil || r < *ratio {
			ratio = &r
		}
	}
	if ratio != nil && math.IsInf(*ratio, 0) {
		return nil, nil, &metrology.RangeError{Field: "test uncertainty ratio", Value: *ratio, Allowed: "a finite number"}
	}
	return probability, ratio, nil
}
