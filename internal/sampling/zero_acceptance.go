package sampling

import (
	"math"

	"jointledger/internal/metrology"
)

// Claim is what a sample without a nonconforming item is to show: with the given
// confidence, less than the fraction is nonconforming.
type Claim struct {
	Confidence    float64 // above 0, below 1
	Nonconforming float64 // fraction, above 0, below 1
}

// ZeroAcceptancePlan is the smallest plan that accepts on zero and shows the
// claim for a process: the smallest n with (1 − p)^n <= 1 − confidence
// (success-run theorem). It fails with a *metrology.RangeError for a confidence
// or fraction that is not between 0 and 1.
func (c Claim) ZeroAcceptancePlan() (Single, error) {
	if err := between("confidence", c.Confidence); err != nil {
		return Single{}, err
	}
	if err := between("fraction nonconforming", c.Nonconforming); err != nil {
		return Single{}, err
	}
	n := math.Log1p(-c.Confidence) / math.Log1p(-c.Nonconforming)
	return Single{SampleSize: max(1, int(math.Ceil(n*(1-tie))))}, nil
}

// ZeroAcceptancePlan is the smallest plan that accepts on zero and would find one
// of the lot's nonconforming items with the given confidence (hypergeometric).
// It fails with a *metrology.RangeError for a lot out of range or without a
// nonconforming item, or a confidence that is not between 0 and 1.
func (l Lot) ZeroAcceptancePlan(confidence float64) (Single, error) {
	if err := between("confidence", confidence); err != nil {
		return Single{}, err
	}
	if err := l.check(); err != nil {
		return Single{}, err
	}
	if l.Nonconforming == 0 {
		return Single{}, &metrology.RangeError{Field: "nonconforming items", Value: 0, Allowed: "1 up to the lot size"}
	}
	missed := math.Log1p(-confidence)
	n := smallest(1, l.Size, func(n int) bool { return logNoneFound(n, l) <= missed*(1-tie) })
	return Single{SampleSize: n}, nil
}

// tie keeps an exact tie, where (1 − p)^n equals the risk, from costing one item
// more by a rounding error.
const tie = 1e-12

func between(field string, v float64) error {
	if v > 0 && v < 1 {
		return nil
	}
	return &metrology.RangeError{Field: field, Value: v, Allowed: "between 0 and 1"}
}

// smallest is the least n of low to high for which enough is true; it must be
// true from some n on.
func smallest(low, high int, enough func(int) bool) int {
	for low < high {
		middle := low + (high-low)/2
		if enough(middle) {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return low
}

// TwoPoints asks for a plan whose operating characteristic passes two points:
// good quality is accepted with at least 1 − ProducerRisk, bad quality with at
// most ConsumerRisk.
type TwoPoints struct {
	Good         float64 // fraction nonconforming
	ProducerRisk float64
	Bad          float64 // fraction nonconforming, above Good
	ConsumerRisk float64
}

// largestDesign bounds the search for a plan; points that close together call
// for a look at every item.
const largestDesign = 10_000

// Plan is the plan with the smallest acceptance number, and for it the smallest
// sample, that passes both points (binomial). It fails with a
// *metrology.RangeError for values not between 0 and 1, for a bad quality not
// above the good one, or when it would need more than 10 000 items.
func (t TwoPoints) Plan() (Single, error) {
	for _, c := range []struct {
		field string
		value float64
	}{
		{"good quality", t.Good}, {"producer's risk", t.ProducerRisk},
		{"bad quality", t.Bad}, {"consumer's risk", t.ConsumerRisk},
	} {
		if err := between(c.field, c.value); err != nil {
			return Single{}, err
		}
	}
	if t.Bad <= t.Good {
		return Single{}, &metrology.RangeError{Field: "bad quality", Value: t.Bad, Allowed: "above the good quality"}
	}
	previous := 1
	for accept := 0; ; accept++ {
		refusesBad := func(n int) bool { return binomialBelow(accept, n, t.Bad) <= t.ConsumerRisk }
		if !refusesBad(largestDesign) {
			return Single{}, &metrology.RangeError{Field: "bad quality", Value: t.Bad, Allowed: "far enough above the good quality for 10000 items"}
		}
		n := smallest(previous, largestDesign, refusesBad)
		if binomialBelow(accept, n, t.Good) >= 1-t.ProducerRisk {
			return Single{SampleSize: n, Accept: accept}, nil
		}
		previous = n // one more accepted never needs fewer inspected
	}
}
