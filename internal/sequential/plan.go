package sequential

import (
	"fmt"
	"math"
	"strconv"
)

// Model is the distribution of what is counted.
type Model uint8

const (
	// Bernoulli: each attempt fails or not, with the same probability.
	Bernoulli Model = iota + 1
	// Poisson: events come at a rate per unit of exposure.
	Poisson
)

// String gives "bernoulli" or "poisson".
func (m Model) String() string {
	switch m {
	case Bernoulli:
		return "bernoulli"
	case Poisson:
		return "poisson"
	}
	return "Model(" + strconv.Itoa(int(m)) + ")"
}

// The range of in-control run lengths, in looks, that a plan can be made for.
// Below it no threshold is worth the name; above it a rate has long changed for
// other reasons.
const (
	LeastRunLength = 10
	MostRunLength  = 1e9
)

// leastBernoulli is the lowest in-control rate per attempt whose lattice stays
// of a size that is reckoned at once.
const leastBernoulli = 1e-5

// leastRatio is the smallest rise that a plan is made for; a choice of ours, no
// source.
const leastRatio = 1.1

// mostMeanPerLook keeps the Poisson chain small; more events in one look than
// this want a shorter look.
const mostMeanPerLook = 1000

// mostGain is the finest lattice that is tried for rates that lie near together.
const mostGain = 1 << 17

// mostThreshold is the most points a threshold may have.
const mostThreshold = 1 << 21

// DesignOptions says what a CUSUM shall find and how rarely it may err.
type DesignOptions struct {
	Model Model
	// InControl and OutOfControl are the rate that is as it should be and the
	// raised rate to be found soon: failures per attempt, or events per unit of
	// exposure.
	InControl, OutOfControl float64
	// RunLength is the wanted average number of looks to a false alarm, from
	// LeastRunLength to MostRunLength; a look is an attempt (Bernoulli) or Look
	// units of exposure (Poisson).
	RunLength float64
	// Look is the exposure between two looks, Poisson only; 1 when 0.
	Look float64
	// HeadStart begins, and begins anew after a signal, at half the threshold, so
	// that a rate raised from the beginning is found sooner: J. M. Lucas, R. B.
	// Crosier, "Fast initial response for CUSUM quality-control schemes",
	// Technometrics 24 (1982) 199-205.
	HeadStart bool
	// KeepCounting leaves the sum as it is after a signal. Without it the sum
	// begins anew.
	KeepCounting bool
}

// Plan is a one-sided CUSUM against a rise, in whole points. It is plain numbers
// and may be stored.
type Plan struct {
	Model                   Model
	InControl, OutOfControl float64
	// Look is the exposure of one look; 1 for Bernoulli.
	Look float64
	// Gain is the points that a failure brings, Drift those that a look takes
	// away: a failed attempt changes the sum by Gain − Drift.
	Gain, Drift int64
	// Threshold is the points at which it signals.
	Threshold int64
	// Start is the points it begins with, at first and after a signal.
	Start        int64
	KeepCounting bool
}

// Design finds the plan: weights from the log-likelihood ratio of the two rates,
// brought to whole points, and the lowest threshold whose in-control average run
// length is at least the wanted one. Since points are whole the run length got is
// somewhat longer; ask RunLength for it.
//
// Bernoulli: M. R. Reynolds, Z. G. Stoumbos, "A CUSUM chart for monitoring a
// proportion when inspecting continuously", J. Qual. Technol. 31 (1999) 87-108.
// Poisson: J. M. Lucas, "Counted data CUSUM's", Technometrics 27 (1985) 129-144.
// Run lengths: D. Brook, D. A. Evans, "An approach to the probability
// distribution of cusum run length", Biometrika 59 (1972) 539-549.
//
// The error is a *stats.ArgumentError: rates in the wrong order or out of range,
// a run length out of range, or rates too near together for a lattice.
func Design(o DesignOptions) (Plan, error) {
	if err := checkRates(o.Model, o.InControl, o.OutOfControl); err != nil {
		return Plan{}, err
	}
	if !(o.RunLength >= LeastRunLength && o.RunLength <= MostRunLength) {
		return Plan{}, badNumber("wanted run length", o.RunLength, fmt.Sprintf("must lie between %d and %d looks", LeastRunLength, int(MostRunLength)))
	}
	if o.OutOfControl < leastRatio*o.InControl {
		return Plan{}, badNumber("out-of-control rate", o.OutOfControl, fmt.Sprintf("must be at least %v times the in-control rate: a smaller rise is not found in any useful time", leastRatio))
	}
	if o.Look == 0 {
		o.Look = 1
	}
	if o.Model == Bernoulli && o.Look != 1 {
		return Plan{}, badNumber("look", o.Look, "must be 1 attempt for the bernoulli model")
	}
	if err := checkPositive("look", o.Look); err != nil {
		return Plan{}, err
	}
	if o.Model == Bernoulli && o.InControl < leastBernoulli {
		return Plan{}, badNumber("in-control rate", o.InControl, "must be at least 0.00001 failures per attempt; take the poisson model for rarer ones")
	}
	if o.Model == Poisson && o.OutOfControl*o.Look > mostMeanPerLook {
		return Plan{}, badNumber("look", o.Look, fmt.Sprintf("must be so short that at most %d events are expected in it", mostMeanPerLook))
	}
	p := Plan{Model: o.Model, InControl: o.InControl, OutOfControl: o.OutOfControl, Look: o.Look, KeepCounting: o.KeepCounting}
	var err error
	if p.Gain, p.Drift, err = lattice(referenceValue(o.Model, o.InControl*o.Look, o.OutOfControl*o.Look), o.InControl*o.Look, o.OutOfControl*o.Look); err != nil {
		return Plan{}, err
	}
	return p.withThreshold(o.RunLength, o.HeadStart)
}

