package reliability

import (
	"fmt"
	"strconv"

	"gonum.org/v1/gonum/mathext"

	"jointledger/internal/stats"
)

// EndOfPeriod is how many of a number of calibrations found the unit still in
// tolerance (observed reliability at the end of the period, EOPR).
type EndOfPeriod struct {
	InTolerance, Calibrations int64
	Reliability               float64        // InTolerance/Calibrations
	Interval                  stats.Interval // Clopper and Pearson's exact interval
	// PBelow is the probability of so few in tolerance, or fewer, were the true
	// reliability the target; PAbove that of so many or more.
	PBelow, PAbove float64
}

// ObservedReliability gives the observed reliability at the end of the period
// with its two-sided exact interval and the exact binomial tails against the
// target: the interval test of NCSLI RP-1 (2010), method A3 (from memory). It
// fails with a *stats.ArgumentError for fewer than one calibration, a count of
// in tolerance below 0 or above it, or a target or confidence not strictly
// between 0 and 1.
func ObservedReliability(inTolerance, calibrations int64, target, confidence float64) (EndOfPeriod, error) {
	if calibrations < 1 || calibrations > stats.MaxCount {
		return EndOfPeriod{}, count("calibrations", calibrations, "must be at least 1 and at most 2^40")
	}
	if inTolerance < 0 || inTolerance > calibrations {
		return EndOfPeriod{}, count("in tolerance", inTolerance, fmt.Sprintf("must be 0 to the number of calibrations, %d", calibrations))
	}
	if err := checkFraction("target reliability", target); err != nil {
		return EndOfPeriod{}, err
	}
	interval, err := stats.Proportion(inTolerance, calibrations, stats.ClopperPearson, confidence)
	if err != nil {
		return EndOfPeriod{}, err
	}
	return EndOfPeriod{
		InTolerance:  inTolerance,
		Calibrations: calibrations,
		Reliability:  float64(inTolerance) / float64(calibrations),
		Interval:     interval,
		PBelow:       binomialAtMost(inTolerance, calibrations, target),
		PAbove:       binomialAtMost(calibrations-inTolerance, calibrations, 1-target),
	}, nil
}

// binomialAtMost is P(X ≤ x) for X binomial of n and p, as the incomplete beta
// function I_{1−p}(n−x, x+1).
func binomialAtMost(x, n int64, p float64) float64 {
	if x >= n {
		return 1
	}
	return mathext.RegIncBeta(float64(n-x), float64(x+1), 1-p)
}

// IntervalVerdict is what a test of an interval says.
type IntervalVerdict uint8

// Verdicts.
const (
	IntervalStands   IntervalVerdict = iota + 1 // the count is compatible with the target
	IntervalTooLong                             // improbably few in tolerance
	IntervalTooShort                            // improbably many in tolerance
)

// Test says whether the count is improbable under the target at the given level
// of significance in its tail: an interval is changed only when it is. It fails
// with a *stats.ArgumentError for a level not strictly between 0 and 1.
func (e EndOfPeriod) Test(significance float64) (IntervalVerdict, error) {
	if err := checkFraction("significance", significance); err != nil {
		return 0, err
	}
	switch {
	case e.PBelow <= significance:
		return IntervalTooLong, nil
	case e.PAbove <= significance:
		return IntervalTooShort, nil
	}
	return IntervalStands, nil
}

func count(name string, value int64, requirement string) error {
	return &stats.ArgumentError{Argument: name, Value: strconv.FormatInt(value, 10), Requirement: requirement}
}
