package regression

import "gonum.org/v1/gonum/blas/gonum"

var blas gonum.Implementation

// block is how many patterns are worked on at a time, so that their columns
// stay in the cache.
const block = 512

// design is the model matrix in the order of the computation: the columns of
// one factor, the head; the intercept; the covariates; the other factors. A
// pattern has at most one of a factor's columns, so the head's part of XᵀWX is
// diagonal. Where it has none (the reference, or a column left out) its code is
// sink, a column that is written to and never read.
type design struct {
	patterns
	width, head int
	// intercept's column; covariate has each covariate's, or sink.
	intercept int
	covariate []int
	// column has for each factor the column of each pattern.
	column [][]int32
	// reach is the largest absolute value in each column.
	reach []float64
}

func (d *design) sink() int { return d.width }

// stride is the length of a row of a matrix over the columns and the sink.
func (d *design) stride() int { return d.width + 1 }

// newDesign lays out the columns in use; place gives where each column, counted
// from the intercept through the terms in their order, has gone, or −1.
func newDesign(p *patterns, terms []Term, use []bool) (d *design, place []int) {
	d = &design{patterns: *p}
	place = make([]int, len(use))
	first := make([]int, len(terms)) // the term's first column
	head, widest := -1, 0
	for k, c := 0, 1; k < len(terms); k++ {
		first[k] = c
		c += terms[k].columns()
		if used := count(use[first[k]:c]); terms[k].Factor() && used > widest {
			head, widest = k, used
		}
	}
	next := 0
	put := func(c int) {
		if place[c] = -1; use[c] {
			place[c] = next
			next++
		}
	}
	putTerm := func(k int) {
		for c := range terms[k].columns() {
			put(first[k] + c)
		}
	}
	if head >= 0 {
		putTerm(head)
		d.head = next
	}
	put(0)
	d.intercept = place[0]
	for _, factor := range []bool{false, true} {
		for k := range terms {
			if k != head && terms[k].Factor() == factor {
				putTerm(k)
			}
		}
	}
	d.width = next
	d.encode(terms, first, place)
	return d, place
}

func count(b []bool) int {
	n := 0
	for _, v := range b {
		if v {
			n++
		}
	}
	return n
}

// columns is how many columns the term has.
func (t *Term) columns() int {
	if t.Factor() {
		return len(t.Levels) - 1
	}
	return 1
}

// offset is the term's column of a level, counted from its first; −1 for the
// reference.
func (t *Term) offset(level int) int {
	switch {
	case level == t.Reference:
		return -1
	case level > t.Reference:
		return level - 1
	}
	return level
}

// encode turns levels into columns.
func (d *design) encode(terms []Term, first, place []int) {
	d.reach = make([]float64, d.width)
	d.reach[d.intercept] = 1
	factor, covariate := 0, 0
	for k := range terms {
		if !terms[k].Factor() {
			at := place[first[k]]
			if at < 0 {
				at = d.sink()
			} else {
				d.reach[at] = d.furthest[covariate]
			}
			d.covariate = append(d.covariate, at)
			covariate++
			continue
		}
		to := levelColumns(&terms[k], first[k], place, d.sink())
		for _, at := range to {
			if at != d.sink() {
				d.reach[at] = 1
			}
		}
		columns := make([]int32, d.len())
		for i, level := range d.codes[factor] {
			columns[i] = int32(to[level])
		}
		d.column = append(d.column, columns)
		factor++
	}
}

// levelColumns gives each level's column, or sink.
func levelColumns(t *Term, first int, place []int, sink int) []int {
	to := make([]int, len(t.Levels))
	for level := range to {
		to[level] = sink
		if o := t.offset(level); o >= 0 && place[first+o] >= 0 {
			to[level] = place[first+o]
		}
	}
	return to
}

// predictors fills the linear predictor of the patterns from lo on, at
// coefficients b with a 0 for the sink.
func (d *design) predictors(b []float64, lo int, eta []float64) {
	for i := range eta {
		eta[i] = b[d.intercept]
	}
	for k, x := range d.covariates {
		if v := b[d.covariate[k]]; v != 0 {
			blas.Daxpy(len(eta), v, x[lo:], 1, eta, 1)
		}
	}
	for _, c := range d.column {
		for i, at := range c[lo : lo+len(eta)] {
			eta[i] += b[at]
		}
	}
}

// addGradient adds Xᵀr over the patterns from lo on.
func (d *design) addGradient(r []float64, lo int, gradient []float64) {
	sum := 0.0
	for _, v := range r {
		sum += v
	}
	gradient[d.intercept] += sum
	for k, x := range d.covariates {
		gradient[d.covariate[k]] += blas.Ddot(len(r), r, 1, x[lo:], 1)
	}
	for _, c := range d.column {
		for i, at := range c[lo : lo+len(r)] {
			gradient[at] += r[i]
		}
	}
}

// addInformation adds the lower triangle of XᵀWX over the patterns from lo on;
// scratch has room for a block.
func (d *design) addInformation(w []float64, lo int, h, scratch []float64) {
	stride, n := d.stride(), len(w)
	row := h[d.intercept*stride:]
	for _, v := range w {
		row[d.intercept] += v
	}
	for k, x := range d.covariates {
		at := d.covariate[k]
		if at == d.sink() {
			continue
		}
		wx := scratch[:n]
		for i, v := range x[lo : lo+n] {
			wx[i] = v * w[i]
		}
		row := h[at*stride:]
		row[d.intercept] += blas.Ddot(n, w, 1, x[lo:], 1)
		for j := range k + 1 {
			if other := d.covariate[j]; other != d.sink() {
				row[other] += blas.Ddot(n, wx, 1, d.covariates[j][lo:], 1)
			}
		}
		for _, c := range d.column {
			d.addCross(c[lo:lo+n], wx, at, h)
		}
	}
	for f, c := range d.column {
		c = c[lo : lo+n]
		d.addCross(c, w, d.intercept, h)
		for i, at := range c {
			h[int(at)*stride+int(at)] += w[i]
		}
		for _, other := range d.column[:f] {
			other = other[lo : lo+n]
			for i, at := range c {
				high, low := int(at), int(other[i])
				if high < low {
					high, low = low, high
				}
				h[high*stride+low] += w[i]
			}
		}
	}
}

// addCross adds the products of a factor's columns c with a column that holds
// wx and stands at place at.
func (d *design) addCross(c []int32, wx []float64, at int, h []float64) {
	stride := d.stride()
	row := h[at*stride:]
	for i, v := range wx {
		if column := int(c[i]); column < at {
			row[column] += v
		} else {
			h[column*stride+at] += v
		}
	}
}

// sparse fills the columns and values of a pattern that are not 0.
func (d *design) sparse(i int, at []int, value []float64) ([]int, []float64) {
	at, value = append(at[:0], d.intercept), append(value[:0], 1)
	for k, x := range d.covariates {
		if d.covariate[k] != d.sink() {
			at, value = append(at, d.covariate[k]), append(value, x[i])
		}
	}
	for _, c := range d.column {
		if int(c[i]) != d.sink() {
			at, value = append(at, int(c[i])), append(value, 1)
		}
	}
	return at, value
}
