package analysis

import (
	"fmt"
	"slices"

	"jointledger/internal/stats"
)

var compareDifferenceWords = map[stats.DifferenceMethod]string{
	stats.NewcombeHybrid:    "Newcombe's hybrid score interval (1998, method 10)",
	stats.Mee:               "Mee's score interval (1984)",
	stats.MiettinenNurminen: "Miettinen and Nurminen's score interval (1985)",
}

var compareRiskWords = map[stats.RelativeRiskMethod]string{
	stats.Katz:                   "Katz's log interval (1978)",
	stats.Koopman:                "Koopman's score interval (1984)",
	stats.MiettinenNurminenRatio: "Miettinen and Nurminen's score interval (1985)",
}

var compareOddsWords = map[stats.OddsRatioMethod]string{
	stats.ConditionalExact: "conditional maximum likelihood with exact central limits (Cornfield 1956)",
	stats.ConditionalMidP:  "conditional maximum likelihood with mid-P limits (Lancaster 1961)",
	stats.WoolfLog:         "Woolf's log interval (1955)",
}

func (q comparison) method(a *CompareAnswer) string {
	risk := compareRiskWords[q.riskMethod()]
	if q.riskMethod() != q.o.RelativeRisk {
		risk += ", as Katz's does not exist for these counts"
	}
	text := fmt.Sprintf("Two-sided, confidence %s. Rates: Wilson's score interval (1927). Difference: %s. Relative risk: %s. Odds ratio: %s. p-values: Fisher's exact test by the sum of small probabilities; Pearson's chi-square without correction. Number needed: the difference inverted (Altman 1998)",
		comparePercent(q.o.Confidence), compareDifferenceWords[q.o.Difference], risk, compareOddsWords[q.o.OddsRatio])
	if a.Stratified == nil {
		return text + "."
	}
	correction := "with correction for continuity"
	if q.o.Uncorrected {
		correction = "without correction for continuity"
	}
	odds := "Robins, Breslow and Greenland's interval (1986)"
	switch r := a.Stratified.OddsRatio; {
	case r.Vacuous():
		odds = "no interval, as there is no such ratio for these counts"
	case r.Unbounded || *r.Estimate == 0:
		odds = "the exact conditional limit (Gart 1970), as Robins, Breslow and Greenland's does not exist for these counts"
	}
	return text + fmt.Sprintf(". Stratified by %s: Cochran-Mantel-Haenszel test %s; common odds ratio of Mantel and Haenszel (1959) with %s; common relative risk with Greenland and Robins's interval (1985); common difference with Sato's (1989); homogeneity by Breslow and Day (1980) with Tarone's correction (1985); each %s by Koopman's score interval.",
		q.groupingNames(), correction, odds, q.stratumNoun())
}

func (q comparison) groupingNames() string {
	var names []string
	for _, g := range q.in.StratifiedBy {
		names = append(names, Groupings.Name(g))
	}
	return list(names)
}

func (q comparison) assumption(a *CompareAnswer) string {
	if a.Stratified == nil {
		return "Every attempt of an arm fails with the same probability, independently of the others, and every failure and every fastener that went well is on record."
	}
	return fmt.Sprintf("Within a %s every attempt of an arm fails with the same probability, independently of the others; the common figures take the ratio, or the difference, to be the same in every %s; every failure and every fastener that went well is on record.",
		q.stratumNoun(), q.stratumNoun())
}

// compareDependence is what every comparison of fasteners must say.
const compareDependence = "Fasteners of one joint are not independent of each other: they share lot, tool, hands and weather. Intervals and p-values here take them as independent, and are too narrow where failures come in clusters; compare by joint to see how much."

func (q comparison) cautions(a *CompareAnswer) []string {
	var cautions []string
	for _, c := range []string{
		q.unknownCaution(),
		q.emptyCaution(),
		q.oneArmCaution(),
		q.sparseCaution(a),
		q.sparseStrataCaution(a),
		q.noRatioCaution(),
		q.missingIntervalCaution(a),
		q.heterogeneityCaution(a),
		q.manyStrataCaution(a),
		compareDependence,
		fmt.Sprintf("Which of %s and %s was used was not assigned at random: whatever else differed between them is in the comparison too, except what was stratified by.", q.in.NameA, q.in.NameB),
	} {
		if c != "" {
			cautions = append(cautions, c)
		}
	}
	return cautions
}

func (q comparison) unknownCaution() string {
	if len(q.unknown) == 0 {
		return ""
	}
	return fmt.Sprintf("Left out, for no tightening stands beside the failures and how many went well is not known: %s.", list(q.unknown))
}

