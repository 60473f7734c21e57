package stats

import (
	"math"
	"math/bits"
)

// hypergeometric is the distribution of the number of marked items in a sample
// drawn without replacement: of marked+plain items, drawn are taken.
type hypergeometric struct {
	marked, plain, drawn int64
	least, most          int64 // the ends of the support
}

func newHypergeometric(marked, plain, drawn int64) hypergeometric {
	return hypergeometric{
		marked: marked, plain: plain, drawn: drawn,
		least: max(0, drawn-plain), most: min(marked, drawn),
	}
}

// mode gives the most probable outcome, ⌊(marked+1)(drawn+1)/(total+2)⌋; the
// probabilities rise up to it and fall after it.
func (h hypergeometric) mode() int64 {
	high, low := bits.Mul64(uint64(h.marked+1), uint64(h.drawn+1))
	quotient, _ := bits.Div64(high, low, uint64(h.marked+h.plain+2))
	return int64(quotient)
}

// logProbability gives the logarithm of the probability of k, within the
// support. The probability is a ratio of three binomial ones with any common
// success probability; the sampling fraction keeps all three near their modes,
// so no digits are lost to factorials (Loader 2000).
func (h hypergeometric) logProbability(k int64) float64 {
	if h.least == h.most {
		return 0
	}
	total := float64(h.marked + h.plain)
	p, q := float64(h.drawn)/total, float64(h.marked+h.plain-h.drawn)/total
	return logBinomial(float64(k), float64(h.marked), p, q) +
		logBinomial(float64(h.drawn-k), float64(h.plain), p, q) -
		logBinomial(float64(h.drawn), total, p, q)
}

// atMost gives the probability of k or less.
func (h hypergeometric) atMost(k int64) float64 {
	switch {
	case k < h.least:
		return 0
	case k >= h.most:
		return 1
	case k >= h.mode():
		return 1 - h.tailUp(k+1)
	}
	return h.tailDown(k)
}

// atLeast gives the probability of k or more.
func (h hypergeometric) atLeast(k int64) float64 {
	switch {
	case k > h.most:
		return 0
	case k <= h.least:
		return 1
	case k <= h.mode():
		return 1 - h.tailDown(k-1)
	}
	return h.tailUp(k)
}

// negligible is the share of a tail that may be left unsummed.
const negligible = 1e-17

// tailDown sums the probabilities of k, k−1, … for k at or below the mode.
// Each is had from the one before by their ratio. The ratios fall, so what is
// left is less than a geometric series, and the sum stops when that is
// negligible: after some nine standard deviations, however long the support.
func (h hypergeometric) tailDown(k int64) float64 {
	// All four factors of the ratio P(j−1)/P(j) are counts.
	up, down := float64(k), float64(h.plain-h.drawn+k)
	left, right := float64(h.marked-k+1), float64(h.drawn-k+1)
	sum, term := 1.0, 1.0
	for j := k; j > h.least; j-- {
		ratio := up * down / (left * right)
		term *= ratio
		sum += term
		if term*ratio <= negligible*sum*(1-ratio) {
			break
		}
		up, down, left, right = up-1, down-1, left+1, right+1
	}
	return math.Exp(h.logProbability(k) + math.Log(sum))
}

// tailUp sums the probabilities of k, k+1, … for k at or above the mode: by
// counting the unmarked items of the sample it is a lower tail.
func (h hypergeometric) tailUp(k int64) float64 {
	return newHypergeometric(h.plain, h.marked, h.drawn).tailDown(h.drawn - k)
}
