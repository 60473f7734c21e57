package analysis

import (
	"fmt"
	"slices"
	"strconv"

	"jointledger/internal/stats"
)

// standingHighRate is the pooled rate above which Poisson limits are visibly too
// wide for what are proportions: by 1/√(1−0.1), five per cent.
const standingHighRate = 0.1

// standingFewUnits is how many units over-dispersion and a prior should be had
// from at least; below, both are guesses. Common practice, no source.
const standingFewUnits = 10

// standingCautions are what a reader must know: first what was left out and what
// could not be compared, then what the figures rest on.
func standingCautions(a *StandingAnswer, m *standingMix, o StandingOptions) []string {
	var cautions []string
	add := func(format string, args ...any) { cautions = append(cautions, fmt.Sprintf(format, args...)) }
	if n := len(m.unknown.cells); n > 0 {
		add("No tightening stands beside the failures of %s: how many fasteners went well is not known, so the %d failures there are left out of every figure.", list(m.unknown.cells), m.unknown.failures)
	}
	if n := len(m.excess.cells); n > 0 {
		add("More failures than attempts are on record for %s: there is no rate, so the %d failures there are left out of every figure.", list(m.excess.cells), m.excess.failures)
	}
	if len(m.empty) > 0 {
		add("No attempts are on record for %s: left out.", list(m.empty))
	}
	if len(m.allFailed) > 0 {
		add("Nothing but failures is on record for %s: if fasteners that went well were not recorded, rates there are too high.", list(m.allFailed))
	}
	if len(m.alone) > 0 && len(a.Units) > 1 {
		add("No other %s shares a stratum with %s: the ratio would be 1 by construction, so none is given. If strata name the %s itself (or what only one %s has), leave that out of the strata.", o.Unit, list(standingNames(m.alone)), o.Unit, o.Unit)
	}
	if own := m.partlyOwn(a); len(own) > 0 {
		add("Strata that one %s has to itself (%s) tell nothing about it: its failures there are just what is expected, which draws the ratio towards 1; more than half of what is expected of %s comes from such strata.", o.Unit, list(m.ownStrata), list(own))
	} else if len(m.ownStrata) > 0 && len(m.alone) < len(a.Units) && len(a.Units) > 1 {
		add("Strata that one %s has to itself tell nothing about it, and draw its ratio towards 1: %s.", o.Unit, list(m.ownStrata))
	}
	if big := standingDominant(a); len(big) > 0 {
		add("More than half of all attempts are those of %s, which therefore largely sets the rates that it is measured by: its ratio is drawn towards 1 and those of the others away from it.", list(big))
	}
	return append(cautions, standingFigureCautions(a, o)...)
}

func standingNames(names []string) []string {
	named := make([]string, len(names))
	for i, n := range names {
		named[i] = standingName(n)
	}
	return named
}

// partlyOwn names units that share strata, but of whose expected failures more
// than half come from strata of their own.
func (m *standingMix) partlyOwn(a *StandingAnswer) []string {
	var names []string
	for _, u := range a.Units {
		if u.Ratio != nil && m.own[u.Unit] > u.Expected/2 {
			names = append(names, standingName(u.Unit))
		}
	}
	slices.Sort(names)
	return names
}

// standingDominant names the unit that holds more than half of all attempts.
func standingDominant(a *StandingAnswer) []string {
	for _, u := range a.Units {
		if len(a.Units) > 1 && u.Ratio != nil && u.Attempts > a.Attempts/2 {
			return []string{standingName(u.Unit)}
		}
	}
	return nil
}

// standingFigureCautions are about the figures' foundations.
func standingFigureCautions(a *StandingAnswer, o StandingOptions) []string {
	var cautions []string
	add := func(format string, args ...any) { cautions = append(cautions, fmt.Sprintf(format, args...)) }
	compared := a.compared()
	var sparse []string
	for _, i := range compared {
		if a.Units[i].Expected < leastExpected {
			sparse = append(sparse, standingName(a.Units[i].Unit))
		}
	}
	if len(sparse) > 0 {
		slices.Sort(sparse)
		add("Sparse: fewer than %d failures are expected of %s; go by the interval, not by the ratio.", leastExpected, list(sparse))
	}
	if n := len(compared); n >= 2 && n < standingFewUnits {
		add("Only %d %ss are compared: over-dispersion and the spread of the true ratios are poorly known from so few, one bad %s widens the funnel for all, and shrunk intervals, which take the fitted spread as known, are somewhat too narrow.", n, o.Unit, o.Unit)
	}
	if len(a.Units) > 1 && a.Failures > 0 {
		for _, f := range []struct {
			what     string
			fallback stats.Fallback
			given    bool
		}{{"ratios", a.RatioShrinkage, len(compared) >= 2}, {"rates", a.RateShrinkage, true}} {
			if words := standingFallback[f.fallback]; f.given && words != "" {
				add(words, f.what)
			}
		}
	}
	if a.RatePer1000 != nil && *a.RatePer1000 > 1000*standingHighRate {
		add("Of all attempts %s %% failed: limits for counts of rare failures are used, which for so high a rate are too wide.", standingFigure(*a.RatePer1000/10))
	}
	cautions = append(cautions, "Fasteners of one joint are not independent of each other: they share lot, tool, hands and weather. Limits allow for it only as far as over-dispersion shows it.")
	if len(compared) >= 2 {
		add("Ratios compare each %s with all at its own mix; two ratios are comparable with one another only as far as mixes are alike or the %s's factor is the same in all strata. What the strata do not name (people, tools, weather, zeal in reporting) is still in the ratio.", o.Unit, o.Unit)
	}
	return cautions
}

var standingFallback = map[stats.Fallback]string{
	stats.FewGroups:     "Shrunk %s are not drawn together: " + strconv.Itoa(stats.LeastGroups) + " groups at least are needed; each keeps to its own record (Jeffreys' prior).",
	stats.NoSpread:      "Shrunk %s are all the same: the groups differ no more than chance makes them, so each has the pooled figure. That is no proof that they are alike.",
	stats.EndlessSpread: "Shrunk %s are not drawn together: the groups differ without any limit that the counts show; each keeps to its own record (Jeffreys' prior).",
}
