package stats

import (
	"fmt"
	"math"
)

// ExposedCount is a count of events and the exposure they came in: time, or the
// number of events that were expected.
type ExposedCount struct {
	Count    int64
	Exposure float64
}

// GammaPosterior is what is believed of a rate: a gamma distribution of mean
// Shape/Rate.
type GammaPosterior struct {
	Shape, Rate float64
}

// Mean is the expected rate.
func (p GammaPosterior) Mean() float64 { return p.Shape / p.Rate }

// Interval is the central credible interval. An [*ArgumentError] is returned
// for a confidence not strictly between 0 and 1.
func (p GammaPosterior) Interval(confidence float64) (Interval, error) {
	if err := checkConfidence(confidence); err != nil {
		return Interval{}, err
	}
	return limits{
		lower: func(tail float64) float64 { return anyGammaQuantile(p.Shape, tail) / p.Rate },
		upper: func(tail float64) float64 { return anyGammaUpperQuantile(p.Shape, tail) / p.Rate },
		top:   math.Inf(1),
	}.twoSided(confidence), nil
}

// Above is the probability that the rate lies above a limit.
func (p GammaPosterior) Above(limit float64) float64 {
	if !(limit > 0) {
		return 1
	}
	x := limit * p.Rate
	if math.IsInf(x, 1) {
		return 0
	}
	_, above := gammaTails(p.Shape, x)
	return above
}

// GammaShrinkage is the gamma-Poisson empirical Bayes estimate of the rates of
// several groups.
type GammaShrinkage struct {
	// Prior was fitted to all groups; it is the zero value under a fallback.
	Prior GammaPosterior
	// LogLikelihood is the greatest marginal one, with all constants; 0 under a
	// fallback.
	LogLikelihood float64
	Fallback      Fallback
	// Posteriors are in the order of the groups.
	Posteriors []GammaPosterior
}

// ShrinkRates draws each group's rate towards the others', the more so the less
// exposure the group has. The prior is fitted to the counts of all groups by
// maximum likelihood of their negative binomial distribution: D. P. Gaver, I. G.
// O'Muircheartaigh, Technometrics 29 (1987) 1-15; D. Clayton, J. Kaldor,
// Biometrics 43 (1987) 671-681, for ratios of observed to expected. Posteriors
// take it as known, so their intervals are somewhat too narrow when groups are
// few. A group without exposure has the prior itself.
//
// Where no prior can be fitted the [Fallback] says so; a group without exposure
// then has the posterior of the pooled record. An [*ArgumentError] is returned
// for a count out of range, an exposure that is not finite and at least 0,
// events without exposure, or no group with exposure.
func ShrinkRates(groups []ExposedCount) (GammaShrinkage, error) {
	fit := gammaFit{}
	var count int64
	var exposure float64
	for i, g := range groups {
		if err := checkExposedCount(g, i+1); err != nil {
			return GammaShrinkage{}, err
		}
		count, exposure = count+g.Count, exposure+g.Exposure
		if err := checkCount("sum of counts", count); err != nil {
			return GammaShrinkage{}, err
		}
		if g.Exposure > 0 {
			fit.y = append(fit.y, float64(g.Count))
			fit.t = append(fit.t, g.Exposure)
			fit.largest = math.Max(fit.largest, float64(g.Count))
		}
	}
	if len(fit.t) == 0 {
		return GammaShrinkage{}, badCount("number of groups with exposure", 0, "must be at least 1")
	}
	if math.IsInf(exposure, 1) {
		return GammaShrinkage{}, badNumber("sum of exposures", exposure, "must be finite")
	}
	var s GammaShrinkage
	switch {
	case len(fit.t) < LeastGroups:
		s.Fallback = FewGroups
	case count == 0:
		s.Fallback = NoSpread
	default:
		fit.mean = float64(count) / exposure
		s.Prior, s.LogLikelihood, s.Fallback = fit.maximum()
	}
	pooled := GammaPosterior{0.5 + float64(count), exposure}
	for _, g := range groups {
		p := pooled
		switch {
		case s.Fallback == Fitted:
			p = GammaPosterior{s.Prior.Shape + float64(g.Count), s.Prior.Rate + g.Exposure}
		case s.Fallback != NoSpread && g.Exposure > 0:
			p = GammaPosterior{0.5 + float64(g.Count), g.Exposure}
		}
		s.Posteriors = append(s.Posteriors, p)
	}
	return s, nil
}

