package stats

import (
	"math"
	"strconv"
)

// PoissonMethod names a way to make an interval for the mean of a Poisson
// count.
type PoissonMethod int

const (
	// Garwood is the exact central interval of F. Garwood, "Fiducial limits
	// for the Poisson distribution", Biometrika 28 (1936) 437-442. Its
	// coverage is never below the confidence.
	Garwood PoissonMethod = iota + 1
	// MidP is the exact interval with half weight on the observed count: H. O.
	// Lancaster, "Significance tests in discrete distributions", J. Amer.
	// Statist. Assoc. 56 (1961) 223-234. It is shorter, and its coverage is
	// near the confidence on average.
	MidP
)

const poissonMethodNames = "garwood or mid-p"

// String gives "garwood" or "mid-p".
func (m PoissonMethod) String() string {
	switch m {
	case Garwood:
		return "garwood"
	case MidP:
		return "mid-p"
	}
	return "PoissonMethod(" + strconv.Itoa(int(m)) + ")"
}

// ParsePoissonMethod reads what [PoissonMethod.String] writes. Anything else
// is an [*ArgumentError] that lists the names.
func ParsePoissonMethod(text string) (PoissonMethod, error) {
	for _, m := range []PoissonMethod{Garwood, MidP} {
		if m.String() == text {
			return m, nil
		}
	}
	return 0, &ArgumentError{Argument: "method", Value: strconv.Quote(text), Requirement: "must be " + poissonMethodNames}
}

// PoissonRate gives the two-sided interval for the rate of a Poisson process,
// in events per unit of exposure, after so many events in that exposure. With
// no events the lower limit is exactly 0.
//
// An [*ArgumentError] is returned for a count below 0 or above [MaxCount], an
// exposure that is not finite and above 0 or so small that the rate
// overflows, a confidence not strictly between 0 and 1, or an unknown method.
func PoissonRate(count int64, exposure float64, method PoissonMethod, confidence float64) (Interval, error) {
	l, err := poissonLimits(count, exposure, method, confidence)
	if err != nil {
		return Interval{}, err
	}
	return perExposure(l.twoSided(confidence), exposure, l.top)
}

// PoissonRateBound gives the one-sided interval for the rate: [Lower, +Inf)
// for [LowerSide] and [0, Upper] for [UpperSide]. It returns an
// [*ArgumentError] as [PoissonRate] does, and for an unknown side.
func PoissonRateBound(count int64, exposure float64, method PoissonMethod, side Side, confidence float64) (Interval, error) {
	l, err := poissonLimits(count, exposure, method, confidence)
	if err != nil {
		return Interval{}, err
	}
	mean, err := l.bound(side, confidence)
	if err != nil {
		return Interval{}, err
	}
	return perExposure(mean, exposure, l.top)
}

func poissonLimits(count int64, exposure float64, method PoissonMethod, confidence float64) (limits, error) {
	if err := checkCount("count", count); err != nil {
		return limits{}, err
	}
	if err := checkExposure(exposure); err != nil {
		return limits{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return limits{}, err
	}
	x := float64(count)
	switch method {
	case Garwood:
		return garwoodLimits(x), nil
	case MidP:
		return poissonMidPLimits(x), nil
	}
	return limits{}, unknownMethod(method, poissonMethodNames)
}

// perExposure turns limits for the mean count into limits for the rate. Only a
// limit that was infinite before may be so afterwards.
func perExposure(mean Interval, exposure, top float64) (Interval, error) {
	rate := Interval{Lower: mean.Lower / exposure, Upper: mean.Upper / exposure}
	if math.IsInf(rate.Lower, 1) || math.IsInf(rate.Upper, 1) && mean.Upper < top {
		return Interval{}, badNumber("exposure", exposure, "must be large enough for the rate to be finite")
	}
	return rate, nil
}
