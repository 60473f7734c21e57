package regression

import (
	"fmt"
	"math"
	"strconv"

	"jointledger/internal/stats"
)

// At is a value of each term, in their order: Level of a factor, Value of a
// covariate.
type At struct {
	Level int
	Value float64
}

// Predict gives the rate in one setting of all terms, with Wald's interval on
// the scale of the link. It returns a [*stats.ArgumentError] unless there is a
// value for each term, a level is known, a value finite, and the rate estimable.
func (m *Model) Predict(at []At) (rate float64, i stats.Interval, err error) {
	if len(at) != len(m.terms) {
		return 0, i, &stats.ArgumentError{Argument: "values", Value: strconv.Itoa(len(at)), Requirement: fmt.Sprintf("must be one for each of the %d terms", len(m.terms))}
	}
	a := make([]float64, m.Rank)
	a[m.objective.design.intercept] = 1
	for k, v := range at {
		t := &m.terms[k]
		if !m.separable(k) {
			return 0, i, &stats.ArgumentError{Argument: t.Name, Value: "made up by other terms", Requirement: "a prediction needs terms that can be told apart"}
		}
		if !t.Factor() {
			if math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
				return 0, i, &stats.ArgumentError{Argument: t.Name, Value: strconv.FormatFloat(v.Value, 'g', -1, 64), Requirement: "must be a finite number"}
			}
			c := m.covariate(k)
			a[m.objective.design.covariate[c]] = (v.Value - m.shift[c]) / m.scale[c]
			continue
		}
		if v.Level < 0 || v.Level >= len(t.Levels) {
			return 0, i, &stats.ArgumentError{Argument: t.Name, Value: strconv.Itoa(v.Level), Requirement: "must be the index of a level"}
		}
		if v.Level != t.Reference {
			a[m.place[m.columnOf(k, v.Level)]] = 1
		}
	}
	predictor := blas.Ddot(len(a), a, 1, m.b, 1)
	m.factor.forward(a)
	reach := m.reference().quantile(m.options.Confidence) * blas.Dnrm2(len(a), a, 1) * math.Sqrt(m.spread())
	return m.Family.Rate(predictor), m.around(predictor, reach), nil
}
