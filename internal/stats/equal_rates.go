package stats

import "math"

// EqualRates are the p-values of the hypothesis that two Poisson rates are
// equal, given the sum of the counts.
type EqualRates struct {
	// MinimumLikelihood is two-sided by the sum of the outcomes that are no more
	// probable than the observed one, as [FisherExact] is. It can contradict the
	// exact interval of the ratio: M. P. Fay, "Two-sided exact tests and matching
	// confidence intervals for discrete data", The R Journal 2(1) (2010) 53-58.
	MinimumLikelihood float64
	// Central is two-sided as twice the smaller tail, at most 1. It is below
	// 1−confidence just when the exact interval excludes 1.
	Central float64
	// MidP is Central with half weight on the observed counts.
	MidP float64
	// Less and Greater are the exact tails: A's rate as low, and as high, as
	// observed or more extreme.
	Less, Greater float64
}

// EqualRatesTest gives the p-values. Without any event all are 1. An
// [*ArgumentError] is returned as by [RateRatio].
func EqualRatesTest(r TwoRates) (EqualRates, error) {
	if err := r.check(); err != nil {
		return EqualRates{}, err
	}
	if r.CountA+r.CountB == 0 {
		return EqualRates{1, 1, 1, 1, 1}, nil
	}
	b := rateBinomial{
		n: r.CountA + r.CountB,
		p: 1 / (1 + r.ExposureB/r.ExposureA), q: 1 / (1 + r.ExposureA/r.ExposureB),
	}
	p := EqualRates{Less: b.atMost(r.CountA), Greater: b.atLeast(r.CountA)}
	half := math.Exp(b.log(r.CountA)) / 2
	p.Central = math.Min(1, 2*math.Min(p.Less, p.Greater))
	p.MidP = math.Min(1, 2*(math.Min(p.Less, p.Greater)-half))
	p.MidP = math.Max(p.MidP, 0)
	p.MinimumLikelihood = b.noMoreProbable(r.CountA)
	return p, nil
}

// rateBinomial is the distribution of the first count when the sum is fixed.
type rateBinomial struct {
	n    int64
	p, q float64
}

func (b rateBinomial) log(k int64) float64 { return logBinomial(float64(k), float64(b.n), b.p, b.q) }

// atLeast gives the probability of k or more (NIST Digital Library of
// Mathematical Functions 8.17.5).
func (b rateBinomial) atLeast(k int64) float64 {
	switch {
	case k <= 0:
		return 1
	case k > b.n:
		return 0
	}
	return math.Exp(logIncompleteBeta(float64(k), float64(b.n-k+1), b.p, b.q).log)
}

func (b rateBinomial) atMost(k int64) float64 {
	return rateBinomial{n: b.n, p: b.q, q: b.p}.atLeast(b.n - k)
}

// noMoreProbable sums the outcomes no more probable than k: what lies beyond
// two bounds about the mode, as in [FisherExact].
func (b rateBinomial) noMoreProbable(k int64) float64 {
	limit := b.log(k) + math.Log1p(tieSlack)
	mode := min(b.n, int64(float64(b.n+1)*b.p))
	if b.log(mode) <= limit {
		return 1
	}
	left := firstFrom(0, mode, func(j int64) bool { return b.log(j) > limit })
	right := firstFrom(mode+1, b.n+1, func(j int64) bool { return b.log(j) <= limit })
	return math.Min(1, b.atMost(left-1)+b.atLeast(right))
}
