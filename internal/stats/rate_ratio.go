package stats

import (
	"math"
	"strconv"
)

// RateRatioMethod names a way to compare two Poisson rates. Both fix the sum of
// the two counts, which makes the first one binomial: J. Przyborowski, H.
// Wilenski, "Homogeneity of results in testing samples from Poisson series",
// Biometrika 31 (1940) 313-323.
type RateRatioMethod int

const (
	// RateExact puts the exact central limits of C. J. Clopper, E. S. Pearson
	// (1934) for the binomial probability into those of the ratio.
	RateExact RateRatioMethod = iota + 1
	// RateMidP is the same with half weight on the observed counts (H. O.
	// Lancaster, J. Amer. Statist. Assoc. 56 (1961) 223-234).
	RateMidP
)

const rateRatioMethodNames = "exact or mid-p"

// String gives "exact" or "mid-p".
func (m RateRatioMethod) String() string {
	switch m {
	case RateExact:
		return "exact"
	case RateMidP:
		return "mid-p"
	}
	return "RateRatioMethod(" + strconv.Itoa(int(m)) + ")"
}

// ParseRateRatioMethod reads what [RateRatioMethod.String] writes. Anything
// else is an [*ArgumentError] that lists the names.
func ParseRateRatioMethod(text string) (RateRatioMethod, error) {
	for _, m := range []RateRatioMethod{RateExact, RateMidP} {
		if m.String() == text {
			return m, nil
		}
	}
	return 0, &ArgumentError{Argument: "method", Value: strconv.Quote(text), Requirement: "must be " + rateRatioMethodNames}
}

// TwoRates are the counts and exposures of two Poisson processes, A and B.
// Ratios are of A over B.
type TwoRates struct {
	CountA    int64
	ExposureA float64
	CountB    int64
	ExposureB float64
}

// check also refuses exposures of which one is nothing beside the other.
func (r TwoRates) check() error {
	for _, arm := range []struct {
		name     string
		count    int64
		exposure float64
	}{{"A", r.CountA, r.ExposureA}, {"B", r.CountB, r.ExposureB}} {
		if arm.count < 0 || arm.count > MaxCount/2 {
			return badCount("count of "+arm.name, arm.count, "must lie between 0 and "+strconv.FormatInt(MaxCount/2, 10))
		}
		if !(arm.exposure > 0) || math.IsInf(arm.exposure, 1) {
			return badNumber("exposure of "+arm.name, arm.exposure, "must be a finite number above 0")
		}
	}
	if ratio := r.ExposureA / r.ExposureB; !(ratio > 1e-100 && ratio < 1e100) {
		return badNumber("exposure of A", r.ExposureA, "must lie within a factor of 1e100 of that of B")
	}
	return nil
}

// RateRatio gives the ratio of the rates with its two-sided interval. With no
// events in A the estimate and lower limit are 0; with none in B the estimate is
// unbounded and there is no upper limit; with none at all there is no estimate
// and the interval is the whole range.
//
// An [*ArgumentError] is returned for a count out of range, an exposure that is
// not finite and above 0, a confidence not strictly between 0 and 1, or an
// unknown method.
func RateRatio(r TwoRates, method RateRatioMethod, confidence float64) (RatioInterval, error) {
	if err := r.check(); err != nil {
		return RatioInterval{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return RatioInterval{}, err
	}
	var lower func(a, b, tail float64) float64
	switch method {
	case RateExact:
		lower = exactOddsLower
	case RateMidP:
		lower = midPOddsLower
	default:
		return RatioInterval{}, unknownMethod(method, rateRatioMethodNames)
	}
	a, b := float64(r.CountA), float64(r.CountB)
	scale, tail := math.Log(r.ExposureB/r.ExposureA), (1-confidence)/2
	ratio := estimatedRatio(a*(r.ExposureB/r.ExposureA), b)
	if a > 0 {
		ratio.Lower = math.Exp(lower(a, b, tail) + scale)
	}
	if b > 0 {
		upper := math.Exp(scale - lower(b, a, tail))
		ratio.Upper = &upper
	}
	return ratio, nil
}

// exactOddsLower gives the logarithm of the odds p/(1−p) at which a or more
// successes in a+b are as improbable as the tail, for a above 0.
func exactOddsLower(a, b, tail float64) float64 {
	if b == 0 {
		logP := math.Log(tail) / a
		return logP - math.Log(-math.Expm1(logP))
	}
	p, q := betaQuantile(a, b+1, tail)
	return math.Log(p) - math.Log(q)
}

// midPOddsLower is [exactOddsLower] with half weight on a itself. The mean of
// two tails lies between them, and so does the limit.
func midPOddsLower(a, b, tail float64) float64 {
	if b == 0 {
		return exactOddsLower(a, 0, math.Min(2*tail, 1-1e-16))
	}
	excess := func(logit float64) float64 {
		p, q := 1/(1+math.Exp(-logit)), 1/(1+math.Exp(logit))
		with, without := logIncompleteBeta(a, b+1, p, q).log, logIncompleteBeta(a+1, b, p, q).log
		return 0.5*(math.Exp(with)+math.Exp(without)) - tail
	}
	p, q := betaQuantile(a+1, b, tail)
	return bracketedRoot(excess, exactOddsLower(a, b, tail), math.Log(p)-math.Log(q))
}
