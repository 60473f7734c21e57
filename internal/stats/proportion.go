package stats

import (
	"fmt"
	"strconv"
)

// ProportionMethod names a way to make an interval for a proportion.
type ProportionMethod int

const (
	// Wilson is the score interval of E. B. Wilson, "Probable inference, the
	// law of succession, and statistical inference", J. Amer. Statist. Assoc.
	// 22 (1927) 209-212, without continuity correction. Its coverage is near
	// the confidence on average.
	Wilson ProportionMethod = iota + 1
	// ClopperPearson is the exact central interval of C. J. Clopper, E. S.
	// Pearson, Biometrika 26 (1934) 404-413. Its coverage is never below the
	// confidence.
	ClopperPearson
	// Jeffreys is the equal-tailed interval of the posterior under the prior
	// Beta(1/2, 1/2), with the lower limit set to 0 when nothing failed and
	// the upper to 1 when everything did: L. D. Brown, T. T. Cai, A. DasGupta,
	// "Interval estimation for a binomial proportion", Statist. Sci. 16 (2001)
	// 101-133.
	Jeffreys
)

const proportionMethodNames = "wilson, clopper-pearson or jeffreys"

// String gives "wilson", "clopper-pearson" or "jeffreys".
func (m ProportionMethod) String() string {
	switch m {
	case Wilson:
		return "wilson"
	case ClopperPearson:
		return "clopper-pearson"
	case Jeffreys:
		return "jeffreys"
	}
	return "ProportionMethod(" + strconv.Itoa(int(m)) + ")"
}

// ParseProportionMethod reads what [ProportionMethod.String] writes. Anything
// else is an [*ArgumentError] that lists the names.
func ParseProportionMethod(text string) (ProportionMethod, error) {
	for _, m := range []ProportionMethod{Wilson, ClopperPearson, Jeffreys} {
		if m.String() == text {
			return m, nil
		}
	}
	return 0, &ArgumentError{Argument: "method", Value: strconv.Quote(text), Requirement: "must be " + proportionMethodNames}
}

// Proportion gives the two-sided interval for the probability of failure,
// after so many failures in so many independent attempts.
//
// The limits lie in [0, 1]; with no failures the lower is exactly 0, with
// nothing but failures the upper is exactly 1, for every method. Wilson and
// Clopper-Pearson intervals always contain failures/attempts; Jeffreys
// intervals do for confidence of at least one half, while for less they may
// miss it, as they gather about an estimate drawn towards one half.
//
// An [*ArgumentError] is returned for attempts below 1 or above [MaxCount],
// failures below 0 or above attempts, a confidence not strictly between 0 and
// 1, or an unknown method.
func Proportion(failures, attempts int64, method ProportionMethod, confidence float64) (Interval, error) {
	l, err := proportionLimits(failures, attempts, method, confidence)
	if err != nil {
		return Interval{}, err
	}
	return l.twoSided(confidence), nil
}

// ProportionBound gives the one-sided interval for the probability of failure:
// [Lower, 1] for [LowerSide] and [0, Upper] for [UpperSide]. It returns an
// [*ArgumentError] as [Proportion] does, and for an unknown side.
func ProportionBound(failures, attempts int64, method ProportionMethod, side Side, confidence float64) (Interval, error) {
	l, err := proportionLimits(failures, attempts, method, confidence)
	if err != nil {
		return Interval{}, err
	}
	return l.bound(side, confidence)
}

func proportionLimits(failures, attempts int64, method ProportionMethod, confidence float64) (limits, error) {
	if err := checkAttempts(failures, attempts); err != nil {
		return limits{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return limits{}, err
	}
	x, n := float64(failures), float64(attempts)
	switch method {
	case Wilson:
		return wilsonLimits(x, n), nil
	case ClopperPearson:
		return clopperPearsonLimits(x, n), nil
	case Jeffreys:
		return jeffreysLimits(x, n), nil
	}
	return limits{}, unknownMethod(method, proportionMethodNames)
}

func checkAttempts(failures, attempts int64) error {
	if attempts < 1 {
		return badCount("attempts", attempts, "must be at least 1")
	}
	if err := checkCount("attempts", attempts); err != nil {
		return err
	}
	if failures < 0 {
		return badCount("failures", failures, "must be at least 0")
	}
	if failures > attempts {
		return badCount("failures", failures, fmt.Sprintf("must be at most the number of attempts, %d", attempts))
	}
	return nil
}
