package stats

import "math"

// RatioInterval is an estimate of a ratio, such as a relative risk, with its
// interval. A ratio runs from 0 upwards without end.
type RatioInterval struct {
	// Estimate is nil where there is none: with Unbounded because the lower
	// figure alone is 0 and the ratio is beyond every number, without because
	// both are 0 and the data say nothing.
	Estimate  *float64
	Unbounded bool
	// Lower is 0 where nothing is known below.
	Lower float64
	// Upper is nil where the interval has no upper end.
	Upper *float64
}

// Covers says whether the ratio lies in the interval.
func (r RatioInterval) Covers(ratio float64) bool {
	return r.Lower <= ratio && (r.Upper == nil || ratio <= *r.Upper)
}

// Vacuous says whether the interval is the whole range and so tells nothing.
func (r RatioInterval) Vacuous() bool { return r.Lower == 0 && r.Upper == nil }

// Inverted is the ratio of B over A.
func (r RatioInterval) Inverted() RatioInterval {
	var inverse RatioInterval
	switch {
	case r.Unbounded:
		inverse.Estimate = new(float64)
	case r.Estimate != nil && *r.Estimate == 0:
		inverse.Unbounded = true
	case r.Estimate != nil:
		inverse.Estimate = ratioOf(1, *r.Estimate)
	}
	if r.Upper != nil {
		inverse.Lower = 1 / *r.Upper
	}
	inverse.Upper = ratioOf(1, r.Lower)
	return inverse
}

// ratioOf gives a/b, nil where b is 0.
func ratioOf(a, b float64) *float64 {
	if b == 0 {
		return nil
	}
	q := a / b
	return &q
}

// estimatedRatio gives a/b as an estimate whose interval is the whole range.
func estimatedRatio(a, b float64) RatioInterval {
	return RatioInterval{Estimate: ratioOf(a, b), Unbounded: b == 0 && a > 0}
}

// logNormal gives the interval that is symmetric about the logarithm of the
// estimate, for an estimate above 0 and a standard error of its logarithm.
func (r RatioInterval) logNormal(standardError, confidence float64) RatioInterval {
	factor := math.Exp(normalUpperQuantile((1-confidence)/2) * standardError)
	if lower := *r.Estimate / factor; !math.IsInf(factor, 1) {
		r.Lower = lower
	}
	if upper := *r.Estimate * factor; !math.IsInf(upper, 1) {
		r.Upper = &upper
	}
	return r
}
