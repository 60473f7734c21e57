package regression

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// shuffled gives the data with rows in another order.
func shuffled(d Data, r *rand.Rand) Data {
	return picked(d, r.Perm(len(d.Events)))
}

// picked gives the rows with the indices.
func picked(d Data, rows []int) Data {
	p := Data{Family: d.Family}
	for _, i := range rows {
		p.Events = append(p.Events, d.Events[i])
		if d.Trials != nil {
			p.Trials = append(p.Trials, d.Trials[i])
		}
		if d.Exposure != nil {
			p.Exposure = append(p.Exposure, d.Exposure[i])
		}
	}
	for _, t := range d.Terms {
		c := Term{Name: t.Name, Levels: t.Levels, Reference: t.Reference}
		for _, i := range rows {
			if t.Factor() {
				c.Codes = append(c.Codes, t.Codes[i])
			} else {
				c.Values = append(c.Values, t.Values[i])
			}
		}
		p.Terms = append(p.Terms, c)
	}
	return p
}

func sameCoefficients(t *testing.T, name string, a, b *Model, tolerance float64) {
	t.Helper()
	for c := range a.Columns {
		if math.Abs(a.Coefficients[c].Estimate-b.Coefficients[c].Estimate) > tolerance || math.Abs(a.Coefficients[c].StandardError-b.Coefficients[c].StandardError) > tolerance {
			t.Errorf("%s: column %d is %+v and %+v", name, c, a.Coefficients[c], b.Coefficients[c])
		}
	}
}

func withCovariate(d Data) Data {
	r := rand.New(rand.NewPCG(9, 9))
	x := Term{Name: "temperature"}
	for range d.Events {
		x.Values = append(x.Values, 280+10*float64(r.IntN(5)))
	}
	d.Terms = append(slices.Clone(d.Terms), x)
	return d
}

// The likelihood is a sum over trials: neither the order of rows nor how trials
// are put into rows can change the fit, by maximum likelihood or penalised.
func TestOrderAndGroupingDoNotMatter(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	d := withCovariate(lots(200, 6, 3))
	var single Data // a row for every trial
	for i := range d.Events {
		for k := range d.Trials[i] {
			one := picked(d, []int{i})
			one.Trials[0], one.Events[0] = 1, 0
			if k < d.Events[i] {
				one.Events[0] = 1
			}
			single = appended(single, one)
		}
	}
	for _, penalty := range []Penalty{WhenSeparated, Always} {
		o := Options{Penalty: penalty}
		m := fit(t, d, o)
		sameCoefficients(t, "order", m, fit(t, shuffled(d, r), o), 1e-9)
		split := fit(t, shuffled(single, r), o)
		sameCoefficients(t, "single trials", m, split, 1e-9)
		// Of the same likelihood the constants differ: by how many orders the
		// outcomes of a row could have come in.
		constant := 0.0
		for i := range d.Events {
			constant += Binomial.constant(float64(d.Events[i]), float64(d.Trials[i]))
		}
		near(t, "log-likelihood", split.LogLikelihood, m.LogLikelihood-constant, 1e-9)
	}
}

func appended(d, one Data) Data {
	d.Family = one.Family
	d.Events, d.Trials = append(d.Events, one.Events...), append(d.Trials, one.Trials...)
	if d.Terms == nil {
		d.Terms = one.Terms
		return d
	}
	for k := range d.Terms {
		d.Terms[k].Codes = append(d.Terms[k].Codes, one.Terms[k].Codes...)
		d.Terms[k].Values = append(d.Terms[k].Values, one.Terms[k].Values...)
	}
	return d
}

