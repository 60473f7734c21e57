package regression

import "gonum.org/v1/gonum/mat"

// RobustTerm is Wald's test that all of a term's coefficients are 0, with the
// covariance for clusters: the statistic over its degrees of freedom is set
// against F with those and G−1. ok is false where the covariance does not allow
// it: the term has no coefficient or not fewer than there are clusters, or
// one of its levels occurs in a single cluster.
func (m *Model) RobustTerm(r *Robust, term int) (t Test, ok bool) {
	for _, n := range r.LevelClusters[term] {
		if n == 1 {
			return Test{}, false
		}
	}
	var solved [][]float64
	var estimates []float64
	for c, column := range m.Columns {
		if a := m.combination(c); column.Term == term && a != nil {
			m.factor.solve(a)
			solved = append(solved, a)
			estimates = append(estimates, m.Coefficients[c].Estimate)
		}
	}
	q := len(solved)
	if q == 0 || q >= r.Clusters {
		return Test{}, false
	}
	covariance := mat.NewSymDense(q, nil)
	for i, u := range solved {
		mu := m.meatTimes(r, u)
		for j := range i + 1 {
			covariance.SetSym(i, j, r.Factor*blas.Ddot(len(mu), mu, 1, solved[j], 1))
		}
	}
	var factor mat.Cholesky
	b, x := mat.NewVecDense(q, estimates), mat.NewVecDense(q, nil)
	if !factor.Factorize(covariance) || factor.Cond() > 1e12 || factor.SolveVecTo(x, b) != nil {
		return Test{}, false
	}
	f := mat.Dot(b, x) / float64(q)
	return Test{f, q, upperF(f, float64(q), float64(r.Clusters-1))}, true
}

// meatTimes multiplies the symmetric matrix, kept as its lower triangle.
func (m *Model) meatTimes(r *Robust, u []float64) []float64 {
	n := m.Rank
	product := make([]float64, n)
	for i, v := range u {
		row := r.meat[i*n : i*n+i+1]
		product[i] += blas.Ddot(i+1, row, 1, u, 1)
		if v != 0 {
			blas.Daxpy(i, v, row, 1, product, 1)
		}
	}
	return product
}
