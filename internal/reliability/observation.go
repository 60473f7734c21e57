package reliability

import (
	"fmt"
	"math"
	"strconv"

	"jointledger/internal/stats"
)

// Observation says between which times a unit went out of tolerance, in the
// caller's unit of time: after After and by By. By is +Inf for one that was
// still in tolerance when last seen; After is 0 for one of which it is only known
// that it was out by By; the two are equal when the moment was seen.
type Observation struct {
	After, By float64
	Count     int64 // units of which this holds
}

// Exact is units that went out at t.
func Exact(t float64, count int64) Observation { return Observation{After: t, By: t, Count: count} }

// StillIn is units found in tolerance at t and not looked at again (right
// censored).
func StillIn(t float64, count int64) Observation {
	return Observation{After: t, By: math.Inf(1), Count: count}
}

// OutBy is units found out of tolerance at t, never looked at before (left
// censored).
func OutBy(t float64, count int64) Observation { return Observation{By: t, Count: count} }

// NoEstimateError says that the likelihood has no finite maximum.
type NoEstimateError struct {
	Model  string // "exponential" or "Weibull"
	Reason string // a clause, such as "everything was found in tolerance"
}

// Error gives the model and the reason in one sentence.
func (e *NoEstimateError) Error() string {
	return fmt.Sprintf("the %s model has no estimate: %s", e.Model, e.Reason)
}

// sample is checked observations that count.
type sample struct {
	observations []Observation
	// events went out, at or by some time; survivors were in at their last look.
	events, survivors int64
	// after says that some event is known not to have happened at once.
	after bool
}

func newSample(observations []Observation) (sample, error) {
	var s sample
	for _, o := range observations {
		if err := o.check(); err != nil {
			return sample{}, err
		}
		if o.Count == 0 || o.After == 0 && math.IsInf(o.By, 1) {
			continue // says nothing
		}
		s.observations = append(s.observations, o)
		if s.events > stats.MaxCount-o.Count || s.survivors > stats.MaxCount-o.Count {
			return sample{}, argument("count", float64(o.Count), "must not make more than 2^40 in all")
		}
		if math.IsInf(o.By, 1) {
			s.survivors += o.Count
		} else {
			s.events += o.Count
			s.after = s.after || o.After > 0
		}
	}
	return s, nil
}

func (o Observation) check() error {
	switch {
	case o.Count < 0 || o.Count > stats.MaxCount:
		return argument("count", float64(o.Count), "must be 0 to 2^40")
	case !(o.After >= 0) || math.IsInf(o.After, 1):
		return argument("time after which", o.After, "must be finite and at least 0")
	case !(o.By > 0):
		return argument("time by which", o.By, "must be above 0")
	case o.By < o.After:
		return argument("time by which", o.By, fmt.Sprintf("must not be before the time after which, %g", o.After))
	}
	return nil
}

// reason says why no rate fits; empty when one does.
func (s sample) reason() string {
	switch {
	case s.events == 0 && s.survivors == 0:
		return "there are no results"
	case s.events == 0:
		return "everything was found in tolerance, which bounds the rate of going out only from above"
	case s.survivors == 0 && !s.after:
		return "nothing was found in tolerance, which bounds the rate of going out only from below"
	}
	return ""
}

// unit is a time in the midst of the observations, by which they are divided
// before logarithms are taken.
func (s sample) unit() float64 {
	sum, n := 0.0, 0.0
	for _, o := range s.observations {
		for _, t := range []float64{o.After, o.By} {
			if t > 0 && !math.IsInf(t, 1) {
				sum += float64(o.Count) * math.Log(t)
				n += float64(o.Count)
			}
		}
	}
	return math.Exp(sum / n)
}

func argument(name string, value float64, requirement string) error {
	return &stats.ArgumentError{Argument: name, Value: strconv.FormatFloat(value, 'g', -1, 64), Requirement: requirement}
}

// checkFraction wants a number strictly between 0 and 1.
func checkFraction(name string, value float64) error {
	if value > 0 && value < 1 {
		return nil
	}
	return argument(name, value, "must be above 0 and below 1")
}

// checkAboveZero wants a finite number above 0.
func checkAboveZero(name string, value float64) error {
	if value > 0 && !math.IsInf(value, 1) {
		return nil
	}
	return argument(name, value, "must be finite and above 0")
}
