package report

import (
	"fmt"
	"strings"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// Verdict is what the readings of one phase of a calibration say, under the type
// and class of the tool.
type Verdict struct {
	// Word is `pass`, `fail`, `incomplete` when every reading passed but the
	// standard asks for more, `not taken`, or `not judged`.
	Word string `json:"verdict"`
	// LimitPct is the maximum permissible relative deviation, WorstPct the
	// deviation farthest from zero; both percent of the reference reading. Null
	// when not judged.
	LimitPct *float64 `json:"limit_pct"`
	WorstPct *float64 `json:"worst_deviation_pct"`
	// Why says what keeps it from a pass; empty for a pass.
	Why []string `json:"why"`
}

// The words of a verdict.
const (
	VerdictPass       = "pass"
	VerdictFail       = "fail"
	VerdictIncomplete = "incomplete"
	VerdictNotTaken   = "not taken"
	VerdictNotJudged  = "not judged"
)

// DecisionRule is the rule under which verdicts on calibrations are given: as the
// rules on the work judge them, a reading is compared with the limit itself.
const DecisionRule = metrology.SimpleAcceptance

// Judge computes the verdicts on all calibrations of the tool under ISO
// 6789-1:2017, simple acceptance: every reading must pass, not their mean.
func (t *Tool) Judge() {
	for i := range t.Calibrations {
		c := &t.Calibrations[i]
		c.AsFound, c.AsLeft = t.judge(c.Points)
	}
}

func (t *Tool) judge(points []CalibrationPoint) (asFound, asLeft Verdict) {
	notJudged := func(why string) (Verdict, Verdict) {
		v := Verdict{Word: VerdictNotJudged, Why: []string{why}}
		return v, v
	}
	if t.TypeClass == "" {
		return notJudged("the tool has no type and class under ISO 6789-1 on register")
	}
	class, err := metrology.ParseToolClass(string(t.TypeClass))
	if err != nil {
		return notJudged(err.Error())
	}
	c := metrology.Calibration{Class: class, Edition: metrology.Edition2017, Rule: DecisionRule,
		Range: metrology.TorqueRange{Lowest: value(t.MinimumNM), Maximum: value(t.MaximumNM), Graduation: value(t.ResolutionNM)}}
	for _, p := range points {
		point := metrology.TestPoint{Target: p.TargetNM, References: p.ReadingsNM,
			ExpandedUncertainty: value(p.UncertaintyNM), CoverageFactor: value(p.CoverageFactor)}
		if p.Phase == ledger.CalibrationPhases.Name(ledger.AsFound) {
			c.AsFound = append(c.AsFound, point)
		} else {
			c.AsLeft = append(c.AsLeft, point)
		}
	}
	a, err := c.Assess()
	if err != nil {
		return notJudged(err.Error())
	}
	return verdictOf(a.AsFound, a.LimitPercent), verdictOf(a.AsLeft, a.LimitPercent)
}

func verdictOf(p metrology.PhaseAssessment, limit float64) Verdict {
	if !p.Taken {
		return Verdict{Word: VerdictNotTaken, Why: []string{}}
	}
	v := Verdict{Word: VerdictPass, LimitPct: &limit, Why: []string{}}
	worst := 0.0
	for _, point := range p.Points {
		if abs(point.WorstPercent) > abs(worst) {
			worst = point.WorstPercent
		}
	}
	v.WorstPct = &worst
	if !p.Conforms() {
		v.Word, v.Why = VerdictIncomplete, p.Deficiencies()
	}
	if p.Outcome != metrology.Pass {
		v.Word = VerdictFail
	}
	return v
}

// String writes the verdict for a person, such as `pass, worst +1.2 % of ±4 %`.
func (v Verdict) String() string {
	parts := []string{v.Word}
	if v.WorstPct != nil && v.LimitPct != nil {
		parts = append(parts, fmt.Sprintf("worst %+.2f %% of ±%g %% allowed", *v.WorstPct, *v.LimitPct))
	}
	text := strings.Join(parts, ", ")
	if len(v.Why) > 0 {
		text += ": " + strings.Join(v.Why, "; ")
	}
	return text
}

// loud is the verdict with its word in capitals, to be seen without colour.
func (v Verdict) loud() string {
	return strings.ToUpper(v.Word) + strings.TrimPrefix(v.String(), v.Word)
}

// value is the number, 0 when it was not given.
func value(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

func abs(v float64) float64 {
	if v < 0 {
		return -v
	}
	return v
}
