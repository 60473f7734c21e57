package regression

import (
	"math"
	"slices"
	"testing"
)

// Sites lie in regions: once the region is in the model, its last site adds
// nothing. The column left out is the later one, and what makes it up is named.
func TestAliasedColumns(t *testing.T) {
	region := []string{"N", "N", "N", "N", "S", "S", "S", "S"}
	site := []string{"A", "A", "B", "B", "C", "C", "D", "D"}
	d := Data{Family: Binomial, Events: []int64{3, 4, 5, 6, 1, 2, 6, 5}, Trials: []int64{20, 20, 20, 20, 20, 20, 20, 20},
		Terms: []Term{factor("region", region), factor("site", site)}}
	m := fit(t, d, Options{})
	// Columns: intercept, S, B, C, D.
	if m.Rank != 4 || !m.Columns[4].Aliased || !slices.Equal(m.Columns[4].MadeOf, []int{1, 3}) {
		t.Fatalf("rank %d, columns %+v", m.Rank, m.Columns)
	}
	for c, want := range []bool{true, false, true, false, false} {
		if m.Columns[c].Estimable != want {
			t.Errorf("column %d: estimable %v", c, m.Columns[c].Estimable)
		}
	}
	if _, ok := m.LevelMargin(0, 1, nil); ok {
		t.Error("a margin of a region whose sites are in the model")
	}
	if _, _, err := m.Predict([]At{{Level: 1}, {Level: 2}}); err == nil {
		t.Error("a prediction from terms that cannot be told apart")
	}
	alone := fit(t, Data{Family: d.Family, Events: d.Events, Trials: d.Trials, Terms: d.Terms[1:]}, Options{})
	near(t, "log-likelihood", m.LogLikelihood, alone.LogLikelihood, 1e-10)
	// B against A, both in the north, is the same contrast in both: 11/40 to 7/40.
	near(t, "B", m.Coefficients[2].Estimate, math.Log(11.0/29/(7.0/33)), 1e-9)
	if _, ok, err := m.Profile(4); ok || err != nil {
		t.Error("a profile of a column that was left out")
	}
}

func TestConstantCovariateIsAliased(t *testing.T) {
	m := fit(t, Data{Family: Binomial, Events: []int64{1, 2}, Trials: []int64{9, 9}, Terms: []Term{{Name: "x", Values: []float64{0.1, 0.1}}}}, Options{})
	if m.Rank != 1 || !m.Columns[1].Aliased {
		t.Errorf("rank %d, %+v", m.Rank, m.Columns)
	}
	near(t, "intercept", m.Coefficients[0].Estimate, math.Log(3.0/15), 1e-9)
}

// Two covariates that differ by a part in 10⁵: with u = (a+b)/2 and v = (a−b)/2·10⁵
// the same model is well conditioned, and β_a + β_b = β_u, β_a − β_b = 10⁵·β_v.
func TestIllConditioned(t *testing.T) {
	d := lots(300, 2)
	u, v := Term{Name: "u"}, Term{Name: "v"}
	a, b := Term{Name: "a"}, Term{Name: "b"}
	const small = 1.0 / (1 << 17)
	for i := range d.Events {
		x, y := float64(i%7), float64(i*i%11)
		u.Values, v.Values = append(u.Values, x), append(v.Values, y)
		a.Values, b.Values = append(a.Values, x+small*y), append(b.Values, x-small*y)
	}
	d.Terms = []Term{u, v}
	good := fit(t, d, Options{})
	d.Terms = []Term{a, b}
	ill := fit(t, d, Options{})
	c, g := ill.Coefficients, good.Coefficients
	near(t, "sum", c[1].Estimate+c[2].Estimate, g[1].Estimate, 1e-6)
	near(t, "difference", (c[1].Estimate-c[2].Estimate)*small, g[2].Estimate, 1e-8)
	near(t, "standard error", c[1].StandardError, math.Hypot(g[1].StandardError/2, g[2].StandardError/2/small), 1e-3)
	near(t, "log-likelihood", ill.LogLikelihood, good.LogLikelihood, 1e-12)
}

func TestArguments(t *testing.T) {
	x := []Term{{Name: "x", Values: []float64{1, 2}}}
	for _, c := range []struct {
		data     Data
		options  Options
		sentence string
	}{
		{Data{Events: []int64{1}}, Options{}, "family is Family(0), but must be binomial or poisson"},
		{Data{Family: Binomial, Events: []int64{2, 0}, Trials: []int64{1, 1}}, Options{}, "events of row 1 is 2, but must be at most the row's trials, 1"},
		{Data{Family: Binomial, Events: []int64{0, -1}}, Options{}, "events of row 2 is -1, but must lie between 0 and 2^40"},
		{Data{Family: Binomial, Events: []int64{0, 0}, Terms: x}, Options{}, "events is 0 in every row, but at least one must have happened: a model has nothing to explain"},
		{Data{Family: Binomial, Events: []int64{1, 1}, Terms: x}, Options{}, "events is 2, but at least one trial must have gone without: a model has nothing to explain"},
		{Data{Family: Poisson, Events: []int64{1, 1}, Exposure: []float64{1, math.NaN()}}, Options{}, "exposure of row 2 is NaN, but must be 0 or lie between 1e-15 and 1e15"},
		{Data{Family: Poisson, Events: []int64{1, 1}, Exposure: []float64{1, 0}}, Options{}, "events of row 2 is 1, but must be 0 where the exposure is 0"},
		{Data{Family: Binomial, Events: []int64{1, 0}, Terms: []Term{{Name: "x", Values: []float64{1, math.Inf(1)}}}}, Options{}, "x of row 2 is +Inf, but must be a finite number"},
		{Data{Family: Binomial, Events: []int64{1, 0}, Terms: []Term{{Name: "lot", Levels: []string{"A"}, Codes: []int{0, 1}}}}, Options{}, "lot of row 2 is 1, but must be the index of a level"},
		{Data{Family: Binomial, Events: []int64{1, 0, 1}, Terms: x}, Options{}, "length of x is 2, but must be the number of rows, 3"},
		{Data{Family: Binomial, Events: []int64{0}, Trials: []int64{0}}, Options{}, "rows is 0, but must have at least one with trials or exposure"},
		{Data{Family: Binomial, Events: []int64{1, 0}}, Options{Confidence: 1}, "confidence is 1, but must lie between 0 and 1, both excluded"},
	} {
		_, err := Fit(c.data, c.options)
		refused(t, err, c.sentence)
	}
}
