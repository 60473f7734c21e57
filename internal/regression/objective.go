package regression

import "math"

// objective is the function that a fit maximises, the log-likelihood without its
// constants or with Firth's penalty, at the coefficients it was last evaluated
// at, with its gradient and a matrix to step by.
type objective struct {
	family Family
	design *design
	firth  bool

	value    float64
	gradient []float64 // of the columns and the sink
	h        []float64 // lower triangle, rows of design.stride()
	// eta, residual, weight and leverage of each pattern; leverage only with
	// the penalty.
	eta, residual, weight, leverage []float64
	information                     *cholesky // of XᵀWX; with the penalty only
	step                            *cholesky

	scratch []float64
	at      []int
	of      []float64
}

func newObjective(f Family, d *design, firth bool) *objective {
	n, s := d.len(), d.stride()
	o := &objective{
		family: f, design: d, firth: firth,
		gradient: make([]float64, s), h: make([]float64, s*s),
		eta: make([]float64, n), residual: make([]float64, n), weight: make([]float64, n),
		step: newCholesky(d.width, d.head), scratch: make([]float64, max(block, s)),
	}
	if firth {
		o.leverage = make([]float64, n)
		o.information = newCholesky(d.width, d.head)
	}
	return o
}

// evaluate goes to the coefficients b, which have a 0 for the sink. The value is
// −Inf where it cannot be reckoned.
func (o *objective) evaluate(b []float64) {
	o.clear()
	o.value = 0
	d := o.design
	for lo := 0; lo < d.len(); lo += block {
		hi := min(lo+block, d.len())
		d.predictors(b, lo, o.eta[lo:hi])
		o.value += o.family.block(o.eta[lo:hi], d.events[lo:hi], d.size[lo:hi], o.residual[lo:hi], o.weight[lo:hi])
		d.addGradient(o.residual[lo:hi], lo, o.gradient)
		d.addInformation(o.weight[lo:hi], lo, o.h, o.scratch)
	}
	if o.firth {
		o.penalise()
	}
	if math.IsNaN(o.value) || math.IsInf(o.value, 1) {
		o.value = math.Inf(-1)
	}
}

// clear empties what is added up. Of the head's rows only the diagonal is ever
// written to.
func (o *objective) clear() {
	clear(o.gradient)
	head, stride := o.design.head, o.design.stride()
	for j := range head {
		o.h[j*stride+j] = 0
	}
	clear(o.h[head*stride:])
}

// penalise adds Firth's penalty, half the logarithm of the determinant of the
// information. Its gradient adds to each pattern's residual h(½ − p) for a
// binomial and h/2 for a Poisson pattern, with h the leverage: as if h/2 events
// and as many non-events had been counted besides. The matrix to step by is that
// of the data so augmented.
func (o *objective) penalise() {
	d := o.design
	if !o.factorise(o.information) {
		o.value = math.Inf(-1)
		return
	}
	o.value += o.information.logDeterminant() / 2
	o.clear()
	for i := range d.len() {
		o.at, o.of = d.sparse(i, o.at, o.of)
		h := o.weight[i] * o.information.leverage(o.at, o.of, o.scratch)
		o.leverage[i] = h
		if o.family == Poisson {
			o.residual[i] += h / 2
			continue
		}
		o.residual[i] += h * (0.5 - o.family.Rate(o.eta[i]))
	}
	var augmented [block]float64
	for lo := 0; lo < d.len(); lo += block {
		hi := min(lo+block, d.len())
		for i := lo; i < hi; i++ {
			augmented[i-lo] = o.weight[i]
			if o.family == Binomial {
				augmented[i-lo] += o.leverage[i] * o.family.variance(o.eta[i])
			}
		}
		d.addGradient(o.residual[lo:hi], lo, o.gradient)
		d.addInformation(augmented[:hi-lo], lo, o.h, o.scratch)
	}
}

// poor is the share of a diagonal element at which the cross-products have lost
// half of their digits, and writtenOut the size of matrix that is made to do
// without them.
const (
	poor       = 1e-8
	writtenOut = 4_000_000
)

// factorise takes the factor of the matrix in h; by orthogonal factorisation
// when the matrix is the information and ill-conditioned.
func (o *objective) factorise(c *cholesky) bool {
	sound := c.factorise(o.h, o.design.stride())
	if (!sound || c.worst < poor) && o.design.len()*o.design.width <= writtenOut && o.weighted() {
		c.refine(o.design, o.weight)
		return c.regular()
	}
	return sound
}

// weighted says whether every weight is a finite number.
func (o *objective) weighted() bool {
	for _, w := range o.weight {
		if !(w >= 0) || math.IsInf(w, 1) {
			return false
		}
	}
	return true
}

// regular says whether the factor can be divided by.
func (c *cholesky) regular() bool {
	for i := range c.n {
		v := c.l[i*c.n+i]
		row := c.l[i*c.n : i*c.n+i+1]
		if !(v > 1e-14*math.Sqrt(blas.Ddot(i+1, row, 1, row, 1))) {
			return false
		}
	}
	return true
}
