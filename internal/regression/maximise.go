package regression

import (
	"errors"
	"math"
)

// constraint says what a maximum is sought under: fixed columns stay as they are,
// and so does the coefficients' product with along. Either may be nil.
type constraint struct {
	fixed []bool
	along []float64
}

var (
	errDiverging     = errors.New("the coefficients run away")
	errNoConvergence = errors.New("the fit does not settle")
)

const (
	// mostSteps ends a fit that does not settle.
	mostSteps = 200
	// patience is after how many steps a fit whose predictors still move by a
	// tenth is suspected to have no maximum.
	patience = 8
	// settled is the movement of the predictors at which a fit has arrived:
	// Newton's next step would be of the order of its square. The steps for the
	// penalised likelihood leave the change of the leverages out and gain only a
	// digit or so each.
	settled          = 1e-8
	settledPenalised = 1e-11
)

// maximise climbs from b, which it changes, to the maximum under the constraint,
// and gives the multiplier of along: the slope of the profile. The objective is
// left within a last step of the maximum. With suspicious set, errDiverging is
// returned as soon as there may be no maximum.
func (o *objective) maximise(b []float64, c constraint, suspicious bool) (multiplier float64, err error) {
	enough := settled
	if o.firth {
		enough = settledPenalised
	}
	o.evaluate(b)
	if math.IsInf(o.value, -1) {
		return 0, errNoConvergence
	}
	var toward []float64
	if c.along != nil {
		toward = make([]float64, o.design.width)
	}
	delta, trial := make([]float64, o.design.width), make([]float64, len(b))
	last, pace := math.Inf(1), 1.0
	before := make([]float64, o.design.width)
	for step := range mostSteps {
		if multiplier, err = o.direction(c, delta, toward); err != nil {
			return 0, err
		}
		gain := blas.Ddot(len(delta), delta, 1, o.gradient, 1)
		movement := o.movement(delta)
		stuck := movement <= 1e-4 && movement >= last/2 && math.Abs(gain) <= 1e-12*(1+math.Abs(o.value))
		// On a profile only the value counts, and half the gain is what it lacks.
		level := c.along != nil && movement <= 1e-3 && math.Abs(gain) <= 1e-11
		// Far out under a constraint the information is all but singular, and the
		// rounding of its determinant hides what is left to gain.
		hidden := o.firth && (c.along != nil || c.fixed != nil) && step > 30 && math.Abs(gain) <= 1e-6
		if movement <= enough || stuck || level || hidden {
			blas.Daxpy(len(delta), 1, delta, 1, b, 1)
			return multiplier, nil
		}
		if suspicious && step >= patience && movement > 0.1 {
			return 0, errDiverging
		}
		last = movement
		if o.firth {
			pace = o.pace(pace, delta, before)
			copy(before, delta)
			blas.Dscal(len(delta), pace, delta, 1)
			movement *= pace
		}
		if !o.advance(b, trial, delta, movement) {
			return 0, errNoConvergence
		}
	}
	return 0, errNoConvergence
}

// pace is how long the next step should be, in the place of 1, for the penalised
// likelihood, whose curvature the matrix only comes near to: where a step of the
// last pace left a share of the way, or went too far by one, the length that
// would have arrived (Aitken).
func (o *objective) pace(last float64, delta, before []float64) float64 {
	n := len(delta)
	size := blas.Ddot(n, before, 1, before, 1)
	if size == 0 {
		return last
	}
	left := blas.Ddot(n, before, 1, delta, 1) / size
	if math.Abs(left) < 0.3 || left >= 1 {
		return last
	}
	return min(max(last/(1-left), 0.1), 4)
}

// advance takes the step, or the largest of its halves that does not lead
// downhill. A step that would carry the predictors far is cut short first.
func (o *objective) advance(b, trial, delta []float64, movement float64) bool {
	before := o.value
	share := 1.0
	if o.firth && movement > 5*float64(len(delta)) {
		share = 5 * float64(len(delta)) / movement
	}
	for range 60 {
		copy(trial, b)
		blas.Daxpy(len(delta), share, delta, 1, trial, 1)
		o.evaluate(trial)
		if o.value >= before-1e-11*(1+math.Abs(before)) {
			copy(b, trial)
			return true
		}
		share /= 2
	}
	return false
}

// direction solves for Newton's step within the constraint.
func (o *objective) direction(c constraint, delta, toward []float64) (multiplier float64, err error) {
	o.hold(c.fixed)
	sound := false
	if c.fixed == nil && !o.firth {
		sound = o.factorise(o.step)
	} else {
		sound = o.step.factorise(o.h, o.design.stride())
	}
	if !sound {
		return 0, errDiverging
	}
	copy(delta, o.gradient)
	o.step.solve(delta)
	if c.along == nil {
		return 0, nil
	}
	copy(toward, c.along)
	o.step.solve(toward)
	n := len(delta)
	multiplier = blas.Ddot(n, c.along, 1, delta, 1) / blas.Ddot(n, c.along, 1, toward, 1)
	blas.Daxpy(n, -multiplier, toward, 1, delta, 1)
	return multiplier, nil
}

// hold makes the matrix and gradient leave the fixed columns where they are.
func (o *objective) hold(fixed []bool) {
	if fixed == nil {
		return
	}
	stride, n := o.design.stride(), o.design.width
	for j, held := range fixed {
		if !held {
			continue
		}
		o.gradient[j] = 0
		for k := range n {
			o.h[max(j, k)*stride+min(j, k)] = 0
		}
		o.h[j*stride+j] = 1
	}
}

// movement is the most by which the step can change any pattern's predictor.
func (o *objective) movement(delta []float64) float64 {
	sum := 0.0
	for j, v := range delta {
		sum += math.Abs(v) * o.design.reach[j]
	}
	return sum
}
