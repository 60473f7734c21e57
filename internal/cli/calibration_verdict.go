package cli

import (
	"fmt"
	"math"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// certificateColumns are what a certificate says besides its readings, under the
// names of the import format.
func certificateColumns[T any](of func(T) *pb.Calibration) []output.Column[T] {
	return []output.Column[T]{
		{Name: "document", Value: func(t T) any { return text(wordOf(ledger.CalibrationDocuments, of(t).GetDocument())) }},
		{Name: "decision_rule", Value: func(t T) any { return text(wordOf(ledger.DecisionRules, of(t).GetDecisionRule())) }},
		{Name: "stated_verdict", Value: func(t T) any { return text(wordOf(ledger.Verdicts, of(t).GetStatedVerdict())) }},
		{Name: "air_c", Value: func(t T) any { return pointed(of(t).AirCelsius) }},
		{Name: "humidity_pct", Value: func(t T) any { return pointed(of(t).HumidityPercent) }},
		{Name: "device_uncertainty_pct", Value: func(t T) any { return figure(of(t).GetDeviceUncertaintyPercent()) }},
	}
}

func verdictColumns() []output.Column[*pb.CalibrationVerdict] {
	type verdict = *pb.CalibrationVerdict
	return []output.Column[verdict]{
		{Name: "decision_rule", Value: func(v verdict) any { return text(wordOf(ledger.DecisionRules, v.GetDecisionRule())) }},
		{Name: "edition", Value: func(v verdict) any { return text(v.GetEdition()) }},
		{Name: "limit_pct", Value: func(v verdict) any { return v.GetLimitPercent() }},
		{Name: "as_found", Value: func(v verdict) any { return text(wordOf(ledger.Verdicts, v.GetAsFound())) }},
		{Name: "as_left", Value: func(v verdict) any { return text(wordOf(ledger.Verdicts, v.GetAsLeft())) }},
		{Name: "worst_as_found_pct", Value: func(v verdict) any { return pointed(v.WorstAsFoundPercent) }},
		{Name: "worst_as_left_pct", Value: func(v verdict) any { return pointed(v.WorstAsLeftPercent) }},
		{Name: "conformity_probability", Value: func(v verdict) any { return pointed(v.ConformityProbability) }},
		{Name: "test_uncertainty_ratio", Value: func(v verdict) any { return pointed(v.TestUncertaintyRatio) }},
		{Name: "deficiencies", Value: func(v verdict) any { return v.GetDeficiencies() }},
		{Name: "disagrees_with_stated", Value: func(v verdict) any { return v.GetDisagreesWithStated() }},
	}
}

// verdictObject is nil for a calibration that has no verdict.
func verdictObject(v *pb.CalibrationVerdict) any {
	if v == nil {
		return nil
	}
	return output.ObjectOf(verdictColumns(), v)
}

// leftIn is the verdict on the tool as it left the laboratory, and the phase and
// worst deviation that it is of.
func leftIn(v *pb.CalibrationVerdict) (verdict pb.Verdict, phase string, worst *float64) {
	if v.GetAsLeft() != 0 {
		return v.GetAsLeft(), "as left", v.WorstAsLeftPercent
	}
	return v.GetAsFound(), "as found", v.WorstAsFoundPercent
}

// verdictWord is the verdict in a table, on the tool as it was when the point was
// measured: a tool that came back failed and left adjusted did not pass as found.
func verdictWord(p point) string {
	v := p.calibration.GetVerdict()
	if v == nil {
		return ""
	}
	left, _, _ := leftIn(v)
	if p.point.GetPhase() == pb.CalibrationPhase_CALIBRATION_PHASE_AS_FOUND && v.GetAsLeft() != 0 {
		return wordOf(ledger.Verdicts, v.GetAsFound())
	}
	word := wordOf(ledger.Verdicts, left)
	if v.GetDisagreesWithStated() {
		word += ", laboratory: " + wordOf(ledger.Verdicts, p.calibration.GetStatedVerdict())
	}
	return word
}

// verdictLines tell the verdict to a person: what was decided, under which rule and
// with what figures; that the laboratory says otherwise; what is lacking.
func verdictLines(c *pb.Calibration) []string {
	v := c.GetVerdict()
	if v == nil {
		return []string{"no verdict: the tool has no type and class of ISO 6789-1, or no highest torque, on record"}
	}
	left, phase, worst := leftIn(v)
	lines := []string{fmt.Sprintf("verdict %s: %s under %s; %s; limit ±%s %% (ISO 6789-1:%s)", phase, wordOf(ledger.Verdicts, left),
		wordOf(ledger.DecisionRules, v.GetDecisionRule()), worstText(worst), rounded(v.GetLimitPercent(), 2), v.GetEdition())}
	if v.GetAsLeft() != 0 && v.GetAsFound() != 0 {
		lines = append(lines, fmt.Sprintf("as found: %s; %s", wordOf(ledger.Verdicts, v.GetAsFound()), worstText(v.WorstAsFoundPercent)))
	}
	if p := v.ConformityProbability; p != nil {
		lines = append(lines, "probability that the worst reading conforms: "+conformityText(*p)+uncertaintyRatioText(v.TestUncertaintyRatio))
	}
	if v.GetDisagreesWithStated() {
		lines = append(lines, fmt.Sprintf("THE LABORATORY SAYS OTHERWISE: it states %s, these readings say %s. Ask it for its decision rule and its limit before the tool is used.",
			wordOf(ledger.Verdicts, c.GetStatedVerdict()), wordOf(ledger.Verdicts, left)))
	}
	if !ledger.Verdict(left).Accepted() {
		if worst != nil && math.Abs(*worst) <= v.GetLimitPercent() {
			lines = append(lines, "The worst deviation lies within the limit: it is the uncertainty of the measurement that leaves no room. A laboratory with a smaller one can tell whether the tool conforms.")
		}
		lines = append(lines, "Keep the tool out of use and tag it; work done with it since its last good calibration is in doubt.")
	}
	for _, d := range v.GetDeficiencies() {
		lines = append(lines, "lacking: "+d)
	}
	return lines
}

func worstText(worst *float64) string {
	if worst == nil {
		return "a reading showed no torque at all"
	}
	return fmt.Sprintf("worst deviation %+.2f %%", *worst)
}

func uncertaintyRatioText(ratio *float64) string {
	if ratio == nil {
		return ""
	}
	places := 1
	if *ratio < 0.1 { // a small one is not none
		places = 2
	}
	return "; test uncertainty ratio " + rounded(*ratio, places)
}

// conformityText never rounds a probability to certainty.
func conformityText(p float64) string {
	switch {
	case p < 0.0001:
		return "less than 0.0001"
	case p > 0.9999:
		return "more than 0.9999"
	}
	return rounded(p, 4)
}
