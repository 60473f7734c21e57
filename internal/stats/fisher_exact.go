package stats

import (
	"fmt"
	"math"
)

// tieSlack is the relative difference within which two probabilities count as
// equal in the two-sided sum, as in R's fisher.test: outcomes whose
// probabilities are equal on paper differ by rounding.
const tieSlack = 1e-7

// FisherExact gives the two-sided p-value of Fisher's exact test on the table
// with rows (a, b) and (c, d): the probability, with all margins fixed, of the
// tables that are no more probable than the observed one (the convention of
// minimum likelihood; twice the smaller tail is another, and differs). With an
// empty row or column it is 1. A p-value below the range of float64 is 0.
//
// R. A. Fisher, The Design of Experiments (1935), chapter 2; the convention for
// two sides is J. O. Irwin's, Metron 12 (1935) 83-94.
//
// An [*ArgumentError] is returned for a count below 0, for a table whose counts
// add up to more than [MaxCount], and for an empty table.
func FisherExact(a, b, c, d int64) (p float64, err error) {
	h, err := fisherDistribution(a, b, c, d)
	if err != nil {
		return 0, err
	}
	limit := h.logProbability(a) + math.Log1p(tieSlack)
	mode := h.mode()
	if h.logProbability(mode) <= limit {
		return 1, nil
	}
	// The outcomes that are more probable surround the mode; the two tails
	// beyond them are the sum. The probabilities rise to the mode and fall
	// after it, so each tail's end is found by bisection.
	left := firstFrom(h.least, mode, func(k int64) bool { return h.logProbability(k) > limit })
	right := firstFrom(mode+1, h.most+1, func(k int64) bool { return h.logProbability(k) <= limit })
	return math.Min(1, h.atMost(left-1)+h.atLeast(right)), nil
}

// firstFrom gives the first k in [low, high) for which holds is true, given that
// it stays true from there on; high if there is none.
func firstFrom(low, high int64, holds func(k int64) bool) int64 {
	for low < high {
		middle := low + (high-low)/2
		if holds(middle) {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return low
}

// FisherExactLess gives the one-sided p-value of Fisher's exact test on the
// table with rows (a, b) and (c, d) against an odds ratio below 1: the
// probability of a or less in the first cell, with all margins fixed. It
// returns an [*ArgumentError] as [FisherExact] does.
func FisherExactLess(a, b, c, d int64) (p float64, err error) {
	h, err := fisherDistribution(a, b, c, d)
	if err != nil {
		return 0, err
	}
	return h.atMost(a), nil
}

// FisherExactGreater gives the one-sided p-value of Fisher's exact test on the
// table with rows (a, b) and (c, d) against an odds ratio above 1: the
// probability of a or more in the first cell, with all margins fixed. It
// returns an [*ArgumentError] as [FisherExact] does.
func FisherExactGreater(a, b, c, d int64) (p float64, err error) {
	h, err := fisherDistribution(a, b, c, d)
	if err != nil {
		return 0, err
	}
	return h.atLeast(a), nil
}

// fisherDistribution gives the distribution of the first cell when the margins
// are fixed and rows and columns are independent.
func fisherDistribution(a, b, c, d int64) (hypergeometric, error) {
	var total int64
	for _, cell := range []struct {
		name  string
		count int64
	}{{"a", a}, {"b", b}, {"c", c}, {"d", d}} {
		if err := checkCount(cell.name, cell.count); err != nil {
			return hypergeometric{}, err
		}
		total += cell.count
	}
	if total < 1 || total > MaxCount {
		return hypergeometric{}, badCount("the sum of the table's counts", total,
			fmt.Sprintf("must lie between 1 and %d", int64(MaxCount)))
	}
	return newHypergeometric(a+b, c+d, a+c), nil
}
