package stats

import (
	"math"
	"strconv"
)

// OddsRatioMethod names a way to estimate an odds ratio with its interval.
type OddsRatioMethod int

const (
	// ConditionalExact fixes all margins: the estimate is the conditional
	// maximum likelihood one, which is not a·d/(b·c), and the limits are exact
	// and central. J. Cornfield, "A statistical problem arising from
	// retrospective studies", Proc. Third Berkeley Symp. 4 (1956) 135-148. The
	// limits belong to twice the smaller of the one-sided p-values, not to
	// [FisherExact], which may contradict them near the confidence.
	ConditionalExact OddsRatioMethod = iota + 1
	// ConditionalMidP is the same with half weight on the observed table (H. O.
	// Lancaster, J. Amer. Statist. Assoc. 56 (1961) 223-234).
	ConditionalMidP
	// WoolfLog is a·d/(b·c) with an interval symmetric about its logarithm: B.
	// Woolf, Ann. Human Genet. 19 (1955) 251-253. With a zero cell it has no
	// standard error; the interval is then the whole range, and no 0.5 is added.
	WoolfLog
)

const oddsRatioMethodNames = "exact, mid-p or woolf"

// String gives "exact", "mid-p" or "woolf".
func (m OddsRatioMethod) String() string {
	switch m {
	case ConditionalExact:
		return "exact"
	case ConditionalMidP:
		return "mid-p"
	case WoolfLog:
		return "woolf"
	}
	return "OddsRatioMethod(" + strconv.Itoa(int(m)) + ")"
}

// ParseOddsRatioMethod reads what [OddsRatioMethod.String] writes. Anything
// else is an [*ArgumentError] that lists the names.
func ParseOddsRatioMethod(text string) (OddsRatioMethod, error) {
	for _, m := range []OddsRatioMethod{ConditionalExact, ConditionalMidP, WoolfLog} {
		if m.String() == text {
			return m, nil
		}
	}
	return 0, &ArgumentError{Argument: "method", Value: strconv.Quote(text), Requirement: "must be " + oddsRatioMethodNames}
}

// OddsRatio gives the odds of failure of A over those of B with the two-sided
// interval. Where the observed table is the least possible with its margins the
// exact estimate and lower limit are 0, where it is the most possible the
// estimate is unbounded and there is no upper limit; where it is both, as when
// nothing failed at all, there is no estimate and the interval is the whole
// range. Time and exactness hold up to many millions of attempts.
//
// An [*ArgumentError] is returned as by [RiskDifference].
func OddsRatio(g TwoGroups, method OddsRatioMethod, confidence float64) (RatioInterval, error) {
	if err := g.check(1); err != nil {
		return RatioInterval{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return RatioInterval{}, err
	}
	switch method {
	case ConditionalExact:
		return conditionalOddsRatio(g, confidence, 1), nil
	case ConditionalMidP:
		return conditionalOddsRatio(g, confidence, 0.5), nil
	case WoolfLog:
		a, b, c, d := g.cells()
		ratio := estimatedRatio(a*d, b*c)
		if a == 0 || b == 0 || c == 0 || d == 0 {
			return ratio, nil
		}
		return ratio.logNormal(math.Sqrt(1/a+1/b+1/c+1/d), confidence), nil
	}
	return RatioInterval{}, unknownMethod(method, oddsRatioMethodNames)
}

// fixedMargins gives the distribution of A's failures when all margins are
// fixed.
func (g TwoGroups) fixedMargins() hypergeometric {
	return newHypergeometric(g.AttemptsA, g.AttemptsB, g.FailuresA+g.FailuresB)
}

// conditionalOddsRatio gives the conditional estimate and central limits, with
// the given weight on the observed table in each tail.
func conditionalOddsRatio(g TwoGroups, confidence, weight float64) RatioInterval {
	h, k := g.fixedMargins(), g.FailuresA
	tail := (1 - confidence) / 2
	a, b, c, d := g.cells()
	start := math.Log((a + 0.5) / (b + 0.5) * (d + 0.5) / (c + 0.5))
	var ratio RatioInterval
	switch {
	case h.least == h.most:
		return ratio
	case k == h.most:
		ratio.Unbounded = true
	case k == h.least:
		ratio.Estimate = new(float64)
	default:
		start = logOddsWhere(func(t float64) float64 { return h.noncentral(t, k).mean - float64(k) }, start)
		estimate := math.Exp(start)
		ratio.Estimate = &estimate
	}
	if k > h.least {
		ratio.Lower = math.Exp(logOddsWhere(func(t float64) float64 {
			p := h.noncentral(t, k)
			return p.above + weight*p.at - tail
		}, start))
	}
	if k < h.most {
		upper := math.Exp(logOddsWhere(func(t float64) float64 {
			p := h.noncentral(t, k)
			return tail - p.below - weight*p.at
		}, start))
		ratio.Upper = &upper
	}
	return ratio
}