// compareEmpty finds the strata that are left out for want of anything on record.
func compareEmpty(in CompareInput) []string {
	if len(in.StratifiedBy) == 0 {
		return nil
	}
	var names []string
	for _, s := range in.Strata {
		if s.A == (CompareArm{}) && s.B == (CompareArm{}) {
			names = append(names, compareStratumName(s.Names))
		}
	}
	slices.Sort(names)
	return names
}

func (q comparison) emptyCaution() string {
	if len(q.empty) == 0 {
		return ""
	}
	return fmt.Sprintf("No attempts with either are on record for %s: left out.", list(q.empty))
}

func (q comparison) oneArmCaution() string {
	var only [2][]string
	for i, s := range q.in.Strata {
		switch {
		case q.groups[i].AttemptsB == 0:
			only[0] = append(only[0], compareStratumName(s.Names))
		case q.groups[i].AttemptsA == 0:
			only[1] = append(only[1], compareStratumName(s.Names))
		}
	}
	if !q.stratified() || len(only[0])+len(only[1]) == 0 {
		return ""
	}
	text := "With one arm only, and so adding nothing to the stratified comparison, while they are in the crude one:"
	for i, name := range []string{q.in.NameA, q.in.NameB} {
		if len(only[i]) > 0 {
			slices.Sort(only[i])
			text += fmt.Sprintf(" only %s, %s;", name, list(only[i]))
		}
	}
	return text[:len(text)-1] + "."
}

func (q comparison) sparseCaution(a *CompareAnswer) string {
	if a.Crude.LeastExpected >= leastExpected {
		return ""
	}
	return fmt.Sprintf("Sparse: if the rates were equal, %.1f would be expected in the smallest cell, fewer than %d (Cochran's rule of five, 1954); go by Fisher's exact test, not by chi-square.",
		a.Crude.LeastExpected, leastExpected)
}

func (q comparison) sparseStrataCaution(a *CompareAnswer) string {
	if a.Stratified == nil || a.Stratified.Informative == 0 || compareMantelFleiss(q.groups) >= leastExpected {
		return ""
	}
	return fmt.Sprintf("Sparse: over the %s together, the failures expected lie within %d of the least or the most possible (Mantel and Fleiss 1980); the stratified p-value is rough, and no interval of the common difference is given.", q.strataNoun(2), leastExpected)
}

// noRatioCaution says which figures of all together there are not, and why.
func (q comparison) noRatioCaution() string {
	var failures, attempts int64
	for _, g := range q.groups {
		failures, attempts = failures+g.FailuresA+g.FailuresB, attempts+g.AttemptsA+g.AttemptsB
	}
	switch failures {
	case 0:
		return "Nothing failed, so there is neither a relative risk nor an odds ratio; the intervals of the rates say how high each may still be."
	case attempts:
		return "Nothing but failures is on record, so there is no odds ratio; if fasteners that went well were not recorded, the rates are too high."
	}
	return ""
}

func (q comparison) missingIntervalCaution(a *CompareAnswer) string {
	s := a.Stratified
	switch {
	case s == nil:
		return ""
	case s.Informative == 0:
		return fmt.Sprintf("No %s with both arms has failures that are not all its attempts: there is no common odds ratio, and the test says nothing.", q.stratumNoun())
	case s.RelativeRisk.Vacuous():
		return "One arm has no failures where both were used: the common relative risk has no interval, and the odds ratio has one limit only."
	}
	return ""
}

func (q comparison) heterogeneityCaution(a *CompareAnswer) string {
	s := a.Stratified
	if s == nil || s.Homogeneity.Tarone.DegreesOfFreedom == 0 {
		return ""
	}
	if q.heterogeneous(a) {
		return fmt.Sprintf("The odds ratio differs from %s to %s (Breslow-Day-Tarone p %s): a common figure is an average that may hold nowhere.", q.stratumNoun(), q.stratumNoun(), comparePValue(s.Homogeneity.Tarone.P))
	}
	return fmt.Sprintf("That the odds ratio differs between %s is not shown (Breslow-Day-Tarone p %s), which does not prove it is the same: the test has little power when %s have few failures.",
		q.strataNoun(2), comparePValue(s.Homogeneity.Tarone.P), q.strataNoun(2))
}

// compareManyStrata is from how many strata with both arms their intervals are many.
const compareManyStrata = 10

func (q comparison) manyStrataCaution(a *CompareAnswer) string {
	if a.Stratified == nil || a.Stratified.BothArms < compareManyStrata {
		return ""
	}
	return fmt.Sprintf("With %d %s, about %s of their own intervals miss the truth by chance alone; do not pick the most striking.",
		a.Stratified.BothArms, q.strataNoun(a.Stratified.BothArms), compareAttempts(float64(a.Stratified.BothArms)*(1-q.o.Confidence)))
}