// referenceValue is the failures per look at which the log-likelihood ratio
// stands still: between the two means.
func referenceValue(m Model, low, high float64) float64 {
	if m == Poisson {
		return (high - low) / math.Log(high/low)
	}
	r1 := math.Log1p(-low) - math.Log1p(-high)
	return r1 / (r1 + math.Log(high/low))
}

// lattice gives the fraction drift/gain near the reference value k with the
// smallest numerator, or for k of 1 and more the smallest denominator. Reynolds
// and Stoumbos round 1/k to a whole number; a twentieth of the distance between
// the means is what rounding may cost here, and it must stay between them.
func lattice(k, low, high float64) (gain, drift int64, err error) {
	allowed := 0.05 * (high - low)
	for i := int64(1); ; i++ {
		if k < 1 {
			drift, gain = i, int64(math.Round(float64(i)/k))
		} else {
			gain, drift = i, int64(math.Round(float64(i)*k))
		}
		if gain > mostGain || drift > mostGain {
			return 0, 0, badNumber("out-of-control rate", high, "lies too near the in-control rate, or both are too low, to be told apart; must be further from it")
		}
		if f := float64(drift) / float64(gain); math.Abs(f-k) <= allowed && low < f && f < high {
			return gain, drift, nil
		}
	}
}

// withThreshold finds the lowest threshold, by doubling and halving: a higher one
// is never reached sooner.
func (p Plan) withThreshold(wanted float64, headStart bool) (Plan, error) {
	at := func(h int64) Plan {
		q := p
		q.Threshold = h
		if headStart {
			q.Start = h / 2
		}
		return q
	}
	weights := p.weights(p.InControl)
	low, high := int64(0), p.Gain
	for {
		got, err := at(high).average(weights, p.Drift)
		if err != nil {
			return Plan{}, err
		}
		if got >= wanted {
			break
		}
		low, high = high, 2*high
		if high > mostThreshold {
			return Plan{}, badNumber("out-of-control rate", p.OutOfControl, "lies too near the in-control rate for a run length so long; must be further from it")
		}
	}
	for high-low > 1 {
		middle := low + (high-low)/2
		got, err := at(middle).average(weights, p.Drift)
		if err != nil {
			return Plan{}, err
		}
		if got >= wanted {
			high = middle
		} else {
			low = middle
		}
	}
	return at(high), nil
}

// TunedRate is the out-of-control rate that the whole points fit exactly, near
// OutOfControl: failures per attempt, or events per unit of exposure.
func (p Plan) TunedRate() (float64, error) {
	if err := p.check(); err != nil {
		return 0, err
	}
	k := float64(p.Drift) / float64(p.Gain)
	low := p.InControl * p.Look
	top := math.Nextafter(1, 0)
	if p.Model == Poisson {
		for top = 2 * k; referenceValue(Poisson, low, top) < k; {
			top *= 2
		}
	}
	tuned := rising(func(r float64) float64 { return referenceValue(p.Model, low, r) - k }, k, top)
	return tuned / p.Look, nil
}

// check refuses a plan that Design did not make, as one read from elsewhere may
// be.
func (p Plan) check() error {
	if err := checkRates(p.Model, p.InControl, p.OutOfControl); err != nil {
		return err
	}
	if err := checkPositive("look", p.Look); err != nil {
		return err
	}
	switch {
	case p.Gain < 1 || p.Gain > mostGain:
		return badNumber("gain", float64(p.Gain), fmt.Sprintf("must be from 1 to %d points", mostGain))
	case p.Drift < 1 || p.Drift > mostGain:
		return badNumber("drift", float64(p.Drift), fmt.Sprintf("must be from 1 to %d points", mostGain))
	case p.Model == Bernoulli && p.Drift >= p.Gain:
		return badNumber("drift", float64(p.Drift), fmt.Sprintf("must be below the gain, %d", p.Gain))
	case p.Model == Bernoulli && p.Look != 1:
		return badNumber("look", p.Look, "must be 1 attempt for the bernoulli model")
	case p.Threshold < 1 || p.Threshold > 2*mostThreshold:
		return badNumber("threshold", float64(p.Threshold), fmt.Sprintf("must be from 1 to %d points", 2*mostThreshold))
	case p.Start < 0 || p.Start >= p.Threshold:
		return badNumber("start", float64(p.Start), fmt.Sprintf("must be at least 0 and below the threshold, %d", p.Threshold))
	}
	return nil
}
