package analysis

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"jointledger/internal/regression"
)

// modelWords adds the headline, the reasons, method, assumption and cautions.
func modelWords(a *ModelAnswer, f *modelFigures) {
	a.PenaltyReason = f.penaltyReason()
	a.Method = f.method()
	a.Assumption = f.assumption()
	a.Cautions = f.cautions(a)
	a.Headline = modelHeadline(a, f)
}

func modelFigure(v float64) string { return strconv.FormatFloat(v, 'g', 3, 64) }

// modelRatio writes a ratio with three significant digits. One that these would make 1
// has three of its distance from 1: on which side of 1 a limit lies is what a reader
// looks for.
func modelRatio(v float64) string {
	s := modelFigure(v)
	apart := math.Abs(v - 1)
	if s != "1" || apart < 1e-12 { // what differs is rounding
		return s
	}
	s = strconv.FormatFloat(v, 'f', 2-int(math.Floor(math.Log10(apart))), 64)
	return strings.TrimRight(s, "0")
}

func modelP(p float64) string {
	if p < 0.001 {
		return "p below 0.001"
	}
	return "p " + strconv.FormatFloat(p, 'f', 3, 64)
}

func modelPercent(confidence float64) string {
	return strconv.FormatFloat(100*confidence, 'g', 4, 64) + " %"
}

// modelHeadline speaks of the first term.
func modelHeadline(a *ModelAnswer, f *modelFigures) string {
	term := &a.Terms[0]
	var others []string
	for _, t := range a.Terms[1:] {
		if slices.ContainsFunc(t.Coefficients, func(c ModelCoefficient) bool { return c.Estimate != nil }) {
			others = append(others, t.Column)
		}
	}
	beside := ""
	if len(others) > 0 {
		beside = " with " + list(others) + " allowed for"
	}
	test, basis := term.Test, "likelihood-ratio test"
	switch {
	case f.robust != nil && term.oneSided:
		basis = "likelihood-ratio test, which does not allow for the " + f.o.Cluster
	case f.robust != nil:
		test, basis = term.RobustTest, "test that allows for the "+f.o.Cluster
	}
	switch {
	case term.Test == nil && slices.Contains(f.untested, term.Column):
		return fmt.Sprintf("Whether %s matters%s could not be tested: the model without it does not settle.", term.Column, beside)
	case term.Test == nil:
		return fmt.Sprintf("Nothing can be said on %s: the other terms or a lack of variation leave it no effect of its own.", term.Column)
	case test == nil:
		return fmt.Sprintf("Whether %s matters%s cannot be said: too few of the %s to tell its effect from theirs.", term.Column, beside, f.o.Cluster)
	case test.PValue <= 1-f.o.Confidence:
		return fmt.Sprintf("%s matters%s (%s, %s): %s.", modelUpperFirst(term.Column), beside, basis, modelP(test.PValue), modelEffect(term, a, f))
	}
	return fmt.Sprintf("No effect of %s is shown%s (%s, %s): %s.", term.Column, beside, basis, modelP(test.PValue), modelEffect(term, a, f))
}

// modelEffect says how far the term's rates reach, or what a covariate's step
// does.
func modelEffect(term *ModelTermAnswer, a *ModelAnswer, f *modelFigures) string {
	if term.Covariate {
		c := term.Coefficients[0]
		limits := c.Profile
		if limits == nil {
			limits = c.Wald
		}
		if c.Robust != nil {
			limits = c.Robust
		}
		if c.Ratio == nil || limits == nil {
			return "the ratio is beyond what can be shown"
		}
		return fmt.Sprintf("%s %s for each %s more, interval %s to %s at %s", a.RatioName, modelRatio(*c.Ratio), modelFigure(term.Per),
			modelRatio(limits.Lower), modelRatio(limits.Upper), modelPercent(f.o.Confidence))
	}
	var known []ModelRate
	for _, r := range term.Rates {
		if r.Per1000 != nil {
			known = append(known, r)
		}
	}
	if len(known) == 0 {
		return "its rates cannot be told from those of other terms"
	}
	slices.SortStableFunc(known, func(a, b ModelRate) int {
		if *a.Per1000 < *b.Per1000 {
			return -1
		}
		return 1
	})
	low, high := known[0], known[len(known)-1]
	return fmt.Sprintf("predicted failures per 1,000 reach from %s (%s) to %s (%s)",
		modelFigure(*low.Per1000), modelLevel(low.Level), modelFigure(*high.Per1000), modelLevel(high.Level))
}

func modelUpperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// penaltyReason says why Firth's penalty was used; empty when it was not.
func (f *modelFigures) penaltyReason() string {
	m := f.m
	switch {
	case !m.Penalised:
		return ""
	case m.Separation == nil:
		return "Firth's penalty was asked for."
	}
	var names []string
	for _, l := range m.Separation.Levels {
		what := "no failure"
		if l.Events {
			what = "nothing but failures"
		}
		t := f.in.data.Terms[l.Term]
		names = append(names, fmt.Sprintf("%s %s (%s)", t.Name, modelLevel(t.Levels[l.Level]), what))
	}
	for _, c := range m.Separation.Columns {
		names = append(names, f.columnName(m.Columns[c]))
	}
	return fmt.Sprintf("The data separate on %s: by likelihood alone a coefficient would be infinite, so Firth's penalty was used.", list(names))
}

func (f *modelFigures) columnName(c regression.Column) string {
	switch {
	case c.Term < 0:
		return "the intercept"
	case c.Level < 0:
		return f.in.data.Terms[c.Term].Name
	}
	t := f.in.data.Terms[c.Term]
	return t.Name + " " + modelLevel(t.Levels[c.Level])
}

func (f *modelFigures) aliasNote(c regression.Column) string {
	var names []string
	for _, other := range c.MadeOf {
		if f.m.Columns[other].Term >= 0 {
			names = append(names, f.columnName(f.m.Columns[other]))
		}
	}
	if len(names) == 0 {
		return "It does not vary, so it has no figure of its own."
	}
	return fmt.Sprintf("It is made up by %s, so it has no figure of its own.", list(names))
}

func (f *modelFigures) method() string {
	var b strings.Builder
	if f.o.Family == PoissonModel {
		b.WriteString("Poisson regression with the logarithm of the exposure as offset")
	} else {
		b.WriteString("Logistic regression")
	}
	if f.m.Penalised {
		b.WriteString(", by Firth's penalised likelihood (1993)")
	} else {
		b.WriteString(", by maximum likelihood")
	}
	fmt.Fprintf(&b, "; Wald and ")
	if f.profiles {
		fmt.Fprintf(&b, "profile-likelihood intervals")
	} else {
		fmt.Fprintf(&b, "no profile-likelihood intervals")
	}
	fmt.Fprintf(&b, ", two-sided, confidence %s; likelihood-ratio test of each term", strconv.FormatFloat(f.o.Confidence, 'g', -1, 64))
	if f.m.Penalised {
		b.WriteString(", profiles and tests with the penalty of the full model (Heinze and Schemper 2002)")
	}
	b.WriteString("; p-values of levels adjusted after Benjamini and Hochberg (1995)")
	if f.robust != nil {
		fmt.Fprintf(&b, "; besides, the covariance of Liang and Zeger (1986) for %d clusters by %s, times G/(G−1) = %s, against Student's t with %d degrees of freedom",
			f.robust.Clusters, f.o.Cluster, strconv.FormatFloat(f.robust.Factor, 'g', 4, 64), f.robust.Clusters-1)
	}
	b.WriteString("; predicted rates are means over the table with the term set to the level (Lane and Nelder 1982), Wald on the scale of the model")
	if f.o.UseDispersion && f.m.DegreesOfFreedom > 0 {
		fmt.Fprintf(&b, "; intervals and tests widened by the dispersion %s, with Student's t and F", modelFigure(math.Max(f.m.Dispersion, 1)))
	}
	return b.String()
}

func (f *modelFigures) assumption() string {
	between := "independently of each other"
	if f.robust != nil {
		between = "independently between clusters (the plain intervals and tests: independently of each other)"
	}
	if f.o.Family == PoissonModel {
		return "Counts happen at a rate that the terms multiply, each in the same way whatever the others are, " + between + "."
	}
	return "Attempts fail with odds that the terms multiply, each in the same way whatever the others are, " + between + ", and every failure and every fastener that went well is on record."
}
