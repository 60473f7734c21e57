package regression

import "math"

// dependent is the share of a column's sum of squares, after the columns before
// it, at or below which it is taken to be made up by them: the standard
// deviation of what is its own is a millionth. No measured covariate carries
// its meaning there, and rounding in the cross-products does.
const dependent = 1e-12

// aliased finds the columns that those before them make up, in the order in
// which the terms were given, as in the usual statistical systems. made has for
// each of them the multiples of the columns that do; it is empty for a column
// that is 0 in all rows.
func aliased(p *patterns, terms []Term) (use []bool, made map[int]map[int]float64) {
	all := make([]bool, 1)
	for k := range terms {
		all = append(all, make([]bool, terms[k].columns())...)
	}
	for c := range all {
		all[c] = true
	}
	d, place := newDesign(p, terms, all)
	gram := d.gram(func(int) float64 { return 1 })
	at := func(i, j int) float64 {
		i, j = place[i], place[j]
		return gram[max(i, j)*d.stride()+min(i, j)]
	}
	n := len(all)
	l := make([]float64, n*n)
	var kept []int
	use, made = make([]bool, n), map[int]map[int]float64{}
	for c := range n {
		row := l[len(kept)*n : (len(kept)+1)*n]
		left := at(c, c)
		for k, other := range kept {
			row[k] = (at(c, other) - blas.Ddot(k, l[k*n:], 1, row, 1)) / l[k*n+k]
			left -= row[k] * row[k]
		}
		if left > dependent*at(c, c) {
			row[len(kept)] = math.Sqrt(left)
			kept = append(kept, c)
			use[c] = true
			continue
		}
		made[c] = multiples(l, n, row, kept)
		clear(row)
	}
	return use, made
}

// multiples solves for how the kept columns make up the one whose row of the
// factor is given.
func multiples(l []float64, n int, row []float64, kept []int) map[int]float64 {
	m := map[int]float64{}
	v := append([]float64(nil), row[:len(kept)]...)
	for k := len(kept) - 1; k >= 0; k-- {
		v[k] /= l[k*n+k]
		if v[k] != 0 {
			blas.Daxpy(k, -v[k], l[k*n:], 1, v, 1)
		}
		if math.Abs(v[k]) > 1e-6 {
			m[kept[k]] = v[k]
		}
	}
	return m
}

// gram is the lower triangle of XᵀWX for weights of the patterns.
func (d *design) gram(weight func(i int) float64) []float64 {
	h := make([]float64, d.stride()*d.stride())
	var w, scratch [block]float64
	for lo := 0; lo < d.len(); lo += block {
		n := min(block, d.len()-lo)
		for i := range n {
			w[i] = weight(lo + i)
		}
		d.addInformation(w[:n], lo, h, scratch[:])
	}
	return h
}
