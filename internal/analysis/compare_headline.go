package analysis

import (
	"fmt"
	"math"

	"jointledger/internal/stats"
)

// compareVerdict is a ratio with the test that belongs to it and where it holds.
type compareVerdict struct {
	ratio stats.RatioInterval
	// odds is set when the ratio is one of odds, for want of one of risks.
	odds  bool
	p     float64
	test  string
	where string // with a space before it; empty for all attempts together
	g     stats.TwoGroups
}

// shown says whether a difference is: the interval leaves out 1, and the test
// bears it out. Either alone may say so near the edge.
func (v compareVerdict) shown(confidence float64) bool {
	return !v.ratio.Covers(1) && v.p < 1-confidence
}

// verdictOf gives what the headline goes by.
func (q comparison) verdictOf(a *CompareAnswer) compareVerdict {
	if s := a.Stratified; s != nil {
		v := compareVerdict{ratio: s.RelativeRisk, p: s.CMH.P, test: "the Cochran-Mantel-Haenszel test", where: " " + q.alike(), g: q.bothArms()}
		if v.ratio.Vacuous() && !s.OddsRatio.Vacuous() {
			v.ratio, v.odds = s.OddsRatio, true
		}
		return v
	}
	return q.crudeVerdict(a)
}

func (q comparison) crudeVerdict(a *CompareAnswer) compareVerdict {
	return compareVerdict{ratio: a.Crude.RelativeRisk, p: a.Crude.FisherP, test: "Fisher's exact test", g: q.all}
}

// bothArms adds up the strata that have both arms, which are all that the
// stratified comparison rests on.
func (q comparison) bothArms() stats.TwoGroups {
	var kept []stats.TwoGroups
	for _, g := range q.groups {
		if g.BothArms() {
			kept = append(kept, g)
		}
	}
	return compareSum(kept)
}

func (q comparison) headline(a *CompareAnswer) string {
	text := q.sentence(q.verdictOf(a))
	if q.stratified() && a.Stratified == nil {
		return fmt.Sprintf("Nothing can be said %s: no %s has both %s and %s. Over all together: %s",
			q.alike(), q.stratumNoun(), q.in.NameA, q.in.NameB, text)
	}
	if q.heterogeneous(a) {
		text += fmt.Sprintf(" But the effect differs from %s to %s (homogeneity p %s): read each by itself.",
			q.stratumNoun(), q.stratumNoun(), comparePValue(a.Stratified.Homogeneity.Tarone.P))
	}
	return text
}

// heterogeneous says whether the odds ratios of the strata are shown to differ.
func (q comparison) heterogeneous(a *CompareAnswer) bool {
	return a.Stratified != nil && a.Stratified.Homogeneity.Tarone.P < 1-q.o.Confidence
}

// sentence says what a ratio and its test allow to be said, and no more.
func (q comparison) sentence(v compareVerdict) string {
	nameA, nameB, percent := q.in.NameA, q.in.NameB, comparePercent(q.o.Confidence)
	none := fmt.Sprintf("No difference can be shown between %s and %s%s: ", nameA, nameB, v.where)
	failures, attempts := v.g.FailuresA+v.g.FailuresB, v.g.AttemptsA+v.g.AttemptsB
	switch {
	case failures == 0:
		return none + fmt.Sprintf("neither failed, in %s and in %s.", compareCount(v.g.AttemptsA, "attempt"), compareCount(v.g.AttemptsB, "attempt"))
	case failures == attempts:
		return none + fmt.Sprintf("every attempt failed, %d with %s and %d with %s.", v.g.AttemptsA, nameA, v.g.AttemptsB, nameB)
	case v.ratio.Vacuous():
		return none + "within them, nothing or everything failed with both."
	case !v.shown(q.o.Confidence):
		return none + q.unshown(v) + "."
	}
	interval := fmt.Sprintf("%s interval %s", percent, compareRange(v.ratio))
	of := compareCount(v.g.AttemptsA, "attempt")
	switch {
	case v.odds && v.ratio.Unbounded:
		return fmt.Sprintf("%s had no failure in %s, where %s had %d in %d%s: the odds of failing are at least %s times as high with %s; %s.",
			nameB, compareCount(v.g.AttemptsB, "attempt"), nameA, v.g.FailuresA, v.g.AttemptsA, v.where, compareFigure(v.ratio.Lower), nameA, interval)
	case v.odds:
		return fmt.Sprintf("%s had no failure in %s, where %s had %d in %d%s: the odds of failing are at most %s times as high with %s; %s.",
			nameA, of, nameB, v.g.FailuresB, v.g.AttemptsB, v.where, compareFigure(*v.ratio.Upper), nameA, interval)
	case v.ratio.Unbounded:
		return fmt.Sprintf("%s %s at least %s times as often as %s%s, which had no failure in %s; %s.",
			nameA, q.o.Verb, compareFigure(v.ratio.Lower), nameB, v.where, compareCount(v.g.AttemptsB, "attempt"), interval)
	case *v.ratio.Estimate == 0:
		return fmt.Sprintf("%s %s at most %s times as often as %s%s, with no failure in %s; %s.",
			nameA, q.o.Verb, compareFigure(*v.ratio.Upper), nameB, v.where, of, interval)
	}
	return fmt.Sprintf("%s %s %s times as often as %s%s; %s.", nameA, q.o.Verb, compareFigure(*v.ratio.Estimate), nameB, v.where, interval)
}

