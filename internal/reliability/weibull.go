package reliability

import "math"

// Weibull is a fitted Weibull model: reliability exp(−(t/Scale)^Shape). A shape
// above 1 means wear, one below 1 that what goes out goes out early.
type Weibull struct {
	Scale, Shape float64 // Scale in the unit of time
	// LogScaleSE and LogShapeSE are standard errors of the logarithms, and
	// Covariance is between them, from the observed information. That of
	// 1/Shape, which other programs give, has the same standard error on the log
	// scale and the covariance with the opposite sign.
	LogScaleSE, LogShapeSE, Covariance float64
	LogLikelihood                      float64
}

// greatestLogShapeSE is the standard error of log shape, a factor of 20 either
// way, from which the shape counts as not determined.
const greatestLogShapeSE = 3

// FitWeibull fits the Weibull model by maximum likelihood. It fails with a
// *NoEstimateError when the results do not determine both parameters (all at one
// time, nothing or everything in tolerance, or the short intervals no better
// than the long ones), and with a *stats.ArgumentError for an impossible
// observation.
//
// W. Q. Meeker, L. A. Escobar, Statistical Methods for Reliability Data (1998)
// ch. 8.
func FitWeibull(observations []Observation) (Weibull, error) {
	s, err := newSample(observations)
	if err != nil {
		return Weibull{}, err
	}
	return s.weibull()
}

func (s sample) weibull() (Weibull, error) {
	if reason := s.reason(); reason != "" {
		return Weibull{}, &NoEstimateError{Model: "Weibull", Reason: reason}
	}
	if !s.manyTimes() {
		return Weibull{}, &NoEstimateError{Model: "Weibull", Reason: "every result is for one and the same time, which says nothing about the shape"}
	}
	unit := s.unit()
	p, value, d, ok := s.maximise(s.start(), unit, false)
	determinant := d.aa*d.bb - d.ab*d.ab
	if !ok || !(determinant > 0) {
		return Weibull{}, &NoEstimateError{Model: "Weibull", Reason: "the results do not determine the shape: they part sharply at one time, or the short intervals were no better than the long ones"}
	}
	// Where the results part sharply, the likelihood rises to its end with the
	// shape and is all but flat there.
	if se := math.Sqrt(-d.aa/determinant) / p.b; !(se < greatestLogShapeSE) {
		return Weibull{}, &NoEstimateError{Model: "Weibull", Reason: "the results part so sharply at one time that any large shape fits"}
	}
	// Inverse of the observed information in a and b, carried to log scale
	// = a/b and log shape = log b.
	vaa, vab, vbb := -d.bb/determinant, d.ab/determinant, -d.aa/determinant
	ga, gb := 1/p.b, -p.a/(p.b*p.b)
	return Weibull{
		Scale:         unit * math.Exp(p.a/p.b),
		Shape:         p.b,
		LogScaleSE:    math.Sqrt(ga*ga*vaa + 2*ga*gb*vab + gb*gb*vbb),
		LogShapeSE:    math.Sqrt(vbb) / p.b,
		Covariance:    (ga*vab + gb*vbb) / p.b,
		LogLikelihood: value,
	}, nil
}

// manyTimes says whether the observations name more than one time.
func (s sample) manyTimes() bool {
	first := 0.0
	for _, o := range s.observations {
		for _, t := range []float64{o.After, o.By} {
			switch {
			case t == 0 || math.IsInf(t, 1):
			case first == 0:
				first = t
			case t != first:
				return true
			}
		}
	}
	return false
}

// Reliability is the probability of being in tolerance at t.
func (w Weibull) Reliability(t float64) float64 { return math.Exp(-math.Pow(t/w.Scale, w.Shape)) }

// Interval is the time at which the reliability has fallen to the target:
// scale·(−log target)^(1/shape). It fails with a *stats.ArgumentError for a
// target not strictly between 0 and 1.
func (w Weibull) Interval(target float64) (float64, error) {
	if err := checkFraction("target reliability", target); err != nil {
		return 0, err
	}
	return w.Scale * math.Pow(-math.Log(target), 1/w.Shape), nil
}
