package stats

import (
	"math"
	"sort"
)

// The probabilities that a normal variable leaves beyond two and beyond three
// standard deviations on one side; funnel limits are drawn at these.
const (
	TwoSigmaTail   = 0.0227501319481792072
	ThreeSigmaTail = 0.00134989803163009453
)

// BinomialFunnel gives the control limits for a failure rate at so many attempts
// when the target is the true rate: in each tail lies the given probability.
// The limits of the exact binomial distribution are interpolated between counts
// and clipped to [0, 1]: D. J. Spiegelhalter, "Funnel plots for comparing
// institutional performance", Statist. Med. 24 (2005) 1185-1202, appendix A.1.1.
//
// An [*ArgumentError] is returned for a target outside [0, 1], attempts below 1
// or above [MaxCount], or a tail not strictly between 0 and one half.
func BinomialFunnel(target float64, attempts int64, tail float64) (Interval, error) {
	if !(target >= 0 && target <= 1) {
		return Interval{}, badNumber("target", target, "must lie between 0 and 1")
	}
	if attempts < 1 {
		return Interval{}, badCount("attempts", attempts, "must be at least 1")
	}
	d, err := PredictBinomial(attempts, target)
	if err != nil {
		return Interval{}, err
	}
	return funnelLimits(d, float64(attempts), tail, 1)
}

// PoissonFunnel gives the control limits for the ratio of observed to expected
// events when the expectation is true, as [BinomialFunnel] does for a rate;
// Spiegelhalter (2005), appendix A.3. The lower limit is clipped to 0.
//
// An [*ArgumentError] is returned for an expectation that is not above 0 and at
// most 2^40, or a tail not strictly between 0 and one half.
func PoissonFunnel(expected, tail float64) (Interval, error) {
	if err := checkExpected(expected); err != nil {
		return Interval{}, err
	}
	d, err := PredictPoisson(expected)
	if err != nil {
		return Interval{}, err
	}
	return funnelLimits(d, expected, tail, math.Inf(1))
}

func checkExpected(expected float64) error {
	if !(expected > 0 && expected <= MaxCount) {
		return badNumber("expected", expected, "must be above 0 and at most 2^40")
	}
	return nil
}

func funnelLimits(d CountDistribution, scale, tail, top float64) (Interval, error) {
	if !(tail > 0 && tail < 0.5) {
		return Interval{}, badNumber("tail", tail, "must lie between 0 and one half, both excluded")
	}
	low, err := d.Quantile(tail)
	if err != nil {
		return Interval{}, err
	}
	high, err := d.Quantile(1 - tail)
	if err != nil {
		return Interval{}, err
	}
	// r less the share of its own probability by which P(X ≤ r) has gone past
	// the tail; for the upper limit in terms of P(X > r), which is small.
	lower, upper := float64(low), float64(high)
	if own := d.Probability(low); own > 0 {
		lower -= within((d.AtMost(low)-tail)/own, 0, 1)
	}
	if own := d.Probability(high); own > 0 {
		upper -= within((tail-d.MoreThan(high))/own, 0, 1)
	}
	return Interval{Lower: within(lower/scale, 0, top), Upper: within(upper/scale, 0, top)}, nil
}

// WidenFunnel moves control limits away from the target by the square root of a
// factor of over-dispersion; those below 0 become 0. A factor of 1 or less
// leaves them. D. J. Spiegelhalter (2005), section 4.
func WidenFunnel(limits Interval, target, overDispersion float64) Interval {
	if !(overDispersion > 1) {
		return limits
	}
	by := math.Sqrt(overDispersion)
	return Interval{
		Lower: math.Max(target-by*(target-limits.Lower), 0),
		Upper: target + by*(limits.Upper-target),
	}
}

// OverDispersion gives the factor φ by which groups vary more than chance makes
// them: the mean of the squares of their standardised deviations z, winsorised,
// that is with the given share at each end drawn in to the quantile there so
// that the groups to be found do not hide themselves. It is near 1, winsorised
// somewhat below, when there is only chance. D. J. Spiegelhalter, Statist. Med.
// 24 (2005) 1185-1202, section 4 and appendix A.2; there the share is 0.1. The
// quantiles are interpolated (definition 7 of R. J. Hyndman, Y. Fan, Amer.
// Statistician 50 (1996) 361-365), so that few groups are winsorised too.
//
// An [*ArgumentError] is returned for no deviations, one that is not finite, or
// a share not in [0, 0.5).
func OverDispersion(z []float64, share float64) (float64, error) {
	if len(z) == 0 {
		return 0, badCount("number of deviations", 0, "must be at least 1")
	}
	if !(share >= 0 && share < 0.5) {
		return 0, badNumber("share", share, "must be at least 0 and below one half")
	}
	sorted := append([]float64(nil), z...)
	sort.Float64s(sorted)
	for _, end := range []float64{sorted[0], sorted[len(z)-1]} {
		if math.IsNaN(end) || math.IsInf(end, 0) {
			return 0, badNumber("deviation", end, "must be finite")
		}
	}
	low, high := interpolated(sorted, share), interpolated(sorted, 1-share)
	var sum float64
	for _, v := range sorted {
		v = within(v, low, high)
		sum += v * v
	}
	return sum / float64(len(z)), nil
}

// interpolated gives the quantile of sorted values by linear interpolation.
func interpolated(sorted []float64, share float64) float64 {
	at := share * float64(len(sorted)-1)
	below := int(at)
	if below+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[below] + (at-float64(below))*(sorted[below+1]-sorted[below])
}
