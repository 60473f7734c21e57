package stats

import "math"

// CountDistribution is the distribution of a count that is still to come, such
// as the fasteners that will be lost in the installs that remain. It is made by
// [PredictBinomial], [PredictPoisson], [PredictGammaPoisson] or
// [PredictBetaBinomial]; its zero value is of no use.
type CountDistribution struct {
	mean, variance float64
	most           int64 // the largest possible count; MaxCount stands for none
	// Both take a count within [0, most).
	logProbability func(k float64) float64
	tails          func(k float64) (atMost, moreThan float64)
}

// Mean is the expected count.
func (d CountDistribution) Mean() float64 { return d.mean }

// Variance is that of the count.
func (d CountDistribution) Variance() float64 { return d.variance }

// Probability is that of exactly k.
func (d CountDistribution) Probability(k int64) float64 {
	if k < 0 || k > d.most {
		return 0
	}
	return math.Exp(d.logProbability(float64(k)))
}

// AtMost is the probability of k or less, to about twelve digits, nine where
// counts are near a thousand million.
func (d CountDistribution) AtMost(k int64) float64 {
	switch {
	case k < 0:
		return 0
	case k >= d.most:
		return 1
	}
	atMost, _ := d.tails(float64(k))
	return atMost
}

// MoreThan is the probability of more than k, found by itself and not as a
// difference from 1, so that a small one keeps its digits.
func (d CountDistribution) MoreThan(k int64) float64 {
	switch {
	case k < 0:
		return 1
	case k >= d.most:
		return 0
	}
	_, moreThan := d.tails(float64(k))
	return moreThan
}

// quantileSlack is how far, relative, a tail may miss its probability and still
// count as reaching it, so that rounding does not decide exact ties.
const quantileSlack = 1e-11

// Quantile is the smallest count that is not exceeded with at least the given
// probability. An [*ArgumentError] is returned for a probability not strictly
// between 0 and 1, and for one whose quantile lies above [MaxCount].
func (d CountDistribution) Quantile(probability float64) (int64, error) {
	if !(probability > 0 && probability < 1) {
		return 0, badNumber("probability", probability, "must lie between 0 and 1, both excluded")
	}
	reached := func(k int64) bool {
		if probability <= 0.5 {
			return d.AtMost(k) >= probability*(1-quantileSlack)
		}
		return d.MoreThan(k) <= (1-probability)*(1+quantileSlack)
	}
	spread := math.Sqrt(d.variance)
	start := within(d.mean-normalUpperQuantile(probability)*spread, 0, float64(d.most))
	k, found := smallestCount(reached, int64(start), int64(within(spread/8, 1, MaxCount/4)), d.most)
	if !found || d.most == MaxCount && k == MaxCount {
		return 0, badNumber("probability", probability, "must be small enough for its quantile to be a count")
	}
	return k, nil
}

// smallestCount finds the smallest k in [0, most] that has been reached, for a
// property that is kept once reached: it walks from start in doubling steps
// until it stands on both sides, then halves. It is false when none has.
func smallestCount(reached func(int64) bool, start, step, most int64) (int64, bool) {
	low, high := start, start // the last not reached, the first known reached
	if reached(start) {
		for ; ; step *= 2 {
			if low = high - step; low < 0 {
				low = -1
				break
			}
			if !reached(low) {
				break
			}
			high = low
		}
	} else {
		for ; ; step *= 2 {
			if low == most {
				return 0, false
			}
			if high = min(low+step, most); reached(high) {
				break
			}
			low = high
		}
	}
	for high-low > 1 {
		if middle := low + (high-low)/2; reached(middle) {
			high = middle
		} else {
			low = middle
		}
	}
	return high, true
}

// certainCount is the distribution that has only one outcome.
func certainCount(k int64) CountDistribution {
	return CountDistribution{
		mean: float64(k), most: k,
		logProbability: func(at float64) float64 {
			if at == float64(k) {
				return 0
			}
			return math.Inf(-1)
		},
		tails: func(float64) (atMost, moreThan float64) { return 0, 1 }, // only asked below k
	}
}

// betaTails gives the probabilities that a Beta(a,b) variable lies below x and
// above it, y = 1−x; the smaller is had first and keeps its digits.
func betaTails(a, b, x, y float64) (below, above float64) {
	if x*(a+b) <= a {
		log := logIncompleteBeta(a, b, x, y).log
		return math.Exp(log), -math.Expm1(log)
	}
	log := logIncompleteBeta(b, a, y, x).log
	return -math.Expm1(log), math.Exp(log)
}