// Another reference changes what is compared, not the model: contrasts are
// differences of contrasts, everything else stays.
func TestRelevelling(t *testing.T) {
	d := lots(150, 5, 3)
	for _, penalty := range []Penalty{WhenSeparated, Always} {
		a := fit(t, d, Options{Penalty: penalty})
		d2 := picked(d, rand.Perm(len(d.Events)))
		d2.Terms[0].Reference = 3
		b := fit(t, d2, Options{Penalty: penalty})
		near(t, "log-likelihood", b.LogLikelihood, a.LogLikelihood, 1e-10)
		near(t, "deviance", b.Deviance, a.Deviance, 1e-9)
		near(t, "Pearson", b.Pearson, a.Pearson, 1e-9)
		old := func(level int) float64 {
			if level == 0 {
				return 0
			}
			return a.Coefficients[a.columnOf(0, level)].Estimate
		}
		for c, column := range b.Columns {
			if column.Term == 0 {
				if want := old(column.Level) - old(3); math.Abs(b.Coefficients[c].Estimate-want) > 1e-9 {
					t.Errorf("level %d against 3: %g, want %g", column.Level, b.Coefficients[c].Estimate, want)
				}
			}
		}
		// 0 against 3 has the limits of 3 against 0, turned round.
		i, j := profileOf(t, a, a.columnOf(0, 3)), profileOf(t, b, b.columnOf(0, 0))
		near(t, "lower", i.Lower, -j.Upper, 1e-7)
		near(t, "upper", i.Upper, -j.Lower, 1e-7)
		for level := range 5 {
			x, _ := a.LevelMargin(0, level, nil)
			y, _ := b.LevelMargin(0, level, nil)
			near(t, "margin", y.Rate, x.Rate, 1e-9)
			near(t, "its lower limit", y.Interval.Lower, x.Interval.Lower, 1e-8)
		}
		near(t, "test of the term", drop(t, b, 0).Statistic, drop(t, a, 0).Statistic, 1e-8)
	}
}

// A covariate in another unit changes its coefficient by that factor, and the
// intercept by the shift; a Poisson rate per other unit changes the intercept.
func TestUnits(t *testing.T) {
	d := withCovariate(lots(100, 3))
	kelvin := fit(t, d, Options{})
	celsius := picked(d, rand.Perm(len(d.Events)))
	for i := range celsius.Terms[1].Values {
		celsius.Terms[1].Values[i] = 1000 * (celsius.Terms[1].Values[i] - 273.15)
	}
	m := fit(t, celsius, Options{})
	last := len(m.Columns) - 1
	near(t, "slope", 1000*m.Coefficients[last].Estimate, kelvin.Coefficients[last].Estimate, 1e-9)
	near(t, "intercept", m.Coefficients[0].Estimate, kelvin.Coefficients[0].Estimate+273.15*kelvin.Coefficients[last].Estimate, 1e-8)
	i, j := profileOf(t, m, last), profileOf(t, kelvin, last)
	near(t, "limit", 1000*i.Upper, j.Upper, 1e-7)
	// The profile of an intercept far from the data is that of the same model.
	p := profileOf(t, kelvin, 0)
	if !(p.Lower < kelvin.Coefficients[0].Estimate && kelvin.Coefficients[0].Estimate < p.Upper) {
		t.Errorf("profile of the intercept %+v around %g", p, kelvin.Coefficients[0].Estimate)
	}
}

// At a limit of the profile the likelihood-ratio test has just the level: moving
// the data's own column by the limit makes the test of 0 say so.
func TestProfileInvertsTheTest(t *testing.T) {
	d := withCovariate(lots(60, 3))
	d.Family, d.Exposure = Poisson, make([]float64, len(d.Events))
	for i, n := range d.Trials {
		d.Exposure[i] = float64(n)
	}
	m := fit(t, d, Options{Confidence: 0.9})
	last := len(m.Columns) - 1
	limits := profileOf(t, m, last)
	for _, v := range []float64{limits.Lower, limits.Upper} {
		// With the limit's effect in the exposure, what is left to the column is
		// the difference.
		moved := picked(d, rand.Perm(len(d.Events)))
		for i := range moved.Exposure {
			moved.Exposure[i] *= math.Exp(v * (moved.Terms[1].Values[i] - 300))
		}
		test, ok, err := fit(t, moved, Options{}).TestColumn(last)
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		near(t, "p at the limit", test.PValue, 0.1, 1e-6)
	}
}

