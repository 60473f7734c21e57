package reliability

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Model names a life distribution.
type Model uint8

// Models.
const (
	ModelExponential Model = iota + 1
	ModelWeibull
)

// String gives "exponential" or "Weibull".
func (m Model) String() string {
	if m == ModelWeibull {
		return "Weibull"
	}
	return "exponential"
}

// TargetIntervalEstimate is the interval at whose end the reliability is still
// at the target. What the results do not set is nil.
type TargetIntervalEstimate struct {
	Model Model
	// Estimate is by maximum likelihood; nil when everything was in tolerance or
	// nothing was.
	Estimate *float64
	// Lower and Upper are the two-sided limits, by profile likelihood. Upper is
	// nil when the likelihood does not bound the interval from above, Lower when
	// not from below.
	Lower, Upper *float64
	// OneSided says that there is no estimate and one bound only, exact under the
	// exponential model: Lower when everything was in tolerance, Upper when
	// nothing was.
	OneSided bool
	// LikelihoodRatio is twice the gain of the Weibull model over the exponential,
	// and PExponential its p-value (chi-square, one degree of freedom); nil when
	// the Weibull model has no estimate.
	LikelihoodRatio, PExponential *float64
}

// modelSignificance is the level at which the Weibull model is preferred to the
// exponential.
const modelSignificance = 0.05

// TargetInterval estimates the calibration interval for a target reliability.
// The model is exponential unless a likelihood-ratio test prefers the Weibull at
// the level 0.05; limits are by profile likelihood (D. R. Cox, D. Oakes, Analysis
// of Survival Data (1984) ch. 3; Meeker and Escobar (1998) ch. 8). When
// everything was in tolerance, it gives the one-sided lower bound −log R·Σt/−log
// (1−confidence), below which the results would have been less probable than
// 1 − confidence; when nothing was, the upper bound by the same argument.
//
// It fails with a *NoEstimateError without results, and with a
// *stats.ArgumentError for an impossible observation or a target or confidence
// not strictly between 0 and 1.
func TargetInterval(observations []Observation, target, confidence float64) (TargetIntervalEstimate, error) {
	if err := checkFraction("target reliability", target); err != nil {
		return TargetIntervalEstimate{}, err
	}
	if err := checkFraction("confidence", confidence); err != nil {
		return TargetIntervalEstimate{}, err
	}
	s, err := newSample(observations)
	if err != nil {
		return TargetIntervalEstimate{}, err
	}
	if s.reason() != "" {
		return s.oneSided(target, confidence)
	}
	exponential, err := s.exponential()
	if err != nil {
		return TargetIntervalEstimate{}, err
	}
	z := distuv.UnitNormal.Quantile((1 + confidence) / 2)
	e := TargetIntervalEstimate{Model: ModelExponential}
	profile, best := s.exponentialProfile(target), exponential.LogLikelihood
	interval := -math.Log(target) / exponential.Rate
	if weibull, err := s.weibull(); err == nil {
		ratio := math.Max(0, 2*(weibull.LogLikelihood-exponential.LogLikelihood))
		p := math.Erfc(math.Sqrt(ratio / 2))
		e.LikelihoodRatio, e.PExponential = &ratio, &p
		w, err := weibull.Interval(target)
		if err == nil && p < modelSignificance && w > 0 && !math.IsInf(w, 1) {
			e.Model, interval = ModelWeibull, w
			profile, best = s.weibullProfile(target), weibull.LogLikelihood
		}
	}
	e.Estimate = &interval
	e.Lower = crossing(profile, interval, best-z*z/2, -1)
	e.Upper = crossing(profile, interval, best-z*z/2, +1)
	return e, nil
}

// exponentialProfile is the log-likelihood as a function of the logarithm of the
// interval.
func (s sample) exponentialProfile(target float64) func(float64) float64 {
	unit := s.unit()
	constant := math.Log(-math.Log(target))
	return func(logInterval float64) float64 {
		value, _ := s.logLikelihood(parameters{a: logInterval - math.Log(unit) - constant, b: 1}, unit)
		return value
	}
}

// weibullProfile is the log-likelihood, at its greatest over the shape, as a
// function of the logarithm of the interval. With the interval x held (in
// logarithm), a = b·x − log(−log target), so that it is concave in b and its
// slope changes sign once.
func (s sample) weibullProfile(target float64) func(float64) float64 {
	unit := s.unit()
	constant := math.Log(-math.Log(target))
	return func(logInterval float64) float64 {
		x := logInterval - math.Log(unit)
		at := func(b float64) parameters { return parameters{a: b*x - constant, b: b} }
		low, high := math.Log(leastShape), math.Log(greatestShape)
		for range 60 {
			middle := (low + high) / 2
			_, d := s.logLikelihood(at(math.Exp(middle)), unit)
			// Where it overflows, the shape is far too large.
			if slope := d.a*x + d.b; slope > 0 {
				low = middle
			} else {
				high = middle
			}
		}
		value, _ := s.logLikelihood(at(math.Exp(low)), unit)
		return value
	}
}

// furthest is how far, in factors of e, a limit is looked for: beyond 10^9 times
// the estimate the results set none.
const furthest = 21

// crossing finds the interval on one side (−1 or +1) of the best one at which
// the profile has fallen to level; nil when it does not fall so far.
func crossing(profile func(float64) float64, best, level, side float64) *float64 {
	centre := math.Log(best)
	inside, outside := 0.0, 0.0
	for step := 1.0 / 16; ; step *= 2 {
		if step > furthest {
			return nil
		}
		if v := profile(centre + side*step); !(v > level) {
			outside = step
			break
		}
		inside = step
	}
	for range 60 {
		middle := (inside + outside) / 2
		if profile(centre+side*middle) > level {
			inside = middle
		} else {
			outside = middle
		}
	}
	limit := math.Exp(centre + side*inside)
	return &limit
}

// oneSided is the bound when everything was in tolerance, or nothing.
func (s sample) oneSided(target, confidence float64) (TargetIntervalEstimate, error) {
	if len(s.observations) == 0 {
		return TargetIntervalEstimate{}, &NoEstimateError{Model: "exponential", Reason: s.reason()}
	}
	e := TargetIntervalEstimate{Model: ModelExponential, OneSided: true}
	alpha := 1 - confidence
	if s.events == 0 {
		total := 0.0
		for _, o := range s.observations {
			total += float64(o.Count) * o.After
		}
		bound := math.Log(target) / math.Log(alpha) * total
		if bound > 0 && !math.IsInf(bound, 1) {
			e.Lower = &bound
		}
		return e, nil
	}
	// The probability of finding everything out falls with the interval; it
	// is alpha at the bound.
	profile := s.exponentialProfile(target)
	centre := math.Log(s.unit())
	low, high := centre-furthest*4, centre+furthest*4
	for range 100 {
		middle := (low + high) / 2
		if profile(middle) > math.Log(alpha) {
			low = middle
		} else {
			high = middle
		}
	}
	bound := math.Exp(low)
	e.Upper = &bound
	return e, nil
}
