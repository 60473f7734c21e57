package regression

import (
	"math"
	"strconv"
)

// Family is the distribution of a row's events, with its canonical link.
type Family int

const (
	// Binomial events among trials; the link is the logit.
	Binomial Family = iota + 1
	// Poisson events in an exposure; the link is the logarithm.
	Poisson
)

// String gives "binomial" or "poisson".
func (f Family) String() string {
	switch f {
	case Binomial:
		return "binomial"
	case Poisson:
		return "poisson"
	}
	return "Family(" + strconv.Itoa(int(f)) + ")"
}

// Rate is the inverse of the link: the probability of an event in a trial, or
// the events in a unit of exposure, at a linear predictor.
func (f Family) Rate(predictor float64) float64 {
	if f == Poisson {
		return math.Exp(predictor)
	}
	if predictor >= 0 {
		return 1 / (1 + math.Exp(-predictor))
	}
	e := math.Exp(predictor)
	return e / (1 + e)
}

// link is the linear predictor of a rate; slope is its derivative.
func (f Family) link(rate float64) (predictor, slope float64) {
	if f == Poisson {
		return math.Log(rate), 1 / rate
	}
	return math.Log(rate) - math.Log1p(-rate), 1 / (rate * (1 - rate))
}

// variance is the variance of the events in one trial or one unit of exposure,
// and the derivative of the rate in the predictor.
func (f Family) variance(predictor float64) float64 {
	if f == Poisson {
		return math.Exp(predictor)
	}
	e := math.Exp(-math.Abs(predictor))
	return e / ((1 + e) * (1 + e))
}

// block fills the residuals and weights at the predictors and gives the
// logarithm of the likelihood without what does not depend on the predictor.
func (f Family) block(predictor, events, size, residual, weight []float64) float64 {
	events, size = events[:len(predictor)], size[:len(predictor)]
	residual, weight = residual[:len(predictor)], weight[:len(predictor)]
	value := 0.0
	if f == Poisson {
		for i, eta := range predictor {
			mean := size[i] * math.Exp(eta)
			residual[i], weight[i] = events[i]-mean, mean
			value += events[i]*eta - mean
		}
		return value
	}
	for i, eta := range predictor {
		e := math.Exp(-math.Abs(eta))
		high := 1 / (1 + e)
		p := high
		if eta < 0 {
			p = e * high
		}
		residual[i], weight[i] = events[i]-size[i]*p, size[i]*e*high*high
		value += events[i]*eta - size[i]*(max(eta, 0)+math.Log1p(e))
	}
	return value
}

// extreme says on which side a row's outcome lies at the end of its range: −1
// when no event happened, +1 when every trial was one, 0 when neither.
func (f Family) extreme(events, size float64) float64 {
	switch {
	case events == 0:
		return -1
	case f == Binomial && events == size:
		return 1
	}
	return 0
}

// logRates gives the logarithms of the rate and, for a binomial row, of its
// complement, without the cancellation of 1 − rate.
func (f Family) logRates(predictor float64) (rate, complement float64) {
	if f == Poisson {
		return predictor, 0
	}
	soft := math.Log1p(math.Exp(-math.Abs(predictor)))
	return math.Min(predictor, 0) - soft, math.Min(-predictor, 0) - soft
}

// deviance is a row's part of the deviance.
func (f Family) deviance(predictor, events, size float64) float64 {
	rate, complement := f.logRates(predictor)
	sum := 0.0
	if events > 0 {
		sum += events * (math.Log(events/size) - rate)
	}
	if f == Poisson {
		return 2 * (sum - events + size*math.Exp(predictor))
	}
	if rest := size - events; rest > 0 {
		sum += rest * (math.Log(rest/size) - complement)
	}
	return 2 * sum
}

// constant is what block leaves out of a row's log-likelihood: the logarithm of
// the binomial coefficient, or of exposure^events / events!.
func (f Family) constant(events, size float64) float64 {
	if f == Poisson {
		if events == 0 {
			return 0
		}
		factorial, _ := math.Lgamma(events + 1)
		return events*math.Log(size) - factorial
	}
	if events == 0 || events == size {
		return 0
	}
	n, _ := math.Lgamma(size + 1)
	k, _ := math.Lgamma(events + 1)
	rest, _ := math.Lgamma(size - events + 1)
	return n - k - rest
}
