package stats

import (
	"fmt"
	"math"
	"strconv"
)

// RatioMethod names a way to make an interval for a standardised ratio.
type RatioMethod int

const (
	// ExactRatio has the limits of [Garwood].
	ExactRatio RatioMethod = iota + 1
	// MidPRatio has those of [MidP].
	MidPRatio
	// ByarRatio has Byar's approximation to the exact limits: N. E. Breslow, N.
	// E. Day, Statistical Methods in Cancer Research II, IARC Scientific
	// Publications 82 (1987), equation 2.13.
	ByarRatio
)

const ratioMethodNames = "exact, mid-p or byar"

// String gives "exact", "mid-p" or "byar".
func (m RatioMethod) String() string {
	switch m {
	case ExactRatio:
		return "exact"
	case MidPRatio:
		return "mid-p"
	case ByarRatio:
		return "byar"
	}
	return "RatioMethod(" + strconv.Itoa(int(m)) + ")"
}

// ParseRatioMethod reads what [RatioMethod.String] writes. Anything else is an
// [*ArgumentError] that lists the names.
func ParseRatioMethod(text string) (RatioMethod, error) {
	for _, m := range []RatioMethod{ExactRatio, MidPRatio, ByarRatio} {
		if m.String() == text {
			return m, nil
		}
	}
	return 0, &ArgumentError{Argument: "method", Value: strconv.Quote(text), Requirement: "must be " + ratioMethodNames}
}

// StandardisedRatio gives the two-sided interval for the ratio of observed to
// expected events, the expectation taken as known and the observed count as
// Poisson. With nothing observed the lower limit is exactly 0.
//
// An [*ArgumentError] is returned for an observed count below 0 or above
// [MaxCount], an expectation that is not above 0 and at most 2^40, a confidence
// not strictly between 0 and 1, or an unknown method.
func StandardisedRatio(observed int64, expected float64, method RatioMethod, confidence float64) (Interval, error) {
	if err := checkCount("observed", observed); err != nil {
		return Interval{}, err
	}
	if err := checkExpected(expected); err != nil {
		return Interval{}, err
	}
	switch method {
	case ExactRatio:
		return PoissonRate(observed, expected, Garwood, confidence)
	case MidPRatio:
		return PoissonRate(observed, expected, MidP, confidence)
	case ByarRatio:
		if err := checkConfidence(confidence); err != nil {
			return Interval{}, err
		}
		return perExposure(byarLimits(float64(observed)).twoSided(confidence), expected, math.Inf(1))
	}
	return Interval{}, unknownMethod(method, ratioMethodNames)
}

// byarLimits are the gamma quantiles of the exact limits after Wilson and
// Hilferty.
func byarLimits(x float64) limits {
	return limits{
		lower: func(tail float64) float64 {
			if x == 0 {
				return 0
			}
			return math.Max(wilsonHilferty(x, -normalUpperQuantile(tail)), 0)
		},
		upper: func(tail float64) float64 { return wilsonHilferty(x+1, normalUpperQuantile(tail)) },
		top:   math.Inf(1),
	}
}

// StandardisedRatioTest gives the two-sided p-value against a ratio of 1: twice
// the smaller Poisson tail, at most 1, so that it agrees with the exact
// interval of [StandardisedRatio]. An over-dispersion above 1 shrinks the normal
// deviate of the same p-value by its square root, as [WidenFunnel] widens the
// limits. It returns an [*ArgumentError] as [StandardisedRatio] does, and for an
// over-dispersion that is not finite and above 0.
func StandardisedRatioTest(observed int64, expected, overDispersion float64) (float64, error) {
	if err := checkCount("observed", observed); err != nil {
		return 0, err
	}
	if err := checkExpected(expected); err != nil {
		return 0, err
	}
	if !(overDispersion > 0) || math.IsInf(overDispersion, 1) {
		return 0, badNumber("over-dispersion", overDispersion, "must be a finite number above 0")
	}
	d, err := PredictPoisson(expected)
	if err != nil {
		return 0, err
	}
	tail := math.Min(d.AtMost(observed), d.MoreThan(observed-1))
	if tail >= 0.5 {
		return 1, nil
	}
	if overDispersion > 1 && tail > 0 {
		tail = math.Erfc(normalUpperQuantile(tail)/math.Sqrt(2*overDispersion)) / 2
	}
	return 2 * tail, nil
}

// StratumCount is what a unit has on record in one stratum; both are numbered
// from 0.
type StratumCount struct {
	Unit, Stratum      int
	Failures, Attempts int64
}

// ExpectedFailures standardises indirectly: for each unit, the failures it would
// have had if each of its attempts had failed at the pooled rate, over all units,
// of the attempt's stratum. Expected and observed failures have the same sum.
// Breslow and Day (1987), section 2.3.
//
// An [*ArgumentError] is returned for a unit or stratum out of range, a count out
// of range, or failures above attempts.
func ExpectedFailures(cells []StratumCount, units, strata int) ([]float64, error) {
	failures, attempts := make([]int64, strata), make([]int64, strata)
	for i, c := range cells {
		if c.Unit < 0 || c.Unit >= units {
			return nil, badCount("unit", int64(c.Unit), fmt.Sprintf("must be at least 0 and below %d", units))
		}
		if c.Stratum < 0 || c.Stratum >= strata {
			return nil, badCount("stratum", int64(c.Stratum), fmt.Sprintf("must be at least 0 and below %d", strata))
		}
		if err := checkGroupCount("attempts", i+1, c.Attempts); err != nil {
			return nil, err
		}
		if c.Failures < 0 || c.Failures > c.Attempts {
			return nil, badCount(fmt.Sprintf("failures of group %d", i+1), c.Failures, fmt.Sprintf("must be at least 0 and at most the number of attempts, %d", c.Attempts))
		}
		failures[c.Stratum] += c.Failures
		attempts[c.Stratum] += c.Attempts
		if err := checkCount("sum of attempts", attempts[c.Stratum]); err != nil {
			return nil, err
		}
	}
	expected := make([]float64, units)
	for _, c := range cells {
		if c.Attempts > 0 {
			expected[c.Unit] += float64(c.Attempts) * (float64(failures[c.Stratum]) / float64(attempts[c.Stratum]))
		}
	}
	return expected, nil
}
