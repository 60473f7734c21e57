package stats

import (
	"fmt"
	"math"
	"strconv"
)

// Interval is a closed interval of estimates; Lower is never above Upper. Its
// unit is that of the estimate it belongs to.
type Interval struct {
	Lower, Upper float64
}

// Side says which limit of a one-sided interval is the informative one.
type Side int

const (
	// LowerSide: the estimand is at least Lower; Upper is the end of its range.
	LowerSide Side = iota + 1
	// UpperSide: the estimand is at most Upper; Lower is the end of its range.
	UpperSide
)

// String gives "lower" or "upper".
func (s Side) String() string {
	switch s {
	case LowerSide:
		return "lower"
	case UpperSide:
		return "upper"
	}
	return "Side(" + strconv.Itoa(int(s)) + ")"
}

// ParseSide reads what [Side.String] writes. Anything else is an
// [*ArgumentError].
func ParseSide(text string) (Side, error) {
	for _, s := range []Side{LowerSide, UpperSide} {
		if s.String() == text {
			return s, nil
		}
	}
	return 0, &ArgumentError{Argument: "side", Value: strconv.Quote(text), Requirement: "must be lower or upper"}
}

// limits finds one limit of an interval, given the probability left in the
// tail beyond it.
type limits struct {
	lower, upper func(tail float64) float64
	// top is the upper end of the estimand's range, which begins at 0.
	top float64
}

func (l limits) twoSided(confidence float64) Interval {
	tail := (1 - confidence) / 2
	lower, upper := l.lower(tail), l.upper(tail)
	// At a confidence near 0 both limits are the same number, found from two
	// sides, and rounding may cross them.
	return Interval{Lower: min(lower, upper), Upper: max(lower, upper)}
}

func (l limits) bound(side Side, confidence float64) (Interval, error) {
	tail := 1 - confidence
	switch side {
	case LowerSide:
		return Interval{Lower: l.lower(tail), Upper: l.top}, nil
	case UpperSide:
		return Interval{Lower: 0, Upper: l.upper(tail)}, nil
	}
	return Interval{}, &ArgumentError{Argument: "side", Value: side.String(), Requirement: "must be lower or upper"}
}

// within keeps a limit that rounding has carried past the end of its range, or
// to the wrong side of the estimate, where it belongs.
func within(value, low, high float64) float64 {
	return math.Min(math.Max(value, low), high)
}

// unknownMethod reports a method value that no constant names; text lists the
// ones there are.
func unknownMethod(value fmt.Stringer, text string) error {
	return &ArgumentError{Argument: "method", Value: value.String(), Requirement: "must be " + text}
}
