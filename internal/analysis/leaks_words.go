package analysis

import (
	"fmt"
	"strings"

	"jointledger/internal/sealing"
	"jointledger/internal/stats"
)

// describe adds headline, method, assumption and cautions.
func (a *LeakAnswer) describe(rows []LeakRow, o LeakOptions, model []string) {
	a.Headline = a.headline(o)
	a.Method = fmt.Sprintf("Rates with Wilson's score interval (1927), two-sided, confidence %s; conditions by Pearson's chi-square test over their bands, adjusted after Benjamini and Hochberg (1995); dew point by Magnus's formula with the coefficients of %s", comparePercent(o.Confidence), sealing.Sonntag1990().Source.Title)
	if a.Model != nil {
		a.Method += ". Model: " + a.Model.Method
	}
	a.Method += "."
	a.Assumption = "A leak, a gap or a failed test on a joint comes from the last sealing before it; every seal that failed was found and written down, whatever the conditions were."
	for _, c := range append([]string{
		a.untestedCaution(),
		a.testingUnknownCaution(),
		a.nothingCaution(o),
		a.sparseCaution(),
		leakUndated(rows),
	}, model...) {
		if c != "" {
			a.Cautions = append(a.Cautions, c)
		}
	}
	if a.Model != nil {
		a.Cautions = append(a.Cautions, a.Model.Cautions...)
	}
	if a.Model == nil && a.Sealings > 0 {
		a.Cautions = append(a.Cautions, "What goes together in records need not cause one another: crew, sealant and season change with the weather.")
	}
}

func (a *LeakAnswer) headline(o LeakOptions) string {
	if a.Sealings == 0 {
		return "No sealing is on record that matches: there is nothing to compare."
	}
	text := fmt.Sprintf("%d of %s failed, %s per 1,000 (%s interval %s to %s).", a.Failed, compareCount(a.Sealings, "sealing"),
		standingFigure(*a.RatePer1000), comparePercent(o.Confidence), standingFigure(*a.LowerPer1000), standingFigure(*a.UpperPer1000))
	if a.Model == nil {
		return text
	}
	shown, tested := a.shownTerms(o.Confidence)
	switch {
	case len(shown) > 0:
		return text + " With the other conditions allowed for, failures go with " + strings.Join(shown, "; and with ") + "."
	case len(tested) == 0:
		return text
	}
	return text + fmt.Sprintf(" No effect is shown of %s.", strings.Join(tested, ", "))
}

// shownTerms gives the terms that matter after adjustment over the terms, with what
// they do, and the names of all that could be tested. Where the model allows for the
// days, so does the test.
func (a *LeakAnswer) shownTerms(confidence float64) (shown, tested []string) {
	var p []float64
	var terms []*ModelTermAnswer
	for i := range a.Model.Terms {
		t := &a.Model.Terms[i]
		test := t.Test
		if a.Model.Clusters > 1 && !t.oneSided {
			test = t.RobustTest
		}
		if test != nil {
			p, terms, tested = append(p, test.PValue), append(terms, t), append(tested, leakName(t.Column))
		}
	}
	adjusted, err := stats.BenjaminiHochberg(p)
	if err != nil {
		return nil, tested
	}
	for i, t := range terms {
		if adjusted[i] <= 1-confidence {
			shown = append(shown, fmt.Sprintf("%s (adjusted %s: %s)", leakName(t.Column), modelP(adjusted[i]), leakEffect(t, confidence)))
		}
	}
	return shown, tested
}

func leakName(column string) string {
	for _, c := range leakNumbers() {
		if c.name == column {
			return c.words
		}
	}
	return column
}

// leakEffect says what a step of a covariate does, or how far the rates reach.
func leakEffect(t *ModelTermAnswer, confidence float64) string {
	if !t.Covariate {
		var low, high *ModelRate
		for i := range t.Rates {
			r := &t.Rates[i]
			if r.Per1000 == nil {
				continue
			}
			if low == nil || *r.Per1000 < *low.Per1000 {
				low = r
			}
			if high == nil || *r.Per1000 > *high.Per1000 {
				high = r
			}
		}
		if low == nil {
			return "its rates cannot be told from those of other conditions"
		}
		return fmt.Sprintf("from %s per 1,000 (%s) to %s (%s)", modelFigure(*low.Per1000), modelLevel(low.Level), modelFigure(*high.Per1000), modelLevel(high.Level))
	}
	c := t.Coefficients[0]
	limits := c.Robust
	if limits == nil {
		limits = c.Profile
	}
	if limits == nil {
		limits = c.Wald
	}
	if c.Ratio == nil || limits == nil {
		return "the ratio is beyond what can be shown"
	}
	unit := ""
	for _, n := range leakNumbers() {
		if n.name == t.Column {
			unit = " " + n.unit
		}
	}
	return fmt.Sprintf("odds times %s for each %s%s more, %s interval %s to %s", modelRatio(*c.Ratio), modelFigure(t.Per), unit,
		comparePercent(confidence), modelRatio(limits.Lower), modelRatio(limits.Upper))
}

func (a *LeakAnswer) untestedCaution() string {
	if a.JointsNeverTested == 0 {
		return ""
	}
	return fmt.Sprintf("Of %s with a sealing, %d were never leak-tested: a leak there is on record only if somebody saw it, so the true rate is higher, and where testing depends on the conditions the comparison is skewed.",
		compareCount(a.Joints, "joint"), a.JointsNeverTested)
}

func (a *LeakAnswer) testingUnknownCaution() string {
	const consequence = "a leak there may be on record only because somebody saw it, so the true rate may be higher, and where testing depended on the conditions the comparison is skewed."
	switch a.JointsTestingUnknown {
	case 0:
		return ""
	case a.Joints:
		return "Whether the joints were leak-tested is not on record: " + consequence
	}
	return fmt.Sprintf("Of %s with a sealing, it is not on record of %d whether they were leak-tested: %s", compareCount(a.Joints, "joint"), a.JointsTestingUnknown, consequence)
}

func (a *LeakAnswer) nothingCaution(o LeakOptions) string {
	if a.Sealings == 0 || a.Failed > 0 {
		return ""
	}
	i, err := stats.ProportionBound(0, a.Sealings, stats.ClopperPearson, stats.UpperSide, o.Confidence)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("No seal failed. The rate is below %s per 1,000 with confidence %s (Clopper and Pearson, one-sided).", standingFigure(1000*i.Upper), comparePercent(o.Confidence))
}

func (a *LeakAnswer) sparseCaution() string {
	var names []string
	for _, c := range a.Conditions {
		if c.PValue != nil && c.leastExpected < leastExpected {
			names = append(names, leakName(c.Name))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf("Sparse: at the overall rate fewer than %d failures are expected in some band of %s (Cochran's rule of five, 1954); their chi-square p-values are rough, go by the intervals.", leastExpected, strings.Join(names, ", "))
}

// leakUndated tells of sealings of which nothing was measured.
func leakUndated(rows []LeakRow) string {
	bare := 0
	for i := range rows {
		measured := false
		for _, c := range leakNumbers() {
			measured = measured || c.of(&rows[i]) != nil
		}
		if !measured {
			bare++
		}
	}
	if bare == 0 {
		return ""
	}
	return fmt.Sprintf("Of %s neither weather nor cleaning is on record.", compareCount(int64(bare), "sealing"))
}
