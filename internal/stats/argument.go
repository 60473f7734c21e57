package stats

import (
	"fmt"
	"math"
	"strconv"
)

// MaxCount is the largest count, or sum of counts, that the methods of this
// package take: 2^40, about 1.1e12. Below it every count, its half and every
// sum of two is exact in float64, and no tail is too long to be summed.
const MaxCount = 1 << 40

// ArgumentError reports an argument outside the range on which a method is
// defined. Its text is one sentence that can be shown to a person.
type ArgumentError struct {
	Argument    string // name of the argument, as in "failures"
	Value       string // the value given, as text
	Requirement string // what it must be, as in "must be at least 0"
}

// Error gives the sentence, such as "failures is -1, but must be at least 0".
func (e *ArgumentError) Error() string {
	return fmt.Sprintf("%s is %s, but %s", e.Argument, e.Value, e.Requirement)
}

func badCount(argument string, value int64, requirement string) error {
	return &ArgumentError{Argument: argument, Value: strconv.FormatInt(value, 10), Requirement: requirement}
}

func badNumber(argument string, value float64, requirement string) error {
	return &ArgumentError{Argument: argument, Value: strconv.FormatFloat(value, 'g', -1, 64), Requirement: requirement}
}

func checkCount(argument string, value int64) error {
	if value < 0 {
		return badCount(argument, value, "must be at least 0")
	}
	if value > MaxCount {
		return badCount(argument, value, fmt.Sprintf("must be at most %d", int64(MaxCount)))
	}
	return nil
}

func checkConfidence(confidence float64) error {
	// Written so that NaN, which compares false, is refused too.
	if !(confidence > 0 && confidence < 1) {
		return badNumber("confidence", confidence, "must lie between 0 and 1, both excluded")
	}
	return nil
}

func checkExposure(exposure float64) error {
	if !(exposure > 0) || math.IsInf(exposure, 1) {
		return badNumber("exposure", exposure, "must be a finite number above 0")
	}
	return nil
}