// unshown says why a difference is not shown.
func (q comparison) unshown(v compareVerdict) string {
	observed := fmt.Sprintf("%s failed in %d of %d attempts, %s in %d of %d", q.in.NameA, v.g.FailuresA, v.g.AttemptsA, q.in.NameB, v.g.FailuresB, v.g.AttemptsB)
	if v.ratio.Estimate != nil && *v.ratio.Estimate > 0 {
		observed = fmt.Sprintf("%s %s %s", q.in.NameA, q.o.Verb, compareTimes(*v.ratio.Estimate))
	}
	of := ""
	if v.odds {
		of = " of the odds ratio"
	}
	interval := fmt.Sprintf("the %s interval%s, %s,", comparePercent(q.o.Confidence), of, compareRange(v.ratio))
	if v.ratio.Covers(1) {
		return fmt.Sprintf("%s, but %s covers 1", observed, interval)
	}
	return fmt.Sprintf("%s, and %s leaves out 1, but %s does not bear it out (p %s)", observed, interval, v.test, comparePValue(v.p))
}

// compareMaterialChange is the relative change between crude and stratified estimate
// from which a stratum counts as confounding: R. M. Mickey, S. Greenland, "The
// impact of confounder selection criteria on effect estimation", Amer. J.
// Epidemiol. 129 (1989) 125-137.
const compareMaterialChange = 0.10

// disagreement says how the crude comparison misleads, where it does.
func (q comparison) disagreement(a *CompareAnswer) string {
	if a.Stratified == nil {
		return ""
	}
	crude, inside := a.Crude.RelativeRisk.Estimate, a.Stratified.RelativeRisk.Estimate
	if crude == nil || inside == nil || *crude == 0 || *inside == 0 {
		return ""
	}
	change := math.Abs(math.Log(*crude / *inside))
	material := change > math.Log1p(compareMaterialChange)
	crudeShown, insideShown := q.crudeVerdict(a).shown(q.o.Confidence), q.verdictOf(a).shown(q.o.Confidence)
	opposite := (*crude-1)*(*inside-1) < 0
	if !material && crudeShown == insideShown {
		return ""
	}
	text := fmt.Sprintf("Over all together %s %s %s as %s, but %s %s: ",
		q.in.NameA, q.o.Verb, compareTimes(*crude), q.in.NameB, q.alike(), compareTimes(*inside))
	several := q.strataNoun(2)
	switch {
	case !crudeShown && !insideShown:
		text += "the two differ, though neither shows a difference by itself."
	case opposite && material:
		text += fmt.Sprintf("the direction turns round, because the %s differ both in their rates and in how much each was used there (Simpson's paradox).", several)
	case material && math.Abs(math.Log(*crude)) < math.Abs(math.Log(*inside)):
		text += fmt.Sprintf("where each was used hides part of the difference, for the %s differ in their rates.", several)
	case material:
		text += fmt.Sprintf("part of the crude figure comes from where each was used, for the %s differ in their rates.", several)
	case crudeShown:
		text += "only the crude comparison shows a difference."
	default:
		text += fmt.Sprintf("the difference shows only when like is compared with like, for the %s differ in their rates.", several)
	}
	if q.heterogeneous(a) {
		return text + fmt.Sprintf(" Go by each %s by itself, as the effect differs between them.", q.stratumNoun())
	}
	return text + " Go by the comparison " + q.alike() + "."
}
