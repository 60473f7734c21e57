package regression

import (
	"math"
	"slices"

	"jointledger/internal/stats"
)

// measure reckons the figures of the fit as a whole, by the rows as given.
func (m *Model) measure() {
	p := &m.objective.design.patterns
	null, _ := m.Family.link(m.Events / m.Size)
	kernel := m.top
	if m.Penalised {
		kernel -= m.objective.information.logDeterminant() / 2
	}
	constant := 0.0
	for i, events := range m.rows.events {
		size, eta := m.rows.size[i], m.objective.eta[p.row(i)]
		constant += m.Family.constant(events, size)
		m.Deviance += m.Family.deviance(eta, events, size)
		m.NullDeviance += m.Family.deviance(null, events, size)
		left := events - size*m.Family.Rate(eta)
		if left != 0 {
			m.Pearson += left * left / (size * m.Family.variance(eta))
		}
	}
	m.Deviance, m.NullDeviance = math.Max(m.Deviance, 0), math.Max(m.NullDeviance, 0)
	m.LogLikelihood = kernel + constant
	m.AIC = 2*float64(m.Rank) - 2*m.LogLikelihood
	m.PenalisedLogLikelihood = m.LogLikelihood
	if m.Penalised {
		m.PenalisedLogLikelihood += m.objective.information.logDeterminant()/2 - m.logScale()
	}
	m.DegreesOfFreedom, m.NullDegreesOfFreedom = m.Rows-m.Rank, m.Rows-1
	m.Dispersion = math.NaN()
	if m.DegreesOfFreedom > 0 {
		m.Dispersion = m.Pearson / float64(m.DegreesOfFreedom)
	}
}

// logScale is what the scaling of covariates takes from half the logarithm of
// the information's determinant.
func (m *Model) logScale() float64 {
	sum := 0.0
	covariate := 0
	for c, column := range m.Columns {
		if column.Term >= 0 && column.Level < 0 {
			if m.place[c] >= 0 {
				sum -= math.Log(m.scale[covariate])
			}
			covariate++
		}
	}
	return sum
}

// combination is the coefficient of a column as a combination of those of the
// design, whose covariates are centred and scaled; nil for an aliased one.
func (m *Model) combination(c int) []float64 {
	at := m.place[c]
	if at < 0 {
		return nil
	}
	a := make([]float64, m.Rank)
	a[at] = 1
	switch column := m.Columns[c]; {
	case column.Term < 0:
		covariate := 0
		for other, o := range m.Columns {
			if o.Term >= 0 && o.Level < 0 {
				if m.place[other] >= 0 {
					a[m.place[other]] = -m.shift[covariate] / m.scale[covariate]
				}
				covariate++
			}
		}
	case column.Level < 0:
		a[at] = 1 / m.scale[m.covariate(column.Term)]
	}
	return a
}

// covariate is the index of a covariate term among the covariates.
func (m *Model) covariate(term int) int {
	n := 0
	for k := range term {
		if !m.terms[k].Factor() {
			n++
		}
	}
	return n
}

// estimate fills the coefficients.
func (m *Model) estimate() error {
	m.Coefficients = make([]Coefficient, len(m.Columns))
	for c := range m.Columns {
		a := m.combination(c)
		if a == nil {
			continue
		}
		estimate := blas.Ddot(len(a), a, 1, m.b, 1)
		m.factor.forward(a)
		m.Coefficients[c] = m.coefficient(estimate, blas.Dnrm2(len(a), a, 1)*math.Sqrt(m.spread()), m.reference())
		if v := m.Coefficients[c]; math.IsNaN(v.Estimate) || math.IsInf(v.Estimate, 0) || !(v.StandardError > 0) || math.IsInf(v.StandardError, 1) {
			return ErrNoConvergence
		}
	}
	return nil
}

func (m *Model) coefficient(estimate, standardError float64, r reference) Coefficient {
	z := estimate / standardError
	reach := r.quantile(m.options.Confidence) * standardError
	return Coefficient{
		Estimate: estimate, StandardError: standardError, Statistic: z, PValue: r.twoSided(z),
		Wald: stats.Interval{Lower: estimate - reach, Upper: estimate + reach},
	}
}

// spread is the dispersion that intervals and tests are widened by.
func (m *Model) spread() float64 {
	if m.scaled() {
		return math.Max(m.Dispersion, 1)
	}
	return 1
}

func (m *Model) scaled() bool { return m.options.ScaleByDispersion && m.DegreesOfFreedom > 0 }

// reference is the distribution that a coefficient over its standard error is
// set against.
func (m *Model) reference() reference {
	if m.scaled() {
		return reference{degrees: float64(m.DegreesOfFreedom)}
	}
	return reference{}
}

// Covariance of two columns' coefficients, by the model's information and with
// the dispersion if it is used; 0 if one is aliased.
func (m *Model) Covariance(c, d int) float64 {
	a, b := m.combination(c), m.combination(d)
	if a == nil || b == nil {
		return 0
	}
	m.factor.forward(a)
	m.factor.forward(b)
	return blas.Ddot(len(a), a, 1, b, 1) * m.spread()
}

// columnOf gives the column of a term's level (−1 for a covariate); −1 for the
// reference.
func (m *Model) columnOf(term, level int) int {
	return slices.IndexFunc(m.Columns, func(c Column) bool { return c.Term == term && c.Level == level })
}
