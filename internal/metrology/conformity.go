package metrology

import "math"

// Tolerance is an interval of permissible values; a side without a limit is
// infinite.
type Tolerance struct {
	Lower, Upper float64
}

// Symmetric is the tolerance −limit to +limit.
func Symmetric(limit float64) Tolerance { return Tolerance{Lower: -limit, Upper: limit} }

// AtMost is the one-sided tolerance with an upper limit.
func AtMost(upper float64) Tolerance { return Tolerance{Lower: math.Inf(-1), Upper: upper} }

// AtLeast is the one-sided tolerance with a lower limit.
func AtLeast(lower float64) Tolerance { return Tolerance{Lower: lower, Upper: math.Inf(1)} }

func (t Tolerance) check(field string) error {
	if math.IsNaN(t.Lower) || math.IsNaN(t.Upper) || !(t.Lower < t.Upper) {
		return &RangeError{Field: field, Value: t.Upper - t.Lower, Allowed: "a lower limit below the upper limit"}
	}
	return nil
}

// Estimate is a measured value with its standard uncertainty (k = 1), in one
// unit; the knowledge of the quantity is taken as normal.
type Estimate struct {
	Value               float64
	StandardUncertainty float64
}

func (e Estimate) check() error {
	if err := CheckFinite("measured value", e.Value, ""); err != nil {
		return err
	}
	return CheckPositive("standard uncertainty", e.StandardUncertainty, "")
}

// ConformityProbability is the probability that the quantity lies within the
// tolerance, given the estimate: Φ((TU−y)/u) − Φ((TL−y)/u) (JCGM 106:2012,
// 7.3-7.4). It fails with a *RangeError for an empty tolerance, a value that is
// not finite or an uncertainty not above zero.
func (e Estimate) ConformityProbability(t Tolerance) (float64, error) {
	if err := e.checkWith(t); err != nil {
		return 0, err
	}
	u := e.StandardUncertainty
	return normalBetween((t.Lower-e.Value)/u, (t.Upper-e.Value)/u), nil
}

// NonconformityProbability is the probability that the quantity lies outside
// the tolerance: for an accepted result, that of false acceptance given the
// result. It is summed from the tails, so that small values keep their digits.
// Errors as in ConformityProbability.
func (e Estimate) NonconformityProbability(t Tolerance) (float64, error) {
	if err := e.checkWith(t); err != nil {
		return 0, err
	}
	u := e.StandardUncertainty
	return normalBelow((t.Lower-e.Value)/u) + normalBelow((e.Value-t.Upper)/u), nil
}

func (e Estimate) checkWith(t Tolerance) error {
	if err := t.check("tolerance"); err != nil {
		return err
	}
	return e.check()
}

// normalBelow is the standard normal distribution function.
func normalBelow(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// normalBetween is the standard normal probability between a and b, taken in
// the tail in which both lie, if any, to avoid cancellation.
func normalBetween(a, b float64) float64 {
	if a > 0 {
		return normalBelow(-a) - normalBelow(-b)
	}
	return normalBelow(b) - normalBelow(a)
}
