package sequential

import (
	"fmt"
	"math"
)

// mostWork bounds the additions of one run length to a fraction of a second, so
// that no question keeps a server busy.
const mostWork = 1e8

// RunLength is the average number of looks to a signal, from Start, when the
// failures come at the given rate per attempt or per unit of exposure: attempts
// one by one, or counts over Look units. The error is a *stats.ArgumentError for a
// plan or rate out of range.
func (p Plan) RunLength(rate float64) (float64, error) {
	if err := p.checkRate(rate); err != nil {
		return 0, err
	}
	looks, err := p.average(p.weights(rate), p.Drift)
	return finite(looks, rate, err)
}

// weights are the probabilities of so many failures in a look.
func (p Plan) weights(rate float64) []float64 {
	if p.Model == Poisson {
		return poissonWeights(rate * p.Look)
	}
	return []float64{1 - rate, rate}
}

// average takes the way that suits the drift. It is infinite where the chance of a
// signal is too small for a number.
func (p Plan) average(weights []float64, drift int64) (looks float64, err error) {
	if drift == 1 {
		looks = stepDown(weights, p.Gain, p.Threshold, p.Start)
	} else if looks, err = p.chain(weights, drift); err != nil {
		return 0, err
	}
	if math.IsNaN(looks) { // no chance, after which nothing comes back
		return math.Inf(1), nil
	}
	return looks, nil
}

func finite(looks, rate float64, err error) (float64, error) {
	if err != nil {
		return 0, err
	}
	if math.IsInf(looks, 1) {
		return 0, badNumber("rate", rate, "must be higher: the run length is beyond every number")
	}
	return looks, nil
}

// BatchRunLength is the average number of records to a signal when every record
// holds so many attempts and the sum is looked at once a record, as Update does.
// Times size it is comparable with RunLength and never below it, see the package
// comment. It is exact but for very rare failures, where it is good to a hundredth.
// Bernoulli only. The error is
// a *stats.ArgumentError for a plan, rate or size out of range, or when the sum has
// too many levels to be reckoned.
func (p Plan) BatchRunLength(rate float64, size int64) (float64, error) {
	if err := p.checkRate(rate); err != nil {
		return 0, err
	}
	if p.Model != Bernoulli {
		return 0, badNumber("size of a record", float64(size), "must not be given for the poisson model, whose looks have an exposure")
	}
	if size < 1 || size > 10000 {
		return 0, badNumber("size of a record", float64(size), "must be from 1 to 10000 attempts")
	}
	if size == 1 {
		return p.RunLength(rate)
	}
	weights := binomialWeights(size, rate)
	if p.Threshold <= fewLevels || size*p.Drift*fineGain > p.Gain {
		records, err := p.average(weights, size*p.Drift)
		return finite(records, rate, err)
	}
	records, err := p.betweenLattices(weights, size*p.Drift)
	if records, err = finite(records, rate, err); err != nil {
		return 0, err
	}
	single, err := p.RunLength(rate)
	return max(records, single/float64(size)), err
}

// fewLevels is how many levels the chain is always solved for as it stands.
// fineGain is the gain in drifts from which on a lattice of whole drifts is fine
// enough to be read between.
const (
	fewLevels = 2000
	fineGain  = 40
)

// betweenLattices takes one look's drift for the unit, so that the sum falls by a
// point at a look and stepDown applies, however many levels there are. Gain and
// threshold are then no whole numbers: the logarithm of the run length is
// interpolated between the whole ones around them. From fewLevels and fineGain on
// that is good to better than a hundredth.
func (p Plan) betweenLattices(weights []float64, drift int64) (float64, error) {
	gain, gainShare := p.Gain/drift, float64(p.Gain%drift)/float64(drift)
	threshold, thresholdShare := p.Threshold/drift, float64(p.Threshold%drift)/float64(drift)
	var logarithm float64
	for _, g := range []struct {
		value int64
		share float64
	}{{gain, 1 - gainShare}, {gain + 1, gainShare}} {
		for _, h := range []struct {
			value int64
			share float64
		}{{threshold, 1 - thresholdShare}, {threshold + 1, thresholdShare}} {
			if g.share*h.share == 0 {
				continue
			}
			q := Plan{Gain: g.value, Threshold: max(1, h.value)}
			q.Start = min(q.Threshold-1, int64(math.Round(float64(p.Start)/float64(drift))))
			looks, err := q.average(weights, 1)
			if err != nil {
				return 0, err
			}
			logarithm += g.share * h.share * math.Log(looks)
		}
	}
	return math.Exp(logarithm), nil
}

