package stats

import "math"

// noncentralTails are the probabilities of fewer than, just, and more than so
// many marked items, and the mean, when the odds of drawing a marked item are
// not those of a plain one.
type noncentralTails struct {
	below, at, above, mean float64
}

// noncentral gives Fisher's noncentral hypergeometric distribution at k, within
// the support: the distribution of the first cell of a 2×2 table with fixed
// margins and the given logarithm of the odds ratio (R. A. Fisher, "The logic of
// inductive inference", J. Roy. Statist. Soc. 98 (1935) 39-82). The weights are
// summed outwards from the mode by their ratios until nothing is left to add.
func (h hypergeometric) noncentral(logOdds float64, k int64) noncentralTails {
	odds := math.Exp(logOdds)
	mode := h.noncentralMode(odds)
	var t noncentralTails
	offset := 0.0 // the mean less the mode
	add := func(j int64, weight float64) {
		switch {
		case j < k:
			t.below += weight
		case j == k:
			t.at += weight
		default:
			t.above += weight
		}
		offset += float64(j-mode) * weight
	}
	add(mode, 1)
	weight := 1.0
	for j := mode + 1; j <= h.most; j++ {
		ratio := float64(h.marked-j+1) / float64(j) * (float64(h.drawn-j+1) / float64(h.plain-h.drawn+j)) * odds
		weight *= ratio
		add(j, weight)
		if weight < smallestWeight || j > k && ratio < 1 && weight*ratio <= negligible*t.above*(1-ratio) {
			break
		}
	}
	weight = 1
	for j := mode - 1; j >= h.least; j-- {
		ratio := float64(j+1) / float64(h.marked-j) * (float64(h.plain-h.drawn+j+1) / float64(h.drawn-j)) / odds
		weight *= ratio
		add(j, weight)
		if weight < smallestWeight || j < k && ratio < 1 && weight*ratio <= negligible*t.below*(1-ratio) {
			break
		}
	}
	sum := t.below + t.at + t.above
	return noncentralTails{below: t.below / sum, at: t.at / sum, above: t.above / sum, mean: float64(mode) + offset/sum}
}

// smallestWeight ends a sum whose weights have left the range of float64.
const smallestWeight = 1e-300

// noncentralMode gives the most probable outcome or one beside it: the weights'
// ratio passes 1 at a root of a quadratic (A. Fog, "Calculation methods for
// Wallenius' noncentral hypergeometric distribution", Comm. Statist. Simulation
// Comput. 37 (2008) 258-273, gives it for Fisher's too).
func (h hypergeometric) noncentralMode(odds float64) int64 {
	marked, drawn := float64(h.marked), float64(h.drawn)
	rest := float64(h.plain - h.drawn)
	// Divided by the odds where they are large, so that nothing overflows.
	own, other := odds, 1.0
	if odds > 1 {
		own, other = 1, 1/odds
	}
	linear := (marked+drawn+2)*own + rest*other
	constant := (marked + 1) * (drawn + 1) * own
	root := math.Sqrt(math.Max(0, linear*linear-4*(own-other)*constant))
	var mode float64
	if linear > 0 {
		mode = 2 * constant / (linear + root)
	} else {
		mode = (linear - root) / (2 * (own - other))
	}
	return int64(within(math.Floor(mode), float64(h.least), float64(h.most)))
}

// logOddsWhere finds the logarithm of an odds ratio at which f, which rises with
// it, is 0, searching outwards from a start. Beyond ±600 the weights leave the
// range of float64, and the search ends there.
func logOddsWhere(f func(logOdds float64) float64, start float64) float64 {
	const farthest = 600
	low, high := within(start-0.5, -farthest, farthest), within(start+0.5, -farthest, farthest)
	for step := 1.0; low > -farthest && f(low) > 0; step *= 2 {
		low, high = math.Max(low-step, -farthest), low
	}
	for step := 1.0; high < farthest && f(high) < 0; step *= 2 {
		low, high = high, math.Min(high+step, farthest)
	}
	return bracketedRoot(f, low, high)
}
