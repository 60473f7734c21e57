package reliability

import (
	"math"
)

// Exponential is a fitted exponential model: reliability exp(−Rate·t), the same
// risk of going out at any age.
type Exponential struct {
	Rate          float64 // per unit of time
	LogRateSE     float64 // standard error of log Rate, from the observed information
	LogLikelihood float64
}

// FitExponential fits the exponential model by maximum likelihood. It fails with
// a *NoEstimateError when nothing or everything was found in tolerance, and with
// a *stats.ArgumentError for an impossible observation.
//
// D. H. Jackson, H. T. Castrup, "Reliability analysis methods for calibration
// intervals", NCSL Workshop & Symposium 1987, for results that only say in or
// out; W. Nelson, Applied Life Data Analysis (1982) ch. 8-9.
func FitExponential(observations []Observation) (Exponential, error) {
	s, err := newSample(observations)
	if err != nil {
		return Exponential{}, err
	}
	fit, err := s.exponential()
	return fit, err
}

func (s sample) exponential() (Exponential, error) {
	if reason := s.reason(); reason != "" {
		return Exponential{}, &NoEstimateError{Model: "exponential", Reason: reason}
	}
	unit := s.unit()
	p, value, d, ok := s.maximise(s.start(), unit, true)
	if !ok {
		return Exponential{}, &NoEstimateError{Model: "exponential", Reason: "the likelihood goes on rising"}
	}
	return Exponential{
		Rate:          math.Exp(-p.a) / unit,
		LogRateSE:     1 / math.Sqrt(-d.aa),
		LogLikelihood: value,
	}, nil
}

// start is an exponential whose survival at the middle of the observations is
// the share of survivors, kept off 0 and 1.
func (s sample) start() parameters {
	share := (float64(s.survivors) + 0.5) / (float64(s.survivors+s.events) + 1)
	return parameters{a: -math.Log(-math.Log(share)), b: 1}
}

// Reliability is the probability of being in tolerance at t.
func (e Exponential) Reliability(t float64) float64 { return math.Exp(-e.Rate * t) }

// Interval is the time at which the reliability has fallen to the target:
// −log target/rate. It fails with a *stats.ArgumentError for a target not
// strictly between 0 and 1.
func (e Exponential) Interval(target float64) (float64, error) {
	if err := checkFraction("target reliability", target); err != nil {
		return 0, err
	}
	return -math.Log(target) / e.Rate, nil
}
