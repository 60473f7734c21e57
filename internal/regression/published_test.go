package regression

import (
	"math"
	"testing"
)

var (
	oRingTemperature = []float64{53, 57, 58, 63, 66, 67, 67, 67, 68, 69, 70, 70, 70, 70, 72, 73, 75, 75, 76, 76, 78, 79, 81}
	oRingDamaged     = []int64{5, 1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0}
)

// S. R. Dalal, E. B. Fowlkes, B. Hoadley, JASA 84 (1989) 945-957; J. J. Faraway,
// Extending the Linear Model with R (2006), section 2.1: 11.66299 (3.29626),
// −0.21623 (0.05318), deviances 38.898 and 16.912; to twelve digits by R 4.2.2 in
// the reference statistics, P16.
func TestORings(t *testing.T) {
	d := Data{Family: Binomial, Events: oRingDamaged, Trials: make([]int64, 23), Terms: []Term{{Name: "temperature", Values: oRingTemperature}}}
	for i := range d.Trials {
		d.Trials[i] = 6
	}
	m := fit(t, d, Options{})
	// R takes standard errors from the weights before its last step; here they are
	// those at the maximum, which differ in the eighth digit.
	for _, c := range []struct {
		name                 string
		got, want, tolerance float64
	}{
		{"intercept", m.Coefficients[0].Estimate, 11.6629896953, 1e-9},
		{"slope", m.Coefficients[1].Estimate, -0.216233664114, 1e-9},
		{"standard error of the intercept", m.Coefficients[0].StandardError, 3.29626314848, 1e-6},
		{"standard error of the slope", m.Coefficients[1].StandardError, 0.0531770305782, 1e-6},
		{"z", m.Coefficients[1].Statistic, -4.06629820737, 1e-6},
		{"p", m.Coefficients[1].PValue, 4.77658076094e-05, 1e-6},
		{"covariance", m.Covariance(0, 1), -0.174240973523, 1e-6},
		{"null deviance", m.NullDeviance, 38.8976595966, 1e-9},
		{"deviance", m.Deviance, 16.9122785289, 1e-9},
		{"log-likelihood", m.LogLikelihood, -14.8373937522, 1e-9},
		{"AIC", m.AIC, 33.6747875044, 1e-9},
		{"likelihood ratio", drop(t, m, 0).Statistic, 21.9853810677, 1e-9},
		{"its p", drop(t, m, 0).PValue, 2.74735127035e-06, 1e-9},
	} {
		near(t, c.name, c.got, c.want, c.tolerance)
	}
	if m.DegreesOfFreedom != 21 || m.NullDegreesOfFreedom != 22 {
		t.Errorf("degrees of freedom %d and %d, want 21 and 22", m.DegreesOfFreedom, m.NullDegreesOfFreedom)
	}
	for _, c := range []struct{ at, rate, lower, upper float64 }{
		{31, 0.993034154788, 0.844471028258, 0.999732898267},
		{60, 0.212314513548, 0.115560399711, 0.357346588704},
	} {
		rate, i, err := m.Predict([]At{{Value: c.at}})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "rate", rate, c.rate, 1e-9)
		near(t, "lower", i.Lower, c.lower, 1e-7)
		near(t, "upper", i.Upper, c.upper, 1e-7)
	}
}

// The same flights with any damage as the outcome: Faraway (2006) has 15.0429
// (7.3786), −0.2322 (0.1082), deviances 28.267 and 20.315; P16.
func TestORingsBinary(t *testing.T) {
	d := Data{Family: Binomial, Events: make([]int64, 23), Terms: []Term{{Name: "temperature", Values: oRingTemperature}}}
	for i, n := range oRingDamaged {
		d.Events[i] = min(n, 1)
	}
	m := fit(t, d, Options{})
	near(t, "intercept", m.Coefficients[0].Estimate, 15.0429016477, 1e-9)
	near(t, "slope", m.Coefficients[1].Estimate, -0.232162744219, 1e-9)
	near(t, "its standard error", m.Coefficients[1].StandardError, 0.108236521649, 1e-9)
	near(t, "standard error of the intercept", m.Coefficients[0].StandardError, 7.37863638491, 1e-9)
	// By the rows as given, though flights at one temperature are fitted together.
	near(t, "null deviance", m.NullDeviance, 28.2671527343, 1e-9)
	near(t, "deviance", m.Deviance, 20.3151926879, 1e-9)
	if m.Patterns >= m.Rows {
		t.Errorf("%d patterns of %d rows; flights share temperatures", m.Patterns, m.Rows)
	}
}

// Milicer and Szczotka (1966), the fit as printed for the data set in W. N.
// Venables, B. D. Ripley, Modern Applied Statistics with S (4th ed. 2002):
// −21.22639 (0.7707), 1.63197 (0.05895), deviances 3693.884 and 26.703; P17.
func TestMenarche(t *testing.T) {
	c := table(t, "menarche.csv")
	m := fit(t, Data{Family: Binomial, Events: counts(t, c["Menarche"]), Trials: counts(t, c["Total"]), Terms: []Term{{Name: "age", Values: floats(t, c["Age"])}}}, Options{})
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"intercept", m.Coefficients[0].Estimate, -21.2263949052},
		{"slope", m.Coefficients[1].Estimate, 1.63196834823},
		{"standard error of the intercept", m.Coefficients[0].StandardError, 0.770685884385},
		{"standard error of the slope", m.Coefficients[1].StandardError, 0.0589531746185},
		{"null deviance", m.NullDeviance, 3693.88357479},
		{"deviance", m.Deviance, 26.7034516358},
		{"median age", -m.Coefficients[0].Estimate / m.Coefficients[1].Estimate, 13.0066216837},
		{"Pearson", m.Pearson, 21.8698536755},
	} {
		near(t, c.name, c.got, c.want, 1e-9)
	}
}

