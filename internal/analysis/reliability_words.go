package analysis

import (
	"fmt"
	"strings"
)

func familySentence(r FamilyReliability, o ReliabilityOptions) string {
	s := fmt.Sprintf("%s: %d of %s in tolerance at the end of the interval (%.1f %%, %g %% interval %.1f to %.1f %%); target %g %%.",
		r.Family, r.InTolerance, quantity(r.Calibrations, "calibration"), 100*r.Reliability, 100*o.Confidence, 100*r.Lower, 100*r.Upper, 100*o.Target)
	return s + " " + adviceSentence(r.Months, "months") + cyclesSentence(r.Cycles)
}

func cyclesSentence(a *IntervalAdvice) string {
	if a == nil {
		return ""
	}
	return " In cycles: " + adviceSentence(*a, "cycles")
}

func adviceSentence(a IntervalAdvice, unit string) string {
	var parts []string
	switch {
	case a.Estimate != nil:
		parts = append(parts, fmt.Sprintf("Interval for the target: %.4g %s (%s).", *a.Estimate, unit, limitWords(a)))
	case a.Lower != nil || a.Upper != nil:
		parts = append(parts, fmt.Sprintf("Interval for the target: %s %s, one-sided.", limitWords(a), unit))
	}
	verb := map[IntervalAction]string{KeepInterval: "Keep", ShortenInterval: "Shorten to", LengthenInterval: "Lengthen to"}[a.Action]
	parts = append(parts, fmt.Sprintf("%s %.4g %s (now %.4g).", verb, a.Recommended, unit, a.Present), a.Reason)
	return strings.Join(parts, " ")
}

func limitWords(a IntervalAdvice) string {
	switch {
	case a.Lower != nil && a.Upper != nil:
		return fmt.Sprintf("%.4g to %.4g", *a.Lower, *a.Upper)
	case a.Lower != nil:
		return fmt.Sprintf("at least %.4g", *a.Lower)
	case a.Upper != nil:
		return fmt.Sprintf("at most %.4g", *a.Upper)
	}
	return "the results set no limits"
}

// describeReliability adds headline, method, assumption and cautions.
func describeReliability(a *ReliabilityAnswer, o ReliabilityOptions) {
	a.Headline = reliabilityHeadline(a, o)
	a.Method = fmt.Sprintf("Observed reliability at the end of the period with Clopper and Pearson's exact interval (1934), confidence %g, and the exact binomial test against the target of %g. "+
		"Interval for the target: exponential model by maximum likelihood, from results that say only in or out at one time (Jackson and Castrup 1987), or the Weibull where a likelihood-ratio test at 0.05 prefers it; limits by profile likelihood. Everything in tolerance, or nothing: a one-sided exact bound under the exponential model. "+
		"Shortened on evidence; lengthened only when the lower limit lies above the present interval, from at least %d results, by at most %g times in one step (common practice, no source).",
		o.Confidence, o.Target, o.LeastResults, o.GrowthCap)
	a.Assumption = "The tools of a family are alike and stay in tolerance independently of each other, each starts every interval in tolerance, and one that was found out went out at some time before."
	a.Cautions = []string{
		"The tool maker's manual, the contract and the site's calibration procedure set the interval; this is advice to whoever answers for it.",
		"An interval by months takes use as it was: a tool used harder than its family wears out of tolerance sooner.",
		"Several calibrations of one tool are not independent: one bad tool can speak for its whole family; look at the tools one by one before changing the family.",
	}
	weibull, thin := false, []string{}
	for _, f := range a.Families {
		weibull = weibull || strings.HasPrefix(f.Months.Model, "Weibull") || f.Cycles != nil && strings.HasPrefix(f.Cycles.Model, "Weibull")
		if f.Calibrations < int64(o.LeastResults) {
			thin = append(thin, f.Family.String())
		}
	}
	if weibull {
		a.Cautions = append(a.Cautions, "Where the Weibull model holds, an interval far shorter than any on record is read off the curve where there are no results.")
	}
	if len(thin) > 0 {
		a.Cautions = append(a.Cautions, fmt.Sprintf("Fewer than %d results: %s; go by the interval, not by the figure.", o.LeastResults, list(thin)))
	}
	if a.LeftOut > 0 {
		a.Cautions = append(a.Cautions, fmt.Sprintf("%s without length or with the end before the start left out.", quantity(int64(a.LeftOut), "interval")))
	}
}

func reliabilityHeadline(a *ReliabilityAnswer, o ReliabilityOptions) string {
	if len(a.Families) == 0 {
		return "No calibration interval with readings at both ends is on record."
	}
	n := map[IntervalAction]int{}
	for _, f := range a.Families {
		n[f.Months.Action]++
	}
	worst := a.Families[0]
	families := fmt.Sprintf("%d families", len(a.Families))
	if len(a.Families) == 1 {
		families = "1 family"
	}
	return fmt.Sprintf("Of %s of tools, by months: shorten %d, keep %d, lengthen %d, for a reliability of %g %% at the end of the interval. The lowest is %s: %d of %d in tolerance.",
		families, n[ShortenInterval], n[KeepInterval], n[LengthenInterval], 100*o.Target, worst.Family, worst.InTolerance, worst.Calibrations)
}
