package reliability

import "math"

// SimpleResponse is the reactive rule A1 of NCSLI RP-1 (2010): after each
// calibration the interval is lengthened by the fraction Increase when the unit
// was in tolerance, and shortened by Decrease when it was not.
type SimpleResponse struct {
	Increase, Decrease float64
}

// NewSimpleResponse sets the decrease b = 1 − (1+a)^(−R/(1−R)), with which
// growth and shrinkage balance where a part R is in tolerance (derived; that b
// follows from a and R: Kuster and others, seen). It fails with a
// *stats.ArgumentError for an increase not above 0 or a target not strictly
// between 0 and 1.
func NewSimpleResponse(increase, target float64) (SimpleResponse, error) {
	if err := checkAboveZero("increase", increase); err != nil {
		return SimpleResponse{}, err
	}
	if err := checkFraction("target reliability", target); err != nil {
		return SimpleResponse{}, err
	}
	b := -math.Expm1(-target / (1 - target) * math.Log1p(increase))
	return SimpleResponse{Increase: increase, Decrease: b}, nil
}

// Next is the interval after a calibration, in the unit of the one given. It
// fails with a *stats.ArgumentError for an interval that is not finite and above
// 0.
func (r SimpleResponse) Next(interval float64, inTolerance bool) (float64, error) {
	if err := checkAboveZero("interval", interval); err != nil {
		return 0, err
	}
	if inTolerance {
		return interval * (1 + r.Increase), nil
	}
	return interval * (1 - r.Decrease), nil
}

// ScaledInterval is the interval for the target reliability when the reliability
// at the end of the given interval was observed, under the exponential model:
// I·log target/log observed. With everything or nothing in tolerance there is no
// estimate; use TargetInterval, which then gives a one-sided bound. It fails with
// a *stats.ArgumentError for an interval that is not finite and above 0, or a
// reliability not strictly between 0 and 1.
func ScaledInterval(interval, observed, target float64) (float64, error) {
	if err := checkAboveZero("interval", interval); err != nil {
		return 0, err
	}
	if err := checkFraction("observed reliability", observed); err != nil {
		return 0, err
	}
	if err := checkFraction("target reliability", target); err != nil {
		return 0, err
	}
	return interval * math.Log(target) / math.Log(observed), nil
}
