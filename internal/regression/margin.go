package regression

import (
	"math"

	"jointledger/internal/stats"
)

// Margin is the rate that the model predicts if every row had one value of a
// term and kept its other terms: the mean over the rows' trials or exposure
// (P. W. Lane, J. A. Nelder, "Analysis of covariance and standardization as
// instances of prediction", Biometrics 38 (1982) 613-621).
type Margin struct {
	// Rate is events in a trial or a unit of exposure.
	Rate float64
	// Interval is Wald's on the scale of the link, by the delta method.
	Interval stats.Interval
	// Robust is that with the covariance for clusters, nil without one or where
	// that is 0.
	Robust *stats.Interval
}

// LevelMargin is the margin of a factor's level. ok is false where the model
// cannot tell the term's levels from other terms. robust may be nil.
func (m *Model) LevelMargin(term, level int, robust *Robust) (margin Margin, ok bool) {
	if !m.separable(term) {
		return Margin{}, false
	}
	at := m.objective.design.sink()
	if level != m.terms[term].Reference {
		at = m.place[m.columnOf(term, level)]
	}
	factor := term - m.covariate(term)
	own := m.objective.design.column[factor]
	return m.margin(func(i int) float64 { return m.b[at] - m.b[own[i]] }, m.termColumns(term), at, 1, robust), true
}

// ValueMargin is the margin at a value of a covariate, in its own unit.
func (m *Model) ValueMargin(term int, value float64, robust *Robust) (margin Margin, ok bool) {
	if !m.separable(term) {
		return Margin{}, false
	}
	k := m.covariate(term)
	z := (value - m.shift[k]) / m.scale[k]
	at := m.objective.design.covariate[k]
	x := m.objective.design.covariates[k]
	return m.margin(func(i int) float64 { return m.b[at] * (z - x[i]) }, m.termColumns(term), at, z, robust), true
}

// separable says whether all of the term's coefficients are estimable.
func (m *Model) separable(term int) bool {
	for _, c := range m.Columns {
		if c.Term == term && !c.Estimable {
			return false
		}
	}
	return true
}

func (m *Model) termColumns(term int) []int {
	var all []int
	for c, column := range m.Columns {
		if column.Term == term && m.place[c] >= 0 {
			all = append(all, m.place[c])
		}
	}
	return all
}

// margin averages with the predictor of each pattern moved by shift; the term's
// columns are 0 but for the one at a place, which has a value.
func (m *Model) margin(shift func(i int) float64, columns []int, at int, value float64, robust *Robust) Margin {
	d := m.objective.design
	gradient := make([]float64, d.stride())
	var slope [block]float64
	total, slopes := 0.0, 0.0
	for lo := 0; lo < d.len(); lo += block {
		n := min(block, d.len()-lo)
		for i := range n {
			eta := m.objective.eta[lo+i] + shift(lo+i)
			total += d.size[lo+i] * m.Family.Rate(eta)
			slope[i] = d.size[lo+i] * m.Family.variance(eta)
			slopes += slope[i]
		}
		d.addGradient(slope[:n], lo, gradient)
	}
	for _, c := range columns {
		gradient[c] = 0
	}
	gradient[at] = slopes * value
	margin := Margin{Rate: total / m.Size}
	predictor, per := m.Family.link(margin.Rate)
	a := gradient[:m.Rank]
	blas.Dscal(len(a), per/m.Size, a, 1)
	b := append([]float64(nil), a...)
	m.factor.forward(a)
	margin.Interval = m.around(predictor, m.reference().quantile(m.options.Confidence)*blas.Dnrm2(len(a), a, 1)*math.Sqrt(m.spread()))
	if robust != nil {
		if variance := m.robustVariance(robust, b); variance > 0 {
			i := m.around(predictor, robust.reference().quantile(m.options.Confidence)*math.Sqrt(variance))
			margin.Robust = &i
		}
	}
	return margin
}

func (m *Model) around(predictor, reach float64) stats.Interval {
	return stats.Interval{Lower: m.Family.Rate(predictor - reach), Upper: m.Family.Rate(predictor + reach)}
}
