package stats

import (
	"fmt"
	"math"
	"strconv"
)

// LeastGroups is how many groups a prior is fitted to at least: with fewer, how
// much groups differ cannot be told from chance at all (shrinkage gains nothing
// below three groups either: W. James, C. Stein, Proc. Fourth Berkeley Symposium
// 1 (1961) 361-379).
const LeastGroups = 3

// Fallback says why no prior could be fitted, and what stands in its place.
type Fallback int

const (
	// Fitted: the prior was fitted, nothing stands in its place.
	Fitted Fallback = iota
	// FewGroups: fewer than [LeastGroups] groups. Each keeps to its own record,
	// under Jeffreys' prior.
	FewGroups
	// NoSpread: the groups differ no more than chance makes them, so the
	// likelihood is greatest for equal rates. All have the posterior of the
	// pooled record, under Jeffreys' prior.
	NoSpread
	// EndlessSpread: the likelihood is greatest for a prior at the ends of the
	// range, as when groups have either no failures or nothing else. Each keeps
	// to its own record, under Jeffreys' prior.
	EndlessSpread
)

// String gives "fitted", "few-groups", "no-spread" or "endless-spread".
func (f Fallback) String() string {
	switch f {
	case Fitted:
		return "fitted"
	case FewGroups:
		return "few-groups"
	case NoSpread:
		return "no-spread"
	case EndlessSpread:
		return "endless-spread"
	}
	return "Fallback(" + strconv.Itoa(int(f)) + ")"
}

// Dispersions are searched from leastDispersion up to mostDispersion times the
// largest count, beyond which a prior does not differ from a point.
const (
	leastDispersion = 1e-3
	mostDispersion  = 1e5
	// leastGain is the gain in log-likelihood over equal rates below which a
	// maximum is taken for the rounding of a flat curve.
	leastGain = 1e-7
)

// maximiseDispersion finds the precision or shape of greatest profile
// likelihood. The profile is a function of the logarithm of the dispersion. It
// answers Fitted with that logarithm, or why there is none.
func maximiseDispersion(largest float64, profile func(log float64) (likelihood, slope float64)) (float64, Fallback) {
	low, high := math.Log(leastDispersion), math.Log(mostDispersion*math.Max(largest, 10))
	steps := int(math.Ceil((high - low) / math.Ln10))
	at := func(i int) float64 { return low + (high-low)*float64(i)/float64(steps) }
	best, highest, last := 0, math.Inf(-1), 0.0
	for i := range steps + 1 {
		if last, _ = profile(at(i)); last > highest {
			best, highest = i, last
		}
	}
	switch {
	case highest-last < leastGain:
		return 0, NoSpread
	case best == 0:
		return 0, EndlessSpread
	}
	root := bracketedRoot(func(log float64) float64 {
		_, slope := profile(log)
		return -slope
	}, at(best-1), at(best+1))
	return root, Fitted
}

// checkGroupCount refuses a group with a count out of range, naming its place
// counted from 1.
func checkGroupCount(what string, place int, value int64) error {
	return checkCount(fmt.Sprintf("%s of group %d", what, place), value)
}
