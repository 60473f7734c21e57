package analysis

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"jointledger/internal/stats"
)

// compareFigure writes a ratio with two digits after the point, fewer when it is
// large, or two that count when it is small. A ratio that is not 1 is never written as
// 1, for on which side of 1 a limit lies is what a reader looks for.
func compareFigure(ratio float64) string {
	if ratio == 0 {
		return "0"
	}
	if ratio < 1e-6 || ratio >= 1e6 {
		return strconv.FormatFloat(ratio, 'g', 2, 64)
	}
	places := 2
	switch {
	case ratio < 0.1:
		places = 1 - int(math.Floor(math.Log10(ratio)))
	case ratio >= 99.95:
		places = 0
	case ratio >= 9.995:
		places = 1
	}
	for ; ; places++ {
		text := strconv.FormatFloat(ratio, 'f', places, 64)
		if v, _ := strconv.ParseFloat(text, 64); v != 1 || ratio == 1 || places > 12 {
			return text
		}
	}
}

// compareTimes says how many times as often; a ratio that nobody would tell from 1 is
// said to be about 1, where the interval beside it says the rest.
func compareTimes(ratio float64) string {
	if math.Abs(math.Log(ratio)) < 0.005 {
		return "about as often"
	}
	return compareFigure(ratio) + " times as often"
}

// comparePercent writes a confidence as a percentage.
func comparePercent(confidence float64) string {
	return strconv.FormatFloat(100*confidence, 'g', 6, 64) + " %"
}

// comparePValue writes a p-value with two digits that count.
func comparePValue(p float64) string {
	if p < 0.0001 {
		return "below 0.0001"
	}
	return strconv.FormatFloat(p, 'g', 2, 64)
}

// compareRange is the interval of a ratio in words.
func compareRange(r stats.RatioInterval) string {
	if r.Upper == nil {
		return "from " + compareFigure(r.Lower) + " upwards without limit"
	}
	return compareFigure(r.Lower) + " to " + compareFigure(*r.Upper)
}

// stratumNoun and strataNoun are what the strata are called.
func (q comparison) stratumNoun() string {
	if len(q.in.StratifiedBy) != 1 {
		return "stratum"
	}
	return strings.ReplaceAll(Groupings.Name(q.in.StratifiedBy[0]), "-", " ")
}

func (q comparison) strataNoun(n int) string {
	noun := q.stratumNoun()
	switch {
	case n == 1:
		return noun
	case noun == "stratum":
		return "strata"
	case noun == "person":
		return "people"
	}
	return noun + "s"
}

// alike says what is the same in the stratified comparison.
func (q comparison) alike() string {
	var nouns []string
	for _, g := range q.in.StratifiedBy {
		nouns = append(nouns, strings.ReplaceAll(Groupings.Name(g), "-", " "))
	}
	switch {
	case len(nouns) == 1 && q.in.StratifiedBy[0] == BySite:
		return "at the same sites"
	case len(nouns) == 1:
		return "within the same " + nouns[0]
	}
	return "within the same " + strings.Join(nouns[:len(nouns)-1], ", ") + " and " + nouns[len(nouns)-1]
}

// stratumNote says why a stratum adds nothing to the stratified comparison.
func (q comparison) stratumNote(g stats.TwoGroups) string {
	switch {
	case g.AttemptsB == 0:
		return fmt.Sprintf("only %s: adds nothing to the comparison", q.in.NameA)
	case g.AttemptsA == 0:
		return fmt.Sprintf("only %s: adds nothing to the comparison", q.in.NameB)
	case g.FailuresA+g.FailuresB == 0:
		return "no failures: adds nothing to the ratios and the test"
	case !g.Informative():
		return "every attempt failed: adds nothing to the test and the odds ratio"
	}
	return ""
}

// compareNeededText puts a number needed into a sentence. It speaks of what goes
// together, not of what brings about what: who used what was not assigned at
// random.
func compareNeededText(n stats.NumberNeeded) string {
	side := func(r *stats.NumberNeededRange) string {
		if r.Most == nil {
			return compareAttempts(r.Least) + " upwards"
		}
		return compareAttempts(r.Least) + " to " + compareAttempts(*r.Most)
	}
	estimate := "No difference was observed"
	if n.Estimate != nil {
		word := "more"
		if n.EstimateFewer {
			word = "fewer"
		}
		estimate = fmt.Sprintf("One failure %s in every %s attempts", word, compareAttempts(*n.Estimate))
		if compareAttempts(*n.Estimate) == "1.0" {
			estimate = fmt.Sprintf("One failure %s in every attempt", word)
		}
	}
	switch {
	case n.Fewer != nil && n.More != nil:
		if n.Estimate != nil {
			estimate += ", but no difference is possible too"
		}
		return fmt.Sprintf("%s: the interval runs from one failure fewer in %s attempts, through no difference, to one more in %s.",
			estimate, compareAttempts(n.Fewer.Least), compareAttempts(n.More.Least))
	case n.Fewer != nil:
		return fmt.Sprintf("%s (interval %s).", estimate, side(n.Fewer))
	case n.More != nil:
		return fmt.Sprintf("%s (interval %s).", estimate, side(n.More))
	}
	return estimate + "."
}

func compareAttempts(n float64) string {
	if n < 10 {
		return strconv.FormatFloat(n, 'f', 1, 64)
	}
	return strconv.FormatFloat(math.Round(n), 'f', 0, 64)
}
