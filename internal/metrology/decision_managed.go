package metrology

import "math"

// decideManaged is the managed guard band ("method 6" of the handbook to
// ANSI/NCSL Z540.3, after Dobbert; from memory): two outcomes, with a guard band
// that shrinks as the test uncertainty ratio grows and vanishes from about 4.6,
// so that false acceptance over the population stays within 2 %.
func (r Result) decideManaged() (Outcome, error) {
	if err := r.check(true); err != nil {
		return Fail, err
	}
	if r.within(r.managedAcceptanceLimit()) {
		return Pass, nil
	}
	return Fail, nil
}

func (r Result) managedAcceptanceLimit() float64 {
	return r.Limit - r.ExpandedUncertainty*ManagedGuardFactor(r.Limit/r.ExpandedUncertainty)
}

// ManagedGuardFactor is M in the acceptance limit L − U·M of the managed guard
// band, M = 1.04 − exp(0.38·ln TUR − 0.54), and 0 where that is negative (from
// memory). The ratio must be above zero.
func ManagedGuardFactor(testUncertaintyRatio float64) float64 {
	return math.Max(0, 1.04-math.Exp(0.38*math.Log(testUncertaintyRatio)-0.54))
}
