package sampling

import (
	"math"

	"jointledger/internal/metrology"
)

// AverageOutgoing is the average outgoing quality: the fraction nonconforming
// that leaves inspection when refused lots are inspected in full and
// nonconforming items replaced, p·Pa·(N − n)/N (binomial Pa). It fails with a
// *metrology.RangeError for a plan, lot or fraction out of range.
func (s Single) AverageOutgoing(lotSize int, fraction float64) (float64, error) {
	if err := s.checkIn(Lot{Size: lotSize}); err != nil {
		return 0, err
	}
	pa, err := s.AcceptBinomial(fraction)
	if err != nil {
		return 0, err
	}
	return fraction * pa * float64(lotSize-s.SampleSize) / float64(lotSize), nil
}

// AverageOutgoingContinuing is the average outgoing quality of lots so large
// that the sample takes nothing away from them, p·Pa. Errors as in
// AcceptBinomial.
func (s Single) AverageOutgoingContinuing(fraction float64) (float64, error) {
	pa, err := s.AcceptBinomial(fraction)
	return fraction * pa, err
}

// OutgoingLimit is the average outgoing quality limit: the worst average
// outgoing quality and the incoming fraction at which it comes.
type OutgoingLimit struct {
	Incoming float64
	Outgoing float64
}

// AverageOutgoingLimit finds the largest average outgoing quality over all
// incoming fractions. It fails with a *metrology.RangeError for a plan or lot
// out of range, or a plan that accepts whatever it finds.
func (s Single) AverageOutgoingLimit(lotSize int) (OutgoingLimit, error) {
	if err := s.checkIn(Lot{Size: lotSize}); err != nil {
		return OutgoingLimit{}, err
	}
	if s.Accept >= s.SampleSize {
		return OutgoingLimit{}, &metrology.RangeError{Field: "acceptance number", Value: float64(s.Accept), Allowed: "below the sample size"}
	}
	// The slope of p·Pa is Pa − p·n·P(exactly c of n−1): positive up to the
	// maximum, and not after it.
	rising := func(p float64) bool {
		exactly := logBinomial(s.Accept, s.SampleSize-1, p)
		return binomialBelow(s.Accept, s.SampleSize, p) > p*float64(s.SampleSize)*math.Exp(exactly)
	}
	p := bisect(0, 1, rising)
	outgoing, err := s.AverageOutgoing(lotSize, p)
	return OutgoingLimit{Incoming: p, Outgoing: outgoing}, err
}

// logBinomial is ln P(X = c) for X binomial (n, p), 0 < p < 1.
func logBinomial(c, n int, p float64) float64 {
	term := float64(n) * math.Log1p(-p)
	for k := range c {
		term += math.Log(p) - math.Log1p(-p) + math.Log(float64(n-k)/float64(k+1))
	}
	return term
}

// FractionAccepted is the fraction nonconforming that the plan accepts with the
// given probability (binomial): at 0.95 what it nearly always accepts, at 0.10
// its limiting quality. It fails with a *metrology.RangeError for a plan that
// accepts whatever it finds or a probability not between 0 and 1.
func (s Single) FractionAccepted(probability float64) (float64, error) {
	if err := s.checkInverse(probability); err != nil {
		return 0, err
	}
	if s.Accept >= s.SampleSize {
		return 0, &metrology.RangeError{Field: "acceptance number", Value: float64(s.Accept), Allowed: "below the sample size"}
	}
	return bisect(0, 1, func(p float64) bool { return binomialBelow(s.Accept, s.SampleSize, p) > probability }), nil
}

// PerUnitAccepted is the number of nonconformities per unit that the plan
// accepts with the given probability (Poisson). Errors as in FractionAccepted,
// but every acceptance number has one.
func (s Single) PerUnitAccepted(probability float64) (float64, error) {
	if err := s.checkInverse(probability); err != nil {
		return 0, err
	}
	accepted := func(mean float64) bool { return poissonBelow(s.Accept, mean) > probability }
	high := 1.0
	for accepted(high) {
		high *= 2
	}
	return bisect(0, high, accepted) / float64(s.SampleSize), nil
}

func (s Single) checkInverse(probability float64) error {
	if err := s.check(); err != nil {
		return err
	}
	if probability > 0 && probability < 1 {
		return nil
	}
	return &metrology.RangeError{Field: "probability of acceptance", Value: probability, Allowed: "between 0 and 1"}
}

// bisect narrows down, to the last bit, where above stops being true. It must be
// true just above low and false at high.
func bisect(low, high float64, above func(float64) bool) float64 {
	for {
		middle := low + (high-low)/2
		if middle <= low || middle >= high {
			return middle
		}
		if above(middle) {
			low = middle
		} else {
			high = middle
		}
	}
}
