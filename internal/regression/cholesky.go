package regression

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// cholesky is the lower triangular L with LLᵀ = H, for an H whose first head
// rows and columns are diagonal: there L is diagonal too.
type cholesky struct {
	n, head int
	l       []float64 // n×n by rows
	// worst is the smallest share of a diagonal element that the columns before
	// it leave: the square of the relative distance from dependence.
	worst float64
}

func newCholesky(n, head int) *cholesky {
	return &cholesky{n: n, head: head, l: make([]float64, n*n)}
}

// factorise reads the lower triangle of h, whose rows are stride apart. It says
// whether h is positive definite as far as rounding lets one see.
func (c *cholesky) factorise(h []float64, stride int) bool {
	c.worst = 1
	n := c.n
	for i := range n {
		row, from := c.l[i*n:i*n+i+1], 0
		if i < c.head {
			from = i
		}
		for j := from; j < i; j++ {
			v := h[i*stride+j]
			if j >= c.head {
				v -= blas.Ddot(j, row, 1, c.l[j*n:], 1)
			}
			row[j] = v / c.l[j*n+j]
		}
		diagonal := h[i*stride+i]
		left := diagonal
		if i >= c.head {
			left -= blas.Ddot(i, row, 1, row, 1)
		}
		if !(left > 1e-15*diagonal) || math.IsInf(diagonal, 1) {
			return false
		}
		c.worst = math.Min(c.worst, left/diagonal)
		row[i] = math.Sqrt(left)
	}
	return true
}

// refine takes L from the orthogonal factorisation of W^½X instead, which does
// not square its condition.
func (c *cholesky) refine(d *design, weight []float64) {
	x := mat.NewDense(max(d.len(), c.n), c.n, nil)
	var at []int
	var value []float64
	for i := range d.len() {
		at, value = d.sparse(i, at, value)
		root := math.Sqrt(weight[i])
		for k, j := range at {
			x.Set(i, j, root*value[k])
		}
	}
	var qr mat.QR
	qr.Factorize(x)
	var r mat.Dense
	qr.RTo(&r)
	for j := range c.n {
		sign := math.Copysign(1, r.At(j, j))
		for i := j; i < c.n; i++ {
			c.l[i*c.n+j] = sign * r.At(j, i)
		}
	}
}

// forward solves Lx = v in place.
func (c *cholesky) forward(v []float64) {
	for i := range c.n {
		if i >= c.head {
			v[i] -= blas.Ddot(i, c.l[i*c.n:], 1, v, 1)
		}
		v[i] /= c.l[i*c.n+i]
	}
}

// solve solves LLᵀx = v in place.
func (c *cholesky) solve(v []float64) {
	c.forward(v)
	for i := c.n - 1; i >= 0; i-- {
		v[i] /= c.l[i*c.n+i]
		if i >= c.head && v[i] != 0 {
			blas.Daxpy(i, -v[i], c.l[i*c.n:], 1, v, 1)
		}
	}
}

// logDeterminant is that of LLᵀ.
func (c *cholesky) logDeterminant() float64 {
	sum := 0.0
	for i := range c.n {
		sum += math.Log(c.l[i*c.n+i])
	}
	return 2 * sum
}

// leverage is xᵀ(LLᵀ)⁻¹x for the x with the given values at the given places;
// scratch has n places.
func (c *cholesky) leverage(at []int, value, scratch []float64) float64 {
	h := c.head
	clear(scratch[h:])
	sum := 0.0
	for k, j := range at {
		if j >= h {
			scratch[j] += value[k]
			continue
		}
		// L is diagonal here: one component, carried into the rows below.
		z := value[k] / c.l[j*c.n+j]
		sum += z * z
		for i := h; i < c.n; i++ {
			scratch[i] -= c.l[i*c.n+j] * z
		}
	}
	for i := h; i < c.n; i++ {
		v := scratch[i] - blas.Ddot(i-h, c.l[i*c.n+h:], 1, scratch[h:], 1)
		v /= c.l[i*c.n+i]
		scratch[i] = v
		sum += v * v
	}
	return sum
}
