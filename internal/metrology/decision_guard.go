package metrology

// decideGuarded keeps a guard band w = U inside and outside the limit
// (ILAC-G8:09/2019, 4.2, the four outcomes seen): pass up to L − U, conditional
// pass up to L, conditional fail up to L + U, fail beyond. With U at 95 % an
// outright pass is wrong at most about 2.5 % of the time.
func (r Result) decideGuarded() (Outcome, error) {
	if err := r.check(true); err != nil {
		return Fail, err
	}
	switch {
	case r.within(r.Limit - r.ExpandedUncertainty):
		return Pass, nil
	case r.within(r.Limit):
		return ConditionalPass, nil
	case r.within(r.Limit + r.ExpandedUncertainty):
		return ConditionalFail, nil
	default:
		return Fail, nil
	}
}