// Coverage of 95 % intervals over 2,000 tables from a known model: within four
// standard deviations of a binomial count below and some room above.
func TestCoverage(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	const tables, truth = 2000, 0.8
	wald, profiled := 0, 0
	for range tables {
		d := Data{Family: Binomial}
		x := Term{Name: "x"}
		for i := range 40 {
			v := float64(i%2) - 0.5
			x.Values = append(x.Values, v)
			events := int64(0)
			for range 5 {
				if r.Float64() < Binomial.Rate(-1+truth*v) {
					events++
				}
			}
			d.Events, d.Trials = append(d.Events, events), append(d.Trials, 5)
		}
		d.Terms = []Term{x}
		m := fit(t, d, Options{})
		if w := m.Coefficients[1].Wald; w.Lower <= truth && truth <= w.Upper {
			wald++
		}
		if p := profileOf(t, m, 1); p.Lower <= truth && truth <= p.Upper {
			profiled++
		}
	}
	for name, n := range map[string]int{"Wald": wald, "profile": profiled} {
		if share := float64(n) / tables; share < 0.93 || share > 0.97 {
			t.Errorf("%s covers %.3f, want about 0.95", name, share)
		}
	}
}

// Five hundred levels, some without any event, are fitted as three are: the margin
// of a level alone in the model is its own rate, with the penalty as if half an
// event had been added to each outcome.
func TestFiveHundredLevels(t *testing.T) {
	d := lots(4000, 500)
	m := fit(t, d, Options{})
	events, trials := make([]float64, 500), make([]float64, 500)
	for i, level := range d.Terms[0].Codes {
		events[level] += float64(d.Events[i])
		trials[level] += float64(d.Trials[i])
	}
	for level := range 500 {
		margin, ok := m.LevelMargin(0, level, nil)
		if !ok {
			t.Fatal(level)
		}
		near(t, "rate", margin.Rate, events[level]/trials[level], 1e-9)
	}
	for i, level := range d.Terms[0].Codes {
		if level == 7 || level == 300 {
			d.Events[i] = 0
		}
	}
	firth := fit(t, d, Options{})
	if len(firth.Separation.Levels) != 2 {
		t.Errorf("separation %+v", firth.Separation)
	}
	margin, _ := firth.LevelMargin(0, 300, nil)
	near(t, "rate without events", margin.Rate, 0.5/(trials[300]+1), 1e-8)
	for _, c := range []int{7, 300, 499} {
		if p := profileOf(t, firth, c); !(p.Lower < firth.Coefficients[c].Estimate && firth.Coefficients[c].Estimate < p.Upper) {
			t.Errorf("column %d: %+v", c, p)
		}
	}
}

// The margin at a value of a covariate is the mean of the predictions there.
func TestValueMargin(t *testing.T) {
	d := withCovariate(lots(80, 3))
	m := fit(t, d, Options{})
	want, trials := 0.0, 0.0
	for i, level := range d.Terms[0].Codes {
		rate, _, err := m.Predict([]At{{Level: level}, {Value: 305}})
		if err != nil {
			t.Fatal(err)
		}
		want += rate * float64(d.Trials[i])
		trials += float64(d.Trials[i])
	}
	margin, ok := m.ValueMargin(1, 305, nil)
	if !ok {
		t.Fatal("no margin")
	}
	near(t, "margin", margin.Rate, want/trials, 1e-10)
	alone := fit(t, Data{Family: Binomial, Events: d.Events, Trials: d.Trials, Terms: d.Terms[1:]}, Options{})
	margin, _ = alone.ValueMargin(0, 305, nil)
	rate, i, err := alone.Predict([]At{{Value: 305}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "rate", margin.Rate, rate, 1e-10)
	near(t, "lower", margin.Interval.Lower, i.Lower, 1e-9)
	near(t, "upper", margin.Interval.Upper, i.Upper, 1e-9)
}
