package ledger

import "math"

// CalibrationDocument says what the laboratory's paper is. A declaration of
// conformance comes with a new tool and holds for its type (ISO 6789-1:2017); a
// calibration certificate states readings with their uncertainty (ISO
// 6789-2:2017). The first is not the second.
type CalibrationDocument uint8

// Calibration documents.
const (
	DeclarationOfConformance CalibrationDocument = iota + 1
	CalibrationCertificate
)

// CalibrationDocuments are the words of CalibrationDocument.
var CalibrationDocuments = Words[CalibrationDocument]{
	what:  "calibration document",
	names: []string{"declaration-of-conformance", "calibration-certificate"},
}

// DecisionRule names how measurement uncertainty is taken into account when
// conformity is stated (ISO/IEC 17025:2017, 7.1.3).
type DecisionRule uint8

// Decision rules.
const (
	RuleSimpleAcceptance DecisionRule = iota + 1
	RuleGuardBand
	RuleManagedGuardBand
)

// DecisionRules are the words of DecisionRule.
var DecisionRules = Words[DecisionRule]{
	what:  "decision rule",
	names: []string{"simple-acceptance", "guard-band", "managed-guard-band"},
}

// Verdict is a statement of conformity, with the four outcomes of
// ILAC-G8:09/2019.
type Verdict uint8

// Verdicts, best first.
const (
	VerdictPass Verdict = iota + 1
	VerdictConditionalPass
	VerdictConditionalFail
	VerdictFail
)

// Verdicts are the words of Verdict.
var Verdicts = Words[Verdict]{
	what:  "verdict",
	names: []string{"pass", "conditional-pass", "conditional-fail", "fail"},
}

// Accepted says whether it lets the tool be used.
func (v Verdict) Accepted() bool { return v == VerdictPass || v == VerdictConditionalPass }

// CalibrationVerdict is what the server computed from the readings when it took
// the calibration in, kept beside them. Percent are of the reference reading.
type CalibrationVerdict struct {
	// Rule is the decision rule that was applied.
	Rule DecisionRule
	// Edition is that of ISO 6789 whose test points were asked for, such as 2017.
	Edition string
	// LimitPercent is the maximum permissible deviation for the type and class.
	LimitPercent float64
	// AsFound and AsLeft are of the worst reading of the phase; 0 when none was
	// taken.
	AsFound, AsLeft Verdict
	// WorstAsFoundPercent and WorstAsLeftPercent are the deviations farthest from
	// zero, with sign; nil without readings, and where a reading showed no torque,
	// which has no deviation.
	WorstAsFoundPercent, WorstAsLeftPercent *float64
	// ConformityProbability is that of the worst reading the tool left the
	// laboratory with (JCGM 106:2012); nil when no uncertainty is stated for it.
	ConformityProbability *float64
	// TestUncertaintyRatio is the smallest of the test points; nil likewise.
	TestUncertaintyRatio *float64
	// Deficiencies say what the standard asks for and the calibration lacks, in
	// plain words.
	Deficiencies []string
}

// Left is the verdict on the tool as it left the laboratory: as left, or as
// found when it was not adjusted.
func (v *CalibrationVerdict) Left() Verdict {
	if v.AsLeft != 0 {
		return v.AsLeft
	}
	return v.AsFound
}

// DisagreesWith says whether the laboratory's own verdict lets pass what this one
// does not, or the reverse; never when the laboratory states none.
func (v *CalibrationVerdict) DisagreesWith(stated Verdict) bool {
	return stated != 0 && v.Left() != 0 && stated.Accepted() != v.Left().Accepted()
}

// LeftIn gives the phase that Left is about, and its worst deviation.
func (v *CalibrationVerdict) LeftIn() (phase CalibrationPhase, worstPercent *float64) {
	if v.AsLeft != 0 {
		return AsLeft, v.WorstAsLeftPercent
	}
	return AsFound, v.WorstAsFoundPercent
}

// WorstTarget gives the test point, newton metres, at which a reading of the
// phase lies farthest from its target in percent of the reading; false without
// readings.
func (r *Calibration) WorstTarget(phase CalibrationPhase) (target float64, ok bool) {
	most := -1.0
	for _, p := range r.Points {
		for _, v := range p.ReadingsNewtonMetres {
			size := math.Inf(1)
			if v > 0 {
				size = math.Abs(p.TargetNewtonMetres-v) / v
			}
			if p.Phase == phase && size > most {
				most, target, ok = size, p.TargetNewtonMetres, true
			}
		}
	}
	return target, ok
}

// Proving leaves out of a tool's calibrations, which must be in order of time,
// those from which no interval is counted: a declaration of conformance says that
// tools of the type conform, so it stands for a new tool alone, with no
// calibration before it.
func Proving(calibrations []*Calibration) []*Calibration {
	var proving []*Calibration
	for i, c := range calibrations {
		if i == 0 || c.Document != DeclarationOfConformance {
			proving = append(proving, c)
		}
	}
	return proving
}

// canonical adds the verdict to the link of the chain: what was decided then must
// not be decided otherwise in silence.
func (v *CalibrationVerdict) canonical(c *canonical) {
	if v == nil {
		return
	}
	named(c, "verdict.rule", DecisionRules, v.Rule)
	c.text("verdict.edition", v.Edition)
	c.number("verdict.limit", v.LimitPercent)
	named(c, "verdict.as_found", Verdicts, v.AsFound)
	named(c, "verdict.as_left", Verdicts, v.AsLeft)
	for _, one := range []struct {
		key   string
		value *float64
	}{
		{"verdict.worst_as_found", v.WorstAsFoundPercent}, {"verdict.worst_as_left", v.WorstAsLeftPercent},
		{"verdict.probability", v.ConformityProbability}, {"verdict.ratio", v.TestUncertaintyRatio},
	} {
		if one.value != nil {
			c.figure(one.key, *one.value)
		}
	}
	for _, d := range v.Deficiencies {
		c.text("verdict.deficiency", d)
	}
}
