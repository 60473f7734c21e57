package regression

import (
	"fmt"
	"math"
	"strconv"

	"jointledger/internal/stats"
)

// Robust is the covariance that holds when rows of one cluster depend on each
// other in any way and clusters do not: the sandwich of K.-Y. Liang, S. L. Zeger,
// "Longitudinal data analysis using generalized linear models", Biometrika 73
// (1986) 13-22, with working independence. It is multiplied by G/(G−1) for G
// clusters, and coefficients are set against Student's t with G−1 degrees of
// freedom (A. C. Cameron, D. L. Miller, "A practitioner's guide to cluster-robust
// inference", J. Human Resources 50 (2015) 317-372, section VI).
type Robust struct {
	// Clusters is G; Factor is G/(G−1).
	Clusters int
	Factor   float64
	// Coefficients has one for each column of the model; all 0 if aliased.
	Coefficients []Coefficient
	// DesignEffect of each coefficient: its variance here over the model's own
	// without the dispersion (L. Kish, "Survey Sampling", 1965, section 8.2).
	DesignEffect []float64
	// LevelClusters has, for each factor term and each of its levels, in how many
	// clusters the level occurs. The variance of a coefficient is too small, even
	// 0, when its level or the reference occurs in but one.
	LevelClusters [][]int

	meat []float64 // lower triangle, without the sink
}

// ClusterRobust reckons the covariance for clusters, given by a number for each
// row of the data as fitted. It returns a [*stats.ArgumentError] if there are not
// as many numbers as rows, or fewer than two clusters.
func (m *Model) ClusterRobust(cluster []int) (*Robust, error) {
	if len(cluster) != m.Rows+m.LeftOut {
		return nil, &stats.ArgumentError{Argument: "length of cluster", Value: strconv.Itoa(len(cluster)), Requirement: fmt.Sprintf("must be the number of rows, %d", m.Rows+m.LeftOut)}
	}
	ordered, starts := m.byCluster(cluster)
	g := len(starts) - 1
	if g < 2 {
		return nil, &stats.ArgumentError{Argument: "clusters", Value: strconv.Itoa(g), Requirement: "must be at least 2"}
	}
	r := &Robust{Clusters: g, Factor: float64(g) / float64(g-1), meat: make([]float64, m.Rank*m.Rank)}
	m.fillMeat(r, ordered, starts)
	m.levelClusters(r, ordered, starts)
	r.Coefficients, r.DesignEffect = make([]Coefficient, len(m.Columns)), make([]float64, len(m.Columns))
	for c := range m.Columns {
		a := m.combination(c)
		if a == nil {
			continue
		}
		variance := m.robustVariance(r, a)
		own := m.Coefficients[c].StandardError * m.Coefficients[c].StandardError / m.spread()
		r.DesignEffect[c] = variance / own
		if variance > 0 {
			r.Coefficients[c] = m.coefficient(m.Coefficients[c].Estimate, math.Sqrt(variance), r.reference())
		}
	}
	return r, nil
}

func (r *Robust) reference() reference { return reference{degrees: float64(r.Clusters - 1)} }

// byCluster puts the rows in the order of their clusters; starts has where each
// cluster begins, and the end.
func (m *Model) byCluster(cluster []int) (ordered, starts []int) {
	number := map[int]int{}
	of := make([]int, m.Rows)
	for i, at := range m.rows.index {
		n, known := number[cluster[at]]
		if !known {
			n = len(number)
			number[cluster[at]] = n
		}
		of[i] = n
	}
	starts = make([]int, len(number)+1)
	for _, n := range of {
		starts[n+1]++
	}
	for n := 1; n < len(starts); n++ {
		starts[n] += starts[n-1]
	}
	next := append([]int(nil), starts...)
	ordered = make([]int, m.Rows)
	for i, n := range of {
		ordered[next[n]] = i
		next[n]++
	}
	return ordered, starts
}

// fillMeat adds up the products of the clusters' scores with themselves.
func (m *Model) fillMeat(r *Robust, ordered, starts []int) {
	o := m.objective
	score := make([]float64, m.Rank)
	seen := make([]bool, m.Rank)
	var touched, at []int
	var value []float64
	for c := range r.Clusters {
		for _, j := range touched {
			score[j], seen[j] = 0, false
		}
		touched = touched[:0]
		for _, i := range ordered[starts[c]:starts[c+1]] {
			g := m.objective.design.row(i)
			left := m.left(i, g)
			at, value = o.design.sparse(g, at, value)
			for k, j := range at {
				if !seen[j] {
					seen[j] = true
					touched = append(touched, j)
				}
				score[j] += left * value[k]
			}
		}
		for _, i := range touched {
			for _, j := range touched {
				if j <= i {
					r.meat[i*m.Rank+j] += score[i] * score[j]
				}
			}
		}
	}
}

// left is a row's residual; with the penalty its share of the pattern's.
func (m *Model) left(row, pattern int) float64 {
	o := m.objective
	rate := m.Family.Rate(o.eta[pattern])
	size := m.rows.size[row]
	left := m.rows.events[row] - size*rate
	if o.firth {
		whole := o.design.size[pattern]
		left += (o.residual[pattern] - (o.design.events[pattern] - whole*rate)) * size / whole
	}
	return left
}

func (m *Model) levelClusters(r *Robust, ordered, starts []int) {
	r.LevelClusters = make([][]int, len(m.terms))
	factor := 0
	for k := range m.terms {
		if !m.terms[k].Factor() {
			continue
		}
		counts := make([]int, len(m.terms[k].Levels))
		last := make([]int, len(counts)) // cluster it was last seen in, plus 1
		for c := range r.Clusters {
			for _, i := range ordered[starts[c]:starts[c+1]] {
				if level := m.objective.design.codes[factor][m.objective.design.row(i)]; last[level] != c+1 {
					last[level] = c + 1
					counts[level]++
				}
			}
		}
		r.LevelClusters[k] = counts
		factor++
	}
}

// robustVariance is that of the combination a, which is overwritten.
func (m *Model) robustVariance(r *Robust, a []float64) float64 {
	m.factor.solve(a)
	n := m.Rank
	sum := 0.0
	for i, v := range a {
		if v == 0 {
			continue
		}
		row := r.meat[i*n:]
		sum += v * (2*blas.Ddot(i, row, 1, a, 1) + v*row[i])
	}
	return math.Max(sum, 0) * r.Factor
}
