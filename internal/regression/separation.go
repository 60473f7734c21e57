package regression

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Separation says that the likelihood has no maximum at finite coefficients:
// there is a direction in which one may go for ever without a single row being
// fitted worse. A. Albert, J. A. Anderson, "On the existence of maximum
// likelihood estimates in logistic regression models", Biometrika 71 (1984) 1-10;
// for Poisson models S. Correia, P. Guimarães, T. Zylkin, "Verifying the existence
// of maximum likelihood estimates for generalized linear models" (2019).
type Separation struct {
	// Levels in which no event happened, or nothing else.
	Levels []SeparatedLevel
	// Columns are the indices, in [Model.Columns], of the columns that the
	// direction has, when it is no matter of single levels.
	Columns []int
}

// SeparatedLevel is a level of a factor whose rows all ended the same way.
type SeparatedLevel struct {
	Term, Level int
	// Events says which way: every trial was an event, or none.
	Events bool
}

// separatedLevels finds what needs no computation: a level whose rows all ended
// the same way pushes its coefficient, or when it is the reference all the others
// of its factor, to infinity.
func separatedLevels(f Family, p *patterns, terms []Term) []SeparatedLevel {
	var found []SeparatedLevel
	factor := 0
	for k := range terms {
		if !terms[k].Factor() {
			continue
		}
		events, size := make([]float64, len(terms[k].Levels)), make([]float64, len(terms[k].Levels))
		for i, level := range p.codes[factor] {
			events[level] += p.events[i]
			size[level] += p.size[i]
		}
		factor++
		for level := range events {
			if size[level] > 0 && f.extreme(events[level], size[level]) != 0 {
				found = append(found, SeparatedLevel{Term: k, Level: level, Events: events[level] > 0})
			}
		}
	}
	return found
}

// verdict of the search for a direction of separation.
type verdict int

const (
	overlap verdict = iota
	separated
	undecided
)

// negligible is the cosine below which a row counts as not moved by a direction.
const negligible = 1e-7

// direction seeks a d with xᵀd = 0 in every pattern with an outcome inside its
// range, and with z = ±x turned to its extreme outcome, zᵀd ≥ 0 in all others and
// above 0 in one. By Stiemke's lemma there is none exactly when the z, each with
// a weight above 0, add up to nothing together with multiples of the inner x. So:
// restrict to the directions that leave inner patterns alone, and look whether
// −Σz lies in the cone of the z there. What is left outside it, turned round, is
// the direction, and it is checked row by row before it is believed.
func (d *design) direction(f Family) (along []float64, v verdict) {
	free := d.free(f)
	if len(free) == 0 {
		return nil, overlap
	}
	vectors := d.extremes(f, free)
	if len(vectors) == 0 {
		return nil, overlap
	}
	target := make([]float64, len(free))
	for _, z := range vectors {
		blas.Daxpy(len(target), -1/float64(len(vectors)), z, 1, target, 1)
	}
	residual, ok := residualOutside(vectors, target)
	length := blas.Dnrm2(len(residual), residual, 1)
	switch {
	case length <= 1e-10:
		return nil, overlap
	case !ok:
		return nil, undecided
	}
	blas.Dscal(len(residual), -1/length, residual, 1)
	furthest := 0.0
	for _, z := range vectors {
		reach := blas.Ddot(len(z), z, 1, residual, 1)
		if reach < -negligible {
			return nil, undecided
		}
		furthest = math.Max(furthest, reach)
	}
	if furthest <= negligible {
		return nil, undecided
	}
	along = make([]float64, d.width)
	for k, basis := range free {
		blas.Daxpy(len(along), residual[k], basis, 1, along, 1)
	}
	return along, separated
}

// free is an orthonormal basis of the directions that leave every inner pattern
// alone.
func (d *design) free(f Family) [][]float64 {
	h := d.gram(func(i int) float64 {
		if f.extreme(d.events[i], d.size[i]) == 0 {
			return 1
		}
		return 0
	})
	n := d.width
	sym := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			sym.SetSym(i, j, h[i*d.stride()+j])
		}
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(sym, true) {
		return nil
	}
	values := eigen.Values(nil)
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	var free [][]float64
	for k, v := range values {
		if v <= 1e-12*math.Max(values[n-1], 1) {
			free = append(free, mat.Col(nil, k, &vectors))
		}
	}
	return free
}

// extremes are the z of the patterns at an end of their range, within the free
// directions and of length 1; those that no free direction moves are left out.
func (d *design) extremes(f Family, free [][]float64) [][]float64 {
	var all [][]float64
	var at []int
	var value []float64
	for i := range d.len() {
		side := f.extreme(d.events[i], d.size[i])
		if side == 0 {
			continue
		}
		at, value = d.sparse(i, at, value)
		z := make([]float64, len(free))
		whole := 0.0
		for _, v := range value {
			whole += v * v
		}
		for k, basis := range free {
			for m, j := range at {
				z[k] += side * value[m] * basis[j]
			}
		}
		length := blas.Dnrm2(len(z), z, 1)
		if length <= negligible*math.Sqrt(whole) {
			continue
		}
		blas.Dscal(len(z), 1/length, z, 1)
		all = append(all, z)
	}
	return all
}
