package sampling

import (
	"math"

	"jointledger/internal/metrology"
)

// Lot is a finite lot with a number of nonconforming items in it.
type Lot struct {
	Size          int
	Nonconforming int
}

func (l Lot) check() error {
	if l.Size < 1 {
		return &metrology.RangeError{Field: "lot size", Value: float64(l.Size), Allowed: "1 or more"}
	}
	if l.Nonconforming < 0 || l.Nonconforming > l.Size {
		return &metrology.RangeError{Field: "nonconforming items", Value: float64(l.Nonconforming), Allowed: "0 up to the lot size"}
	}
	return nil
}

func (s Single) check() error {
	if s.SampleSize < 1 {
		return &metrology.RangeError{Field: "sample size", Value: float64(s.SampleSize), Allowed: "1 or more"}
	}
	if s.Accept < 0 {
		return &metrology.RangeError{Field: "acceptance number", Value: float64(s.Accept), Allowed: "0 or more"}
	}
	return nil
}

func checkFraction(p float64) error {
	if p >= 0 && p <= 1 {
		return nil
	}
	return &metrology.RangeError{Field: "fraction nonconforming", Value: p, Allowed: "0 to 1"}
}

// AcceptBinomial is the probability of accepting from a process with the given
// fraction nonconforming (type B operating characteristic, binomial). It fails
// with a *metrology.RangeError for a plan or fraction out of range.
func (s Single) AcceptBinomial(fraction float64) (float64, error) {
	if err := s.check(); err != nil {
		return 0, err
	}
	if err := checkFraction(fraction); err != nil {
		return 0, err
	}
	return binomialBelow(s.Accept, s.SampleSize, fraction), nil
}

// AcceptPoisson is the probability of accepting when nonconformities are counted
// and the process makes the given number per unit. It is also the classical
// approximation of AcceptBinomial. It fails with a *metrology.RangeError for a
// plan out of range or a negative number.
func (s Single) AcceptPoisson(perUnit float64) (float64, error) {
	if err := s.check(); err != nil {
		return 0, err
	}
	if err := metrology.CheckNotNegative("nonconformities per unit", perUnit, ""); err != nil {
		return 0, err
	}
	return poissonBelow(s.Accept, float64(s.SampleSize)*perUnit), nil
}

// AcceptLot is the probability of accepting a finite lot (type A operating
// characteristic, hypergeometric). It fails with a *metrology.RangeError for a
// plan or lot out of range or a sample larger than the lot.
func (s Single) AcceptLot(lot Lot) (float64, error) {
	if err := s.checkIn(lot); err != nil {
		return 0, err
	}
	return hypergeometricBelow(s.Accept, s.SampleSize, lot), nil
}

func (s Single) checkIn(lot Lot) error {
	if err := s.check(); err != nil {
		return err
	}
	if err := lot.check(); err != nil {
		return err
	}
	if s.SampleSize > lot.Size {
		return &metrology.RangeError{Field: "sample size", Value: float64(s.SampleSize), Allowed: "up to the lot size"}
	}
	return nil
}

// DetectionPower is the probability of finding at least one nonconforming item of
// the lot in a sample of the given size (hypergeometric). Errors as in AcceptLot.
func (l Lot) DetectionPower(sampleSize int) (float64, error) {
	if err := (Single{SampleSize: sampleSize}).checkIn(l); err != nil {
		return 0, err
	}
	return -math.Expm1(logNoneFound(sampleSize, l)), nil
}

// The sums below run over logarithms of the terms: a single term of a large
// sample can be too small for a float64 while their sum is not.

// binomialBelow is P(X <= c) for X binomial (n, p).
func binomialBelow(c, n int, p float64) float64 {
	switch {
	case c >= n || p == 0:
		return 1
	case p == 1:
		return 0
	}
	odds := math.Log(p) - math.Log1p(-p)
	term := float64(n) * math.Log1p(-p)
	sum := term
	for k := range c {
		term += odds + math.Log(float64(n-k)/float64(k+1))
		sum = addLogs(sum, term)
	}
	return math.Min(1, math.Exp(sum))
}

// poissonBelow is P(X <= c) for X Poisson with the given mean.
func poissonBelow(c int, mean float64) float64 {
	if mean == 0 {
		return 1
	}
	term := -mean
	sum := term
	for k := range c {
		term += math.Log(mean / float64(k+1))
		sum = addLogs(sum, term)
	}
	return math.Min(1, math.Exp(sum))
}

// hypergeometricBelow is P(X <= c) for X nonconforming items in a sample of n.
func hypergeometricBelow(c, n int, lot Lot) float64 {
	good := lot.Size - lot.Nonconforming
	first := max(0, n-good) // the sample cannot hold fewer nonconforming items
	last := min(n, lot.Nonconforming)
	if c >= last {
		return 1
	}
	if c < first {
		return 0
	}
	// With more items than good ones in the sample, none of the good ones is
	// left out: the chance that the other items are all nonconforming.
	term := logNoneFound(n, lot)
	if first > 0 {
		term = logNoneFound(lot.Size-n, Lot{Size: lot.Size, Nonconforming: good})
	}
	sum := term
	for k := first; k < c; k++ {
		term += math.Log(float64(lot.Nonconforming-k)/float64(k+1)) + math.Log(float64(n-k)/float64(good-n+k+1))
		sum = addLogs(sum, term)
	}
	return math.Min(1, math.Exp(sum))
}

// logNoneFound is the logarithm of the probability that a sample of n holds none
// of the nonconforming items; minus infinity when it must hold one.
func logNoneFound(n int, lot Lot) float64 {
	// Drawing n past D or D past n is the same: take the shorter product.
	short, long := min(n, lot.Nonconforming), max(n, lot.Nonconforming)
	if long > lot.Size-short {
		return math.Inf(-1)
	}
	sum := 0.0
	for i := range short {
		sum += math.Log1p(-float64(long) / float64(lot.Size-i))
	}
	return sum
}

// addLogs is ln(e^a + e^b).
func addLogs(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	return a + math.Log1p(math.Exp(b-a))
}
