package analysis

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

func standingFigure(v float64) string {
	switch {
	case v >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case v >= 10:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 2, 64)
}

// standingProbability keeps a probability from reading as certain.
func standingProbability(p float64) string {
	switch {
	case p > 0.999:
		return "over 0.999"
	case p < 0.001:
		return "below 0.001"
	}
	return strconv.FormatFloat(p, 'g', 2, 64)
}

func standingP(p float64) string {
	if p < 0.001 {
		return "below 0.001"
	}
	return strconv.FormatFloat(p, 'f', 3, 64)
}

// standingWords adds sentences, method, assumption and cautions.
func standingWords(a *StandingAnswer, m *standingMix, o StandingOptions) {
	compared := len(a.compared())
	for i := range a.Units {
		if u := &a.Units[i]; u.StandsOut() {
			u.Sentence = standingSentence(u, a, o, compared)
		}
	}
	a.Headlines = standingHeadlines(a, o)
	a.Method = standingMethod(o, compared)
	a.Assumption = fmt.Sprintf("Within a stratum every attempt fails with the same probability at every %s but for the %s's own factor, which is the same in all strata; failures are independent; every failure and every fastener that went well is on record.", o.Unit, o.Unit)
	a.Cautions = standingCautions(a, m, o)
}

func standingMixWords(o StandingOptions) string {
	switch n := len(o.Mix); n {
	case 0:
		return "mix"
	case 1:
		return "mix of " + o.Mix[0] + "s"
	default:
		return "mix of " + strings.Join(o.Mix[:n-1], ", ") + " and " + o.Mix[n-1]
	}
}

func standingPercent(confidence float64) string {
	return strconv.FormatFloat(100*confidence, 'g', 4, 64) + " %"
}

func standingSentence(u *StandingUnit, a *StandingAnswer, o StandingOptions, compared int) string {
	where := map[StandingBand]string{
		AboveThreeSigma: "above the 3-sigma limit", AboveTwoSigma: "above the 2-sigma limit",
		BelowTwoSigma: "below the 2-sigma limit", BelowThreeSigma: "below the 3-sigma limit",
	}[u.Band]
	limit, beyond := u.TwoSigma, "of the funnel"
	if u.Band == AboveThreeSigma || u.Band == BelowThreeSigma {
		limit = u.ThreeSigma
	}
	edge := limit.Upper
	if u.Band == BelowTwoSigma || u.Band == BelowThreeSigma {
		edge = limit.Lower
	}
	if *a.OverDispersion > 1 {
		beyond = fmt.Sprintf("of the funnel, drawn with over-dispersion %s", standingFigure(*a.OverDispersion))
	}
	return fmt.Sprintf("%s: %s where %s were to be expected for its %s, ratio %s (%s interval %s to %s), %s (%s) %s; adjusted p %s; shrunk ratio %s, probability %s that it is above %s; rank %d to %d of %d.",
		standingName(u.Unit), compareCount(u.Failures, "failure"), standingFigure(u.Expected), standingMixWords(o), standingFigure(*u.Ratio),
		standingPercent(o.Confidence), standingFigure(*u.RatioLower), standingFigure(*u.RatioUpper),
		where, standingFigure(edge), beyond, standingP(*u.PAdjusted), standingFigure(*u.ShrunkRatio),
		standingProbability(*u.AboveRatioLimit), strconv.FormatFloat(o.RatioLimit, 'g', -1, 64), u.RankLower, u.RankUpper, compared)
}

// standingHeadlines are what a reader wants to know first: who is worst by
// either order, and how many stand out.
func standingHeadlines(a *StandingAnswer, o StandingOptions) []string {
	compared := a.compared()
	switch {
	case len(a.Units) == 0:
		return []string{fmt.Sprintf("No %s has attempts on record with a known denominator: there is nothing to compare.", o.Unit)}
	case len(a.Units) == 1:
		return []string{fmt.Sprintf("Only %s has attempts on record: there is nothing to compare it with.", standingName(a.Units[0].Unit))}
	case a.Failures == 0:
		return []string{fmt.Sprintf("No failure is on record in %d attempts at %d %ss: none stands out.", a.Attempts, len(a.Units), o.Unit)}
	case len(compared) < 2:
		return []string{fmt.Sprintf("No two %ss with failures to be expected share a stratum: no comparison at equal mix can be made.", o.Unit)}
	}
	lines := []string{standingOrders(a, o)}
	// Of many units some lie outside 2 sigma by chance: only what is left after the
	// adjustment for their number is called more than chance.
	var high, low, chance []string
	for _, i := range compared {
		switch u := &a.Units[i]; {
		case !u.StandsOut():
		case *u.PAdjusted > 1-o.Confidence:
			chance = append(chance, standingName(u.Unit))
		case u.Band == AboveTwoSigma || u.Band == AboveThreeSigma:
			high = append(high, standingName(u.Unit))
		default:
			low = append(low, standingName(u.Unit))
		}
	}
	if len(high) > 0 {
		lines = append(lines, fmt.Sprintf("Worse than chance and mix explain (outside 2 sigma): %s.", list(high)))
	}
	if len(low) > 0 {
		lines = append(lines, fmt.Sprintf("Better than chance and mix explain (outside 2 sigma): %s.", list(low)))
	}
	if len(chance) > 0 {
		lines = append(lines, fmt.Sprintf("Outside 2 sigma, but no more than chance may do among %d %ss (adjusted p above %s): %s.", len(compared), o.Unit, strconv.FormatFloat(1-o.Confidence, 'g', 2, 64), list(chance)))
	}
	if len(high)+len(low)+len(chance) == 0 {
		lines = append(lines, fmt.Sprintf("No %s stands out: all %d that can be compared lie within the 2-sigma limits of the funnel.", o.Unit, len(compared)))
	}
	return lines
}