// Heinze and Schemper (2002): NV separates, 2.929 (1.551), profile interval 0.61
// to 7.85; to twelve digits by R 4.2.2, two implementations, P18. The limits keep
// the penalty of the full model.
func TestEndometrial(t *testing.T) {
	c := table(t, "endometrial.csv")
	m := fit(t, Data{Family: Binomial, Events: counts(t, c["HG"]), Terms: []Term{
		{Name: "NV", Values: floats(t, c["NV"])}, {Name: "PI", Values: floats(t, c["PI"])}, {Name: "EH", Values: floats(t, c["EH"])},
	}}, Options{})
	if !m.Penalised || m.Separation == nil || len(m.Separation.Columns) != 1 || m.Separation.Columns[0] != 1 {
		t.Fatalf("penalised %v, separation %+v; NV separates", m.Penalised, m.Separation)
	}
	near(t, "penalised log-likelihood", m.PenalisedLogLikelihood, -24.0372678007, 1e-9)
	for k, want := range []struct{ estimate, se float64 }{
		{3.77455971365, 1.48869166344}, {2.9292733532, 1.55076372945}, {-0.0347517598704, 0.0395781473478}, {-2.60416392529, 0.776017642502},
	} {
		near(t, "estimate", m.Coefficients[k].Estimate, want.estimate, 1e-9)
		near(t, "standard error", m.Coefficients[k].StandardError, want.se, 1e-9)
	}
	for k, want := range []struct{ lower, upper, statistic, p float64 }{
		{0.609724436303, 7.85463171388, 6.79845724867, 0.00912366754709},
		{-0.124458720852, 0.0404554731806, 0.746828513432, 0.387482203566},
		{-4.36518324726, -1.23272105722, 17.7593174794, 2.50686721486e-05},
	} {
		i := profileOf(t, m, k+1)
		near(t, "lower", i.Lower, want.lower, 1e-7)
		near(t, "upper", i.Upper, want.upper, 1e-7)
		test := drop(t, m, k)
		near(t, "statistic", test.Statistic, want.statistic, 1e-7)
		near(t, "p", test.PValue, want.p, 1e-7)
		column, ok, err := m.TestColumn(k + 1)
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		near(t, "statistic of the column", column.Statistic, want.statistic, 1e-7)
	}
}

// McCullagh and Nelder (1989), section 6.3.2: −6.41; types −0.54, −0.69, −0.08,
// 0.33; construction 0.70, 0.82, 0.45; period 0.38; deviance 38.7 on 25; φ 1.69; to
// twelve digits by R 4.2.2, P19.
func TestShips(t *testing.T) {
	c := table(t, "ships.csv")
	d := Data{Family: Poisson, Events: counts(t, c["incidents"]), Exposure: floats(t, c["service"]), Terms: []Term{
		factor("type", c["type"]), factor("year", c["year"]), factor("period", c["period"]),
	}}
	m := fit(t, d, Options{})
	want := []struct{ estimate, se float64 }{
		{-6.40590156105, 0.217444106248},
		{-0.543344301194, 0.177589907362}, {-0.68740164745, 0.329047216127}, {-0.0759614218771, 0.290578658772}, {0.325579456224, 0.235879402585},
		{0.697140426701, 0.14964139252}, {0.818426577202, 0.16977364929}, {0.4534266388, 0.233170477773},
		{0.384466958212, 0.118272162623},
	}
	for k, w := range want {
		near(t, "estimate", m.Coefficients[k].Estimate, w.estimate, 1e-9)
		near(t, "standard error", m.Coefficients[k].StandardError, w.se, 1e-9)
	}
	near(t, "deviance", m.Deviance, 38.6950515356, 1e-9)
	near(t, "null deviance", m.NullDeviance, 146.328336532, 1e-9)
	near(t, "Pearson", m.Pearson, 42.2752531195, 1e-9)
	near(t, "dispersion", m.Dispersion, 1.69101012478, 1e-9)
	near(t, "log-likelihood", m.LogLikelihood, -68.2807714296, 1e-9)
	if m.DegreesOfFreedom != 25 {
		t.Errorf("%d degrees of freedom, want 25", m.DegreesOfFreedom)
	}
	test := drop(t, m, 0)
	near(t, "likelihood ratio of type", test.Statistic, 23.6702892479, 1e-9)
	near(t, "its p", test.PValue, 9.29956777461e-05, 1e-9)

	// Note of P19: with the dispersion the standard errors are √1.69 as large.
	scaled := fit(t, d, Options{ScaleByDispersion: true})
	for k, w := range want {
		near(t, "scaled standard error", scaled.Coefficients[k].StandardError, w.se*math.Sqrt(1.69101012478), 1e-9)
	}
	near(t, "F of type", drop(t, scaled, 0).Statistic, 23.6702892479/4/1.69101012478, 1e-9)
}