func (p Plan) checkRate(rate float64) error {
	if err := p.check(); err != nil {
		return err
	}
	if err := checkPositive("rate", rate); err != nil {
		return err
	}
	if p.Model == Bernoulli && rate >= 1 {
		return badNumber("rate", rate, "must be below 1 failure per attempt")
	}
	if p.Model == Poisson && rate*p.Look > 10*mostMeanPerLook {
		return badNumber("rate", rate, fmt.Sprintf("must let at most %d events be expected in a look", 10*mostMeanPerLook))
	}
	return nil
}

// chain is the average run length of the chain of Brook and Evans (1972) over the
// levels below the threshold: weights[x] is the probability of x failures in a
// look, drift the points that a look takes away. It is solved by elimination, or
// where that would take too long carried forward.
func (p Plan) chain(weights []float64, drift int64) (float64, error) {
	over := tails(weights)
	if eliminationCost(p.Threshold, p.Gain, drift, weights) <= mostWork {
		return newLevels(p.Threshold, p.Gain, drift, weights, over).run(int(p.Start)), nil
	}
	return p.carried(weights, over, drift)
}

// carried sums the chances of being on each level without a signal, look by look;
// once the chance of a signal at the next look no longer changes, what remains is a
// geometric series. It is quick where a few looks take the sum down from the
// threshold.
func (p Plan) carried(weights, over []float64, drift int64) (float64, error) {
	levels := int(p.Threshold)
	now, next := make([]float64, levels), make([]float64, levels)
	now[p.Start] = 1
	remaining, looks := 1.0, 0.0
	// A stretch is about as long as a sum takes to come down from the threshold.
	stretch := max(16, levels/int(drift))
	lastHazard := -1.0
	perLook := float64(levels) * float64(min(len(weights), levels/int(p.Gain)+2))
	for step := 1; float64(step)*perLook <= mostWork; step++ {
		looks += remaining
		signalled := p.forward(now, next, weights, over, drift)
		now, next = next, now
		hazard := signalled / remaining
		remaining = 0
		for _, v := range now {
			remaining += v
		}
		if remaining <= 1e-15*looks {
			return looks, nil
		}
		if step%stretch == 0 {
			if math.Abs(hazard-lastHazard) <= 1e-10*hazard {
				return looks + remaining/hazard, nil
			}
			lastHazard = hazard
		}
	}
	return 0, badNumber("threshold", float64(p.Threshold), "must be lower for the run length to be reckoned: take rates further apart, or a shorter run length")
}

// forward carries the chances over one look and gives that of a signal.
func (p Plan) forward(now, next, weights, over []float64, drift int64) (signalled float64) {
	clear(next)
	for level, chance := range now {
		if chance == 0 {
			continue
		}
		to := int64(level) - drift
		for x, weight := range weights {
			if to >= p.Threshold {
				signalled += chance * over[x]
				break
			}
			next[max(to, 0)] += chance * weight
			to += p.Gain
		}
	}
	return signalled
}

// leastChance is the probability below which a number of failures in a look is
// left out; it must be far below one over any run length that matters.
const leastChance = 1e-100

// tails[x] is the probability of x failures or more, summed from the small end.
func tails(weights []float64) []float64 {
	over := make([]float64, len(weights)+1)
	for x := len(weights) - 1; x >= 0; x-- {
		over[x] = over[x+1] + weights[x]
	}
	return over
}

// poissonWeights are the probabilities of 0, 1, 2 … events.
func poissonWeights(mean float64) []float64 {
	var w []float64
	logMean, total := math.Log(mean), 0.0
	for x := 0; ; x++ {
		l, _ := math.Lgamma(float64(x) + 1)
		v := math.Exp(float64(x)*logMean - mean - l)
		w = append(w, v)
		total += v
		if float64(x) > mean && v < leastChance {
			return normalised(w, total)
		}
	}
}

// binomialWeights are the probabilities of 0 to n failures; those of no account
// at the upper end are left out.
func binomialWeights(n int64, p float64) []float64 {
	var w []float64
	whole, _ := math.Lgamma(float64(n) + 1)
	total := 0.0
	for x := int64(0); x <= n; x++ {
		a, _ := math.Lgamma(float64(x) + 1)
		b, _ := math.Lgamma(float64(n-x) + 1)
		v := math.Exp(whole - a - b + float64(x)*math.Log(p) + float64(n-x)*math.Log1p(-p))
		w = append(w, v)
		total += v
		if float64(x) > float64(n)*p && v < leastChance {
			break
		}
	}
	return normalised(w, total)
}

func normalised(w []float64, total float64) []float64 {
	for i := range w {
		w[i] /= total
	}
	return w
}