// shownWorse says whether the data allow it to be said that a unit is worse: its exact
// interval lies above 1, and so it does when the number of units looked at is allowed
// for, or when the ratio is drawn towards those of the others.
func (u *StandingUnit) shownWorse(confidence float64) bool {
	if u.Ratio == nil || u.RatioLower == nil || *u.RatioLower <= 1 {
		return false
	}
	return u.PAdjusted != nil && *u.PAdjusted <= 1-confidence || u.ShrunkLower != nil && *u.ShrunkLower > 1
}

// standingOrders says whether the crude order misleads. A unit is called worst only
// where the data allow it; otherwise it is the highest, which may be chance.
func standingOrders(a *StandingAnswer, o StandingOptions) string {
	compared := a.compared()
	crude := &a.Units[slices.IndexFunc(a.Units, func(u StandingUnit) bool { return u.CrudeRank == 1 })]
	top := &a.Units[compared[0]]
	worst := slices.IndexFunc(compared, func(i int) bool { return a.Units[i].shownWorse(o.Confidence) })
	lead, word := top, "has the highest ratio at equal mix"
	if worst >= 0 {
		lead, word = &a.Units[compared[worst]], "is worst at equal mix"
	}
	if lead.CrudeRank == 1 {
		crude = lead
	}
	ratio := fmt.Sprintf("ratio %s, %s interval %s to %s", standingFigure(*lead.Ratio), standingPercent(o.Confidence), standingFigure(*lead.RatioLower), standingFigure(*lead.RatioUpper))
	text := ""
	switch {
	case crude.Ratio == nil:
		text = fmt.Sprintf("%s has the highest crude rate (%s per 1,000) but cannot be compared at equal mix; of those that can, %s %s (%s).",
			standingName(crude.Unit), standingFigure(crude.RatePer1000), standingName(lead.Unit), word, ratio)
	case crude != lead && crude == top:
		text = fmt.Sprintf("%s %s (%s per 1,000; %s, %s expected, %s); the highest crude rate is that of %s (%s per 1,000).",
			standingName(lead.Unit), word, standingFigure(lead.RatePer1000), compareCount(lead.Failures, "failure"), standingFigure(lead.Expected), ratio,
			standingName(crude.Unit), standingFigure(crude.RatePer1000))
	case crude != lead:
		text = fmt.Sprintf("Crude and standardised order differ: %s has the highest crude rate (%s per 1,000), but for its %s %s failures were to be expected and %d came (ratio %s); %s %s (%s per 1,000; %s, %s expected, %s).",
			standingName(crude.Unit), standingFigure(crude.RatePer1000), standingMixWords(o), standingFigure(crude.Expected), crude.Failures, standingFigure(*crude.Ratio),
			standingName(lead.Unit), word, standingFigure(lead.RatePer1000), compareCount(lead.Failures, "failure"), standingFigure(lead.Expected), ratio)
	case standingOrderDiffers(a):
		text = fmt.Sprintf("%s has the highest crude rate (%s per 1,000) and %s (%s); further down the two orders differ.",
			standingName(lead.Unit), standingFigure(lead.RatePer1000), word, ratio)
	default:
		text = fmt.Sprintf("Crude and standardised order agree; %s has the highest crude rate (%s per 1,000) and %s (%s).",
			standingName(lead.Unit), standingFigure(lead.RatePer1000), word, ratio)
	}
	return text + standingProof(a, o, compared, worst)
}

// standingProof says what the order does not prove.
func standingProof(a *StandingAnswer, o StandingOptions, compared []int, worst int) string {
	if worst < 0 {
		return fmt.Sprintf(" That any %s is worse than the others is not shown: the first in an order may be first by chance.", o.Unit)
	}
	if worst == 0 {
		return ""
	}
	var above []string
	for _, i := range compared[:worst] {
		above = append(above, fmt.Sprintf("%s (%s)", standingName(a.Units[i].Unit), compareCount(a.Units[i].Failures, "failure")))
	}
	return fmt.Sprintf(" Higher ratios that rest on too little to tell: %s.", list(above))
}

// standingOrderDiffers says whether any two units change places.
func standingOrderDiffers(a *StandingAnswer) bool {
	compared := a.compared()
	for k, i := range compared {
		for _, j := range compared[k+1:] {
			if a.Units[i].CrudeRank > a.Units[j].CrudeRank && a.Units[i].StandardisedRank < a.Units[j].StandardisedRank {
				return true
			}
		}
	}
	return false
}

func standingMethod(o StandingOptions, compared int) string {
	return fmt.Sprintf("Crude rates with Wilson's score interval (1927). Expected failures by indirect standardisation from the pooled rate of each stratum (Breslow and Day 1987); ratio of observed to expected with exact Poisson limits (Garwood 1936). "+
		"Funnel of exact Poisson limits at the tails of 2 and 3 sigma, interpolated, widened by the root of the over-dispersion, winsorised at 10 %% each end (Spiegelhalter 2005); p-values two-sided, twice the smaller Poisson tail, their normal deviates shrunk alike, adjusted after Benjamini and Hochberg (1995). "+
		"Shrunk ratios by gamma-Poisson and shrunk rates by beta-binomial empirical Bayes, marginal maximum likelihood (Clayton and Kaldor 1987; Williams 1975). Ranks from %d draws of the shrunk ratios, seed %d (Goldstein and Spiegelhalter 1996). Intervals two-sided, confidence %s",
		standingDraws(compared), o.Seed, strconv.FormatFloat(o.Confidence, 'g', -1, 64))
}
