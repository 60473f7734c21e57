package regression

import (
	"math"

	"jointledger/internal/stats"
)

// Test is a likelihood-ratio test, with the penalised likelihood if the model is
// penalised.
type Test struct {
	// Statistic is twice the difference of log-likelihoods; with the dispersion
	// used it is F: that over φ and the degrees of freedom.
	Statistic        float64
	DegreesOfFreedom int
	PValue           float64
}

func (m *Model) test(fall float64, degrees int) Test {
	statistic := 2 * math.Max(fall, 0) / m.spread()
	if m.scaled() {
		f := statistic / float64(degrees)
		return Test{f, degrees, upperF(f, float64(degrees), float64(m.DegreesOfFreedom))}
	}
	return Test{statistic, degrees, upperChiSquare(statistic, float64(degrees))}
}

// DropTerm tests the model without the term against the model. ok is false when
// the term has no coefficient of its own. With the penalty the coefficients are
// held at 0 and the penalty stays that of the full model (Heinze and Schemper
// 2002).
func (m *Model) DropTerm(term int) (t Test, ok bool, err error) {
	c := constraint{fixed: make([]bool, m.Rank)}
	degrees := 0
	b := append([]float64(nil), m.b...)
	for k, column := range m.Columns {
		if at := m.place[k]; column.Term == term && at >= 0 {
			c.fixed[at] = true
			b[at] = 0
			degrees++
		}
	}
	if degrees == 0 {
		return Test{}, false, nil
	}
	o := m.another()
	if _, err := o.maximise(b, c, false); err != nil {
		// From the intercept alone, in case the way there is too steep.
		clear(b)
		b[o.design.intercept], _ = m.Family.link(m.Events / m.Size)
		if _, err := o.maximise(b, c, false); err != nil {
			return Test{}, false, ErrNoConvergence
		}
	}
	return m.test(m.top-o.value, degrees), true, nil
}

// another is an objective like the model's, to leave that where it is.
func (m *Model) another() *objective {
	if m.spare == nil {
		m.spare = newObjective(m.Family, m.objective.design, m.Penalised)
	}
	return m.spare
}

// TestColumn tests whether a column's coefficient is 0, all others free. ok is
// false for an aliased column.
func (m *Model) TestColumn(c int) (t Test, ok bool, err error) {
	a := m.combination(c)
	if a == nil {
		return Test{}, false, nil
	}
	p := m.newProfile(a)
	value, _, err := p.at(0)
	if err != nil {
		return Test{}, false, err
	}
	return m.test(m.top-value, 1), true, nil
}

// Profile gives the profile-likelihood interval of a column's coefficient: the
// values that a likelihood-ratio test does not reject. With the penalty it stays
// that of the full model. ok is false for an aliased column.
func (m *Model) Profile(c int) (i stats.Interval, ok bool, err error) {
	a := m.combination(c)
	if a == nil {
		return stats.Interval{}, false, nil
	}
	estimate := m.Coefficients[c].Estimate
	q := m.reference().quantile(m.options.Confidence)
	root := q * math.Sqrt(m.spread())
	se := m.Coefficients[c].StandardError / math.Sqrt(m.spread())
	if i.Lower, err = m.limit(a, estimate, -se, root); err != nil {
		return i, false, err
	}
	if i.Upper, err = m.limit(a, estimate, se, root); err != nil {
		return i, false, err
	}
	return i, true, nil
}

// profile is the objective's maximum over all coefficients whose combination
// along has a given value. Each search starts where the last one ended, moved to
// the new value on the way by which the likelihood falls least as seen from the
// model's maximum.
type profile struct {
	m             *Model
	along, toward []float64
	b, trial      []float64
}

func (m *Model) newProfile(along []float64) *profile {
	p := &profile{m: m, along: along, toward: append([]float64(nil), along...), b: append([]float64(nil), m.b...)}
	m.factor.solve(p.toward)
	blas.Dscal(len(along), 1/blas.Ddot(len(along), along, 1, p.toward, 1), p.toward, 1)
	p.trial = make([]float64, len(p.b))
	return p
}

func (p *profile) at(v float64) (value, slope float64, err error) {
	o, n := p.m.another(), len(p.along)
	for _, start := range [][]float64{p.b, p.m.b} {
		copy(p.trial, start)
		blas.Daxpy(n, v-blas.Ddot(n, p.along, 1, start, 1), p.toward, 1, p.trial, 1)
		if slope, err = o.maximise(p.trial, constraint{along: p.along}, false); err == nil {
			copy(p.b, p.trial)
			return o.value, slope, nil
		}
	}
	return 0, 0, ErrNoConvergence
}

// ProfileEffort is about how many elementary operations the profile intervals of
// all columns take, so that a caller can leave them out: a processor does one or
// two thousand million in a second.
func (m *Model) ProfileEffort() float64 {
	d := m.objective.design
	covariates, factors, rest := float64(len(d.covariates)), float64(len(d.column)), float64(d.width-d.head)
	perPattern := 60 + covariates*covariates/2 + factors*factors/2 + covariates*factors
	if m.Penalised {
		perPattern += rest * rest / 2
	}
	step := float64(d.len())*perPattern + rest*rest*float64(d.width) + float64(d.width*d.width)
	const steps = 24 // two limits, each some trial values of a few steps
	return steps * float64(m.Rank) * step
}

// limit finds where the signed root of twice the fall of the profile reaches
// root, by Newton's method on that root, which is all but linear, within the
// bracket found so far. unit is a standard error, signed by the side.
func (m *Model) limit(along []float64, estimate, unit, root float64) (float64, error) {
	p := m.newProfile(along)
	inner, outer := estimate, math.Inf(int(math.Copysign(1, unit)))
	v := estimate + root*unit
	for range 100 {
		value, slope, err := p.at(v)
		if err != nil {
			return 0, err
		}
		reached := math.Sqrt(2 * math.Max(m.top-value, 0))
		if math.Abs(reached-root) <= 1e-9*root {
			return v, nil
		}
		if reached < root {
			inner = v
		} else {
			outer = v
		}
		// d(reached)/dv = −slope/reached.
		next := v + (root-reached)*reached/-slope
		farthest := v + 4*root*unit
		switch inside := (next-inner)*(next-outer) < 0; {
		case !math.IsInf(outer, 0) && !(inside && slope != 0):
			next = inner + (outer-inner)/2
		case math.IsInf(outer, 0) && !((next-v)*unit > 0 && (next-farthest)*unit < 0):
			next = farthest
		}
		if math.Abs(next-v) <= 1e-14*math.Abs(v) {
			return v, nil
		}
		v = next
	}
	return 0, ErrNoConvergence
}
