package analysis

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"jointledger/internal/ledger"
	"jointledger/internal/stats"
)

// leastExpected is W. G. Cochran's rule of five, "Some methods for strengthening
// the common χ² tests", Biometrics 10 (1954) 417-451: below five expected in a
// cell a comparison rests on too little to go by its figure.
const leastExpected = 5

// mostNamed is how many groups a caution names; the rest are counted.
const mostNamed = 8

var methodWords = map[stats.ProportionMethod]string{
	stats.Wilson:         "Wilson's score interval (1927), without continuity correction",
	stats.ClopperPearson: "Clopper and Pearson's exact interval (1934)",
	stats.Jeffreys:       "Jeffreys' interval (Brown, Cai and DasGupta 2001)",
}

// describe adds the method, the assumption and the cautions.
func describe(a *RateAnswer, o RateOptions) {
	a.Method = fmt.Sprintf("%s, two-sided, confidence %s",
		methodWords[o.Method], strconv.FormatFloat(o.Confidence, 'g', -1, 64))
	if slices.ContainsFunc(a.Groups, func(g RateGroup) bool { return g.PValue != nil }) {
		a.Method += "; Fisher's exact test of each group against all others together, two-sided by the sum of small probabilities, adjusted after Benjamini and Hochberg (1995)"
	}
	a.Assumption = "Every attempt of a group fails with the same probability, independently of the others, and every failure and every fastener that went well is on record."

	for _, c := range []string{
		unknownDenominators(a),
		sparse(a),
		"Fasteners of one joint are not independent of each other: they share lot, tool, hands and weather. Intervals and p-values take them as independent, and are too narrow where failures come in clusters.",
		notThreadFailures(o.Kinds),
		moreFailuresThanAttempts(a),
	} {
		if c != "" {
			a.Cautions = append(a.Cautions, c)
		}
	}
}

func unknownDenominators(a *RateAnswer) string {
	var names []string
	var failures int64
	for _, g := range a.Groups {
		if !g.DenominatorKnown {
			names = append(names, groupName(g))
			failures += g.Failures
		}
	}
	if len(names) == 0 {
		if !a.Total.DenominatorKnown && a.Total.Failures > 0 {
			return fmt.Sprintf("No tightening stands beside the %d failures: how many fasteners went well is not known, so there is no rate.", a.Total.Failures)
		}
		return ""
	}
	return fmt.Sprintf("No tightening stands beside the incidents of %s: how many fasteners went well is not known, so there is no rate, and the %d failures there are left out of the total and of every comparison.",
		list(names), failures)
}

func sparse(a *RateAnswer) string {
	var failures, attempts int64
	var family []RateGroup
	for _, g := range a.Groups {
		if g.comparable() {
			family = append(family, g)
			failures += g.Failures
			attempts += g.Attempts
		}
	}
	if len(family) == 0 && a.Total.comparable() {
		family, failures, attempts = []RateGroup{a.Total}, a.Total.Failures, a.Total.Attempts
	}
	var names []string
	for _, g := range family {
		expected := float64(g.Attempts) * (float64(failures) / float64(attempts))
		if expected < leastExpected || float64(g.Attempts)-expected < leastExpected {
			names = append(names, groupName(g))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf("Sparse: at the overall rate fewer than %d failures, or fewer than %d successes, are expected in %s (Cochran's rule of five, 1954); go by the interval, not by the rate.",
		leastExpected, leastExpected, list(names))
}

func notThreadFailures(kinds []ledger.IncidentKind) string {
	var names []string
	for _, k := range kinds {
		if !k.ThreadFailure() {
			names = append(names, ledger.IncidentKinds.Name(k))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf("Not a thread failure: %s. Such incidents are not fastener attempts and have none of their own; the rate sets them against the attempts of the same group.", strings.Join(names, ", "))
}

func moreFailuresThanAttempts(a *RateAnswer) string {
	var names []string
	for _, g := range a.Groups {
		if g.DenominatorKnown && !g.comparable() {
			names = append(names, groupName(g))
		}
	}
	switch {
	case len(names) > 0:
		return fmt.Sprintf("More failures than attempts are on record for %s: the rate is no proportion, so it has no interval and is not compared.", list(names))
	case a.Total.DenominatorKnown && !a.Total.comparable():
		return "More failures than attempts are on record: the rate is no proportion, so it has no interval."
	}
	return ""
}

// groupName is how a caution names a group.
func groupName(g RateGroup) string {
	if len(g.Values) == 0 {
		return "the total"
	}
	parts := make([]string, len(g.Values))
	for i, v := range g.Values {
		if parts[i] = v; v == "" {
			parts[i] = "(none)"
		}
	}
	return strings.Join(parts, " / ")
}

func list(names []string) string {
	if extra := len(names) - mostNamed; extra > 0 {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:mostNamed], ", "), extra)
	}
	return strings.Join(names, ", ")
}