func checkExposedCount(g ExposedCount, place int) error {
	if err := checkGroupCount("count", place, g.Count); err != nil {
		return err
	}
	name := fmt.Sprintf("exposure of group %d", place)
	if !(g.Exposure >= 0) || math.IsInf(g.Exposure, 1) {
		return badNumber(name, g.Exposure, "must be a finite number of at least 0")
	}
	if g.Exposure == 0 && g.Count > 0 {
		return badNumber(name, g.Exposure, fmt.Sprintf("must be above 0, as there are %d events", g.Count))
	}
	return nil
}

// gammaFit is the marginal likelihood of a gamma prior, in its mean and its
// shape. For a given shape there is one best mean, which leaves a search in one
// variable.
type gammaFit struct {
	y, t    []float64
	largest float64 // of y
	mean    float64 // where the search for the best mean begins
}

func (f *gammaFit) maximum() (GammaPosterior, float64, Fallback) {
	log, fallback := maximiseDispersion(f.largest, f.profile)
	if fallback != Fitted {
		return GammaPosterior{}, 0, fallback
	}
	likelihood, _ := f.profile(log)
	shape := math.Exp(log)
	return GammaPosterior{shape, shape / f.mean}, likelihood, Fitted
}

// profile gives the log-likelihood at the best mean for the shape, and its
// derivative in the logarithm of the shape.
func (f *gammaFit) profile(log float64) (likelihood, slope float64) {
	shape := math.Exp(log)
	f.mean = f.bestMean(shape)
	for i, y := range f.y {
		expected := f.mean * f.t[i]
		likelihood += logNegativeBinomial(y, shape, 1/(1+expected/shape), 1/(1+shape/expected))
		slope += shape * (digammaRise(shape, y) - math.Log1p(expected/shape) + (expected-y)/(shape+expected))
	}
	return likelihood, slope
}

// bestMean solves Σ (y − mt)/(shape + mt) = 0 for the mean m. The sum falls and
// is convex in m, so after the first step Newton's iterates climb to the root
// and never pass it; a first step to 0 or below is cut short.
func (f *gammaFit) bestMean(shape float64) float64 {
	mean := f.mean
	for i := 0; ; i++ {
		var value, slope float64
		for j, y := range f.y {
			whole := shape + mean*f.t[j]
			value += (y - mean*f.t[j]) / whole
			slope -= f.t[j] / whole * ((y + shape) / whole)
		}
		next := mean - value/slope
		if next <= 0 {
			mean /= 4
			i = -1 // the climb has not begun
			continue
		}
		if i > 0 && next <= mean || math.Abs(next-mean) <= 1e-15*mean {
			return mean
		}
		mean = next
	}
}

// anyGammaQuantile is gammaQuantile for any shape above 0. Below 1/2 the bound
// x^a/Γ(a+1) on the lower tail, from which it is climbed, is close.
func anyGammaQuantile(a, p float64) float64 {
	if a >= 0.5 {
		return gammaQuantile(a, p)
	}
	lg, _ := math.Lgamma(a + 1)
	start := math.Exp((math.Log(p) + lg) / a)
	return gammaNewton(start, math.Log(p), 1, func(x float64) logTail { return logLowerGamma(a, x) })
}

// anyGammaUpperQuantile is gammaUpperQuantile for any shape above 0. For a shape
// below 1 the upper tail is at most e^−x/Γ(a) from x = 1 on, so the start lies
// right of the root and the iterates come down to it.
func anyGammaUpperQuantile(a, q float64) float64 {
	if a >= 0.5 {
		return gammaUpperQuantile(a, q)
	}
	if q > 0.5 {
		return anyGammaQuantile(a, 1-q)
	}
	lg, _ := math.Lgamma(a)
	start := math.Max(1, -math.Log(q)-lg)
	return gammaNewton(start, math.Log(q), -1, func(x float64) logTail { return logUpperGamma(a, x) })
}
