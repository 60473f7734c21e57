package analysis

import (
	"fmt"
	"strconv"

	"jointledger/internal/sequential"
)

// describe adds the words.
func (a *SPRTAnswer) describe(o SPRTOptions, empty []string) {
	t := TrendOptions{PerExposure: o.PerExposure, ExposureUnit: o.ExposureUnit}
	scale, unit, event := 1000.0, "attempt", "failure"
	if o.PerExposure {
		scale, unit, event = 1, o.ExposureUnit, "event"
	}
	rate := func(r float64) string { return t.rate(trendNumber(scale * r)) }
	low, high := rate(a.Test.Low), rate(a.Test.High)
	a.Headline = a.verdictWords(t, unit, event, low, high)
	a.Plan = fmt.Sprintf("It refuses at %s with a risk of %s, and accepts at %s with a risk of %s; a verdict takes about %s at the former on average and %s at the latter. After n %s it accepts at %s n − %s %ss or fewer, and refuses at %s n + %s or more.",
		low, sprtRisk(a.Test.Alpha), high, sprtRisk(a.Test.Beta),
		trendUnits(alarmAbout(a.ExposureInControl, 3), unit), trendUnits(alarmAbout(a.ExposureOutOfControl, 3), unit),
		trendUnits(2, unit)[len("2 "):], trendNumber(a.Test.Slope), trendNumber(a.Test.AcceptIntercept), event, trendNumber(a.Test.Slope), trendNumber(a.Test.RejectIntercept))
	a.Method = "Sequential probability ratio test of two rates (Wald 1947), Bernoulli, looked at after each row; average sample numbers by Wald's approximation, which neglects the overshoot over the lines"
	a.Assumption = "Every attempt fails with the same probability, independently of the others, and every failure and every fastener that went well is on record."
	if o.PerExposure {
		a.Method = "Sequential probability ratio test of two rates (Wald 1947), Poisson, looked at after each row; average exposures by Wald's approximation, which neglects the overshoot over the lines"
		a.Assumption = "Events come independently of each other at one rate, and every one is on record."
	}
	if len(empty) > 0 {
		a.Cautions = append(a.Cautions, fmt.Sprintf("No %s on record for %s: such rows change nothing.", t.sizeName(), list(empty)))
	}
	if a.Unused > 0 {
		a.Cautions = append(a.Cautions, fmt.Sprintf("%s came after the verdict and %s not used: the test ends with it. To go on watching, use a cumulative sum.",
			trendCounted(int64(a.Unused), "row"), map[bool]string{true: "is", false: "are"}[a.Unused == 1]))
	}
	if a.Verdict != sequential.Continue {
		a.Cautions = append(a.Cautions, "The rate up to the verdict is no fair estimate of the true one: the test stops when it is extreme.")
	}
	a.Cautions = append(a.Cautions, "Fasteners of one joint are not independent of each other; where failures come in clusters, both risks are higher than stated.")
}

// sprtRisk writes a risk.
func sprtRisk(p float64) string { return strconv.FormatFloat(100*p, 'g', 4, 64) + " %" }

func (a *SPRTAnswer) verdictWords(t TrendOptions, unit, event, low, high string) string {
	if len(a.Steps) == 0 {
		return "No rows: nothing to decide on yet."
	}
	last := a.Steps[len(a.Steps)-1]
	size := float64(last.Attempts)
	if t.PerExposure {
		size = last.Exposure
	}
	seen := fmt.Sprintf("%s in %s", trendCounted(last.Failures, event), trendUnits(size, unit))
	switch a.Verdict {
	case sequential.Accept:
		return fmt.Sprintf("Accepted at %s, after %s: the rate is taken for %s rather than %s.", a.At, seen, low, high)
	case sequential.Reject:
		return fmt.Sprintf("Refused at %s, after %s: the rate is taken for %s rather than %s.", a.At, seen, high, low)
	default: // the others go on below
	}
	return fmt.Sprintf("No verdict yet after %s: the record bears out neither %s nor %s.", seen, low, high)
}
