package sequential

import (
	"math"
	"strconv"

	"jointledger/internal/stats"
)

// Test is Wald's sequential probability ratio test between two rates: A. Wald,
// Sequential Analysis (1947), chapters 3 to 5. It ends with a verdict, where a
// CUSUM goes on: for a lot on trial, not for a lot in use.
type Test struct {
	Model Model
	// Low is the rate that shall be accepted, High the one that shall be refused.
	Low, High float64
	// Alpha is the risk of refusing at Low, Beta that of accepting at High.
	Alpha, Beta float64
	// AcceptIntercept, RejectIntercept and Slope are Wald's h1, h2 and s, in
	// failures and failures per attempt or unit of exposure.
	AcceptIntercept, RejectIntercept, Slope float64
}

// Verdict is what a sequential test says so far.
type Verdict uint8

const (
	// Continue: neither line is reached.
	Continue Verdict = iota + 1
	// Accept: the lower rate is accepted.
	Accept
	// Reject: it is refused for the higher one.
	Reject
)

// String gives "continue", "accept" or "reject".
func (v Verdict) String() string {
	switch v {
	case Continue:
		return "continue"
	case Accept:
		return "accept"
	case Reject:
		return "reject"
	}
	return "Verdict(" + strconv.Itoa(int(v)) + ")"
}

// NewTest makes the test. The risks lie strictly between 0 and 1 and add up to
// less than 1. The error is a *stats.ArgumentError.
func NewTest(m Model, low, high, alpha, beta float64) (Test, error) {
	if err := checkRates(m, low, high); err != nil {
		return Test{}, err
	}
	if !(alpha > 0 && alpha < 1) {
		return Test{}, badNumber("alpha", alpha, "must lie between 0 and 1, both excluded")
	}
	if !(beta > 0 && alpha+beta < 1) {
		return Test{}, badNumber("beta", beta, "must lie above 0 and below 1 less alpha")
	}
	t := Test{Model: m, Low: low, High: high, Alpha: alpha, Beta: beta}
	k := t.perFailure()
	t.AcceptIntercept = math.Log((1-alpha)/beta) / k
	t.RejectIntercept = math.Log((1-beta)/alpha) / k
	t.Slope = referenceValue(m, low, high)
	return t, nil
}

// perFailure is the log-likelihood ratio by which a failure differs from none.
func (t Test) perFailure() float64 {
	k := math.Log(t.High / t.Low)
	if t.Model == Bernoulli {
		k += math.Log1p(-t.Low) - math.Log1p(-t.High)
	}
	return k
}

// Lines are the numbers of failures at and below which the test accepts, and at
// and above which it refuses, after so much exposure. A negative accept means
// that nothing can be accepted yet. The error is a *stats.ArgumentError for an
// exposure below 0.
func (t Test) Lines(exposure float64) (accept, reject float64, err error) {
	if !(exposure >= 0) || exposure > stats.MaxCount {
		return 0, 0, badNumber("exposure", exposure, "must be at least 0 and below 2^40")
	}
	return t.Slope*exposure - t.AcceptIntercept, t.Slope*exposure + t.RejectIntercept, nil
}

// Decide is the verdict after so many failures in so much exposure. Records may be
// added up in any order; with whole records it is looked at later than with single
// attempts, so the sample is a little longer. The error is a *stats.ArgumentError.
func (t Test) Decide(failures int64, exposure float64) (Verdict, error) {
	if err := checkObservation(t.Model, failures, exposure); err != nil {
		return 0, err
	}
	accept, reject, err := t.Lines(exposure)
	if err != nil {
		return 0, err
	}
	switch d := float64(failures); {
	case d <= accept:
		return Accept, nil
	case d >= reject:
		return Reject, nil
	}
	return Continue, nil
}

// Accepts is the operating characteristic: Wald's approximate probability of
// acceptance at a rate. The overshoot over the lines is neglected. The error is a
// *stats.ArgumentError for a rate that the model does not have.
func (t Test) Accepts(rate float64) (float64, error) {
	h, err := t.exponent(rate)
	if err != nil {
		return 0, err
	}
	// (A^h − 1)/(A^h − B^h) with A = exp(a), B = exp(−b), kept from overflow.
	k := t.perFailure()
	a, b := t.RejectIntercept*k, t.AcceptIntercept*k
	switch {
	case math.Abs(h) < 1e-9:
		return a / (a + b), nil // the limit at the slope
	case h > 0:
		return -math.Expm1(-a*h) / -math.Expm1(-(a+b)*h), nil
	default:
		return math.Expm1(a*h) * math.Exp(b*h) / math.Expm1((a+b)*h), nil
	}
}

// AverageExposure is Wald's average sample number: the expected attempts, or
// exposure, to a verdict at a rate. Overshoot is neglected. The error is a
// *stats.ArgumentError for a rate that the model does not have.
func (t Test) AverageExposure(rate float64) (float64, error) {
	accepts, err := t.Accepts(rate)
	if err != nil {
		return 0, err
	}
	if math.Abs(rate-t.Slope) < 1e-7*t.Slope {
		variance := t.Slope
		if t.Model == Bernoulli {
			variance *= 1 - t.Slope
		}
		return t.AcceptIntercept * t.RejectIntercept / variance, nil
	}
	return ((1-accepts)*t.RejectIntercept - accepts*t.AcceptIntercept) / (rate - t.Slope), nil
}

// exponent is Wald's h(rate): the one other than 0 for which the expected h-th
// power of the likelihood ratio is 1. It is 1 at Low, −1 at High, 0 at the slope.
func (t Test) exponent(rate float64) (float64, error) {
	if err := checkPositive("rate", rate); err != nil {
		return 0, err
	}
	if t.Model == Bernoulli && rate >= 1 {
		return 0, badNumber("rate", rate, "must be below 1 failure per attempt")
	}
	// rateAt falls as h rises; in logarithms it neither overflows nor cancels.
	bound := 1.0
	for t.rateAt(bound) > rate && bound < 1e6 {
		bound *= 2
	}
	floor := -1.0
	for t.rateAt(floor) < rate && floor > -1e6 {
		floor *= 2
	}
	return rising(func(h float64) float64 { return rate - t.rateAt(h) }, floor, bound), nil
}

// rateAt is the rate that belongs to an exponent.
func (t Test) rateAt(h float64) float64 {
	if math.Abs(h) < 1e-9 {
		return t.Slope
	}
	u := h * math.Log(t.High/t.Low)
	if t.Model == Poisson {
		return h * (t.High - t.Low) / math.Expm1(u)
	}
	// (1 − e^−v) / (e^u − e^−v), with v > 0 for h > 0.
	v := h * (math.Log1p(-t.Low) - math.Log1p(-t.High))
	if h > 0 {
		return math.Exp(-u) * -math.Expm1(-v) / -math.Expm1(-v-u)
	}
	return math.Expm1(v) / math.Expm1(u+v)
}
