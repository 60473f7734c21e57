package analysis_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"jointledger/internal/analysis"
	"jointledger/internal/regression"
	"jointledger/internal/stats"
)

func words(name string, v ...string) analysis.ModelColumn {
	return analysis.ModelColumn{Name: name, Words: v}
}

func numbers(name string, v ...float64) analysis.ModelColumn {
	return analysis.ModelColumn{Name: name, Numbers: v}
}

func modelOf(t *testing.T, o analysis.ModelOptions, columns ...analysis.ModelColumn) analysis.ModelAnswer {
	t.Helper()
	a, err := analysis.Model(analysis.ModelTable{Columns: columns}, o)
	if err != nil {
		t.Fatal(err)
	}
	// JSON has no NaN and no infinity: what can be written has none.
	if _, err := json.Marshal(a); err != nil {
		t.Errorf("the answer cannot be written: %v", err)
	}
	return a
}

func caution(a analysis.ModelAnswer, part string) bool {
	return slices.ContainsFunc(a.Cautions, func(c string) bool { return strings.Contains(c, part) })
}

// The ships of McCullagh and Nelder (1989), section 6.3.2, to twelve digits by R
// 4.2.2 in the reference statistics, P19.
var ships = []analysis.ModelColumn{
	words("type", strings.Fields("A A A A A A A B B B B B B B C C C C C C C D D D D D D D E E E E E E")...),
	words("year", strings.Fields("60 60 65 65 70 70 75 60 60 65 65 70 70 75 60 60 65 65 70 70 75 60 60 65 65 70 70 75 60 65 65 70 70 75")...),
	words("period", strings.Fields("60 75 60 75 60 75 75 60 75 60 75 60 75 75 60 75 60 75 60 75 75 60 75 60 75 60 75 75 60 60 75 60 75 75")...),
	words("service", strings.Fields("127 63 1095 1095 1512 3353 2244 44882 17176 28609 20370 7064 13099 7117 1179 552 781 676 783 1948 274 251 105 288 192 349 1208 2051 45 789 437 1157 2161 542")...),
	words("incidents", strings.Fields("0 0 3 4 6 18 11 39 29 58 53 12 44 18 1 1 0 1 6 2 1 0 0 0 0 2 11 4 0 7 7 5 12 1")...),
}

func shipOptions() analysis.ModelOptions {
	return analysis.ModelOptions{Family: analysis.PoissonModel, Failures: "incidents", Exposure: "service",
		Terms: []analysis.ModelTerm{{Column: "type", Reference: "A"}, {Column: "year", Reference: "60"}, {Column: "period", Reference: "60"}}}
}

func TestModelOfShips(t *testing.T) {
	a := modelOf(t, shipOptions(), ships...)
	if a.Penalised || a.RatioName != "rate ratio" || a.Rows != 34 || a.Fit.DegreesOfFreedom != 25 {
		t.Errorf("%+v", a)
	}
	if !near(a.Fit.Dispersion, 1.69101012478) || math.Abs(a.Fit.Deviance-38.6950515356) > 1e-8 || math.Abs(a.Fit.LogLikelihood+68.2807714296) > 1e-8 {
		t.Errorf("fit %+v", a.Fit)
	}
	typ := a.Terms[0]
	if typ.Reference != "A" || math.Abs(typ.Test.Statistic-23.6702892479) > 1e-8 || !near(&typ.Test.PValue, 9.29956777461e-05) || typ.Test.DegreesOfFreedom != 4 {
		t.Errorf("type: %+v, test %+v", typ, typ.Test)
	}
	for k, want := range []float64{-0.543344301194, -0.68740164745, -0.0759614218771, 0.325579456224} {
		c := typ.Coefficients[k]
		if c.Level != string(rune('B'+k)) || !near(c.Estimate, want) || !near(c.Ratio, math.Exp(want)) ||
			!(c.Profile.Lower < *c.Ratio && *c.Ratio < c.Profile.Upper) || *c.PAdjusted < *c.PValue {
			t.Errorf("%+v, want %g", c, want)
		}
	}
	if !caution(a, "Pearson's dispersion 1.69") || !strings.HasPrefix(a.Headline, "Type matters with year, period allowed for") {
		t.Errorf("headline %q, cautions %q", a.Headline, a.Cautions)
	}
	o := shipOptions()
	o.UseDispersion = true
	b := modelOf(t, o, ships...)
	if !near(b.Terms[0].Coefficients[0].StandardError, 0.177589907362*math.Sqrt(1.69101012478)) || !b.Fit.DispersionUsed {
		t.Errorf("with the dispersion: %+v", b.Terms[0].Coefficients[0])
	}
}

// A single factor says what the table says: odds ratios are cross products, and
// predicted rates those on record. The reference is the level with most attempts.
func TestModelOfASingleFactor(t *testing.T) {
	a := modelOf(t, analysis.ModelOptions{Attempts: "attempts", Terms: []analysis.ModelTerm{{Column: "lot"}}},
		words("lot", "A", "B", "B", "C", "E"), numbers("failures", 4, 6, 3, 2, 0), numbers("attempts", 100, 150, 150, 80, 0))
	term := a.Terms[0]
	if term.Reference != "B" || len(term.Rates) != 3 || a.RowsLeftOut != 1 || !caution(a, "With them go lot E") {
		t.Fatalf("%+v, cautions %q", term, a.Cautions)
	}
	if !near(term.Coefficients[0].Ratio, 4.0/96/(9.0/291)) || !near(term.Coefficients[1].Ratio, 2.0/78/(9.0/291)) {
		t.Errorf("ratios %v, %v", *term.Coefficients[0].Ratio, *term.Coefficients[1].Ratio)
	}
	for _, r := range term.Rates {
		if !near(r.Per1000, *r.CrudePer1000) || !(r.IntervalPer1000.Lower < *r.Per1000 && *r.Per1000 < r.IntervalPer1000.Upper) {
			t.Errorf("%+v", r)
		}
	}
	if !strings.HasPrefix(a.Headline, "No effect of lot is shown") || !caution(a, "Only 15 of the rarer outcome") || !caution(a, "No cluster was named") {
		t.Errorf("headline %q, cautions %q", a.Headline, a.Cautions)
	}
}

// Leaks against the temperature of the surface: the odds ratio for each 5 degrees
// is the fifth power of that for one.
func TestModelOfACovariate(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	var leaks, temperature []float64
	for range 300 {
		x := 5 + 20*r.Float64()
		leak := 0.0
		if r.Float64() < 1/(1+math.Exp(1-0.2*(15-x))) {
			leak = 1
		}
		leaks, temperature = append(leaks, leak), append(temperature, x)
	}
	o := analysis.ModelOptions{Failures: "leaks", Terms: []analysis.ModelTerm{{Column: "temperature", Covariate: true, At: []float64{10, 40}}}}
	one := modelOf(t, o, numbers("leaks", leaks...), numbers("temperature", temperature...)).Terms[0].Coefficients[0]
	o.Terms[0].Per = 5
	a := modelOf(t, o, numbers("leaks", leaks...), numbers("temperature", temperature...))
	five := a.Terms[0].Coefficients[0]
	if !near(five.Ratio, math.Pow(*one.Ratio, 5)) || math.Abs(five.Profile.Upper-math.Pow(one.Profile.Upper, 5)) > 1e-9 || *five.Ratio >= 1 {
		t.Errorf("%+v and %+v", one, five)
	}
	if !caution(a, "temperature 40 (on record: 5") || !strings.HasPrefix(a.Headline, "Temperature matters (likelihood-ratio test, p below 0.001): odds ratio") {
		t.Errorf("headline %q, cautions %q", a.Headline, a.Cautions)
	}
	o.Terms[0].At = nil
	if rates := modelOf(t, o, numbers("leaks", leaks...), numbers("temperature", temperature...)).Terms[0].Rates; len(rates) != 5 ||
		rates[0].Value != slices.Min(temperature) || rates[4].Value != slices.Max(temperature) || *rates[0].Per1000 <= *rates[4].Per1000 {
		t.Errorf("rates %+v", rates)
	}
}

func TestModelUnderSeparation(t *testing.T) {
	a := modelOf(t, analysis.ModelOptions{Attempts: "attempts", Terms: []analysis.ModelTerm{{Column: "lot"}}},
		words("lot", "A", "B", "C"), numbers("failures", 9, 0, 7), numbers("attempts", 400, 200, 300))
	b := a.Terms[0].Coefficients[0]
	if !a.Penalised || !strings.Contains(a.PenaltyReason, "lot B (no failure)") || b.Level != "B" ||
		!near(b.Ratio, 0.5/200.5/(9.5/391.5)) || b.Profile == nil || b.Profile.Upper >= 1 {
		t.Errorf("%+v, reason %q", b, a.PenaltyReason)
	}
	perfect := modelOf(t, analysis.ModelOptions{Terms: []analysis.ModelTerm{{Column: "x", Covariate: true}}},
		numbers("failures", 0, 0, 0, 1, 1, 1), numbers("x", 1, 2, 3, 4, 5, 6))
	if !perfect.Penalised || !strings.Contains(perfect.PenaltyReason, "separate on x") {
		t.Errorf("reason %q", perfect.PenaltyReason)
	}
	_, err := analysis.Model(analysis.ModelTable{Columns: []analysis.ModelColumn{numbers("failures", 0, 0, 1, 1), numbers("x", 1, 2, 3, 4)}},
		analysis.ModelOptions{Penalty: regression.Never, Terms: []analysis.ModelTerm{{Column: "x", Covariate: true}}})
	var separation *regression.SeparationError
	if !errors.As(err, &separation) {
		t.Errorf("error %v", err)
	}
}

// Joints that fail as a whole: the design effect of rows that are all alike
// within their joint is near the number of rows in it, and the robust interval
// wider.
func TestModelAllowsForClusters(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	var failures, attempts []float64
	var lot, joint []string
	for j := range 200 {
		failed := 0.0
		if r.Float64() < 0.3 {
			failed = 1
		}
		for range 8 {
			failures, attempts = append(failures, failed), append(attempts, 1)
			lot, joint = append(lot, string(rune('A'+j%2))), append(joint, fmt.Sprint(j))
		}
	}
	columns := []analysis.ModelColumn{numbers("failures", failures...), numbers("attempts", attempts...), words("lot", lot...), words("joint", joint...)}
	a := modelOf(t, analysis.ModelOptions{Attempts: "attempts", Cluster: "joint", Terms: []analysis.ModelTerm{{Column: "lot"}}}, columns...)
	c := a.Terms[0].Coefficients[0]
	// All of a joint fail or none: the sandwich is 8 times the binomial variance,
	// times 200/199 for the clusters.
	if a.Clusters != 200 || !near(c.DesignEffect, 8*200.0/199) || c.Robust.Lower >= c.Wald.Lower || c.Robust.Upper <= c.Wald.Upper {
		t.Errorf("%d clusters, %+v, design effect %v", a.Clusters, c, *c.DesignEffect)
	}
	if a.Terms[0].RobustTest == nil || !strings.Contains(a.Headline, "allows for the joint") || caution(a, "No cluster was named") {
		t.Errorf("headline %q, cautions %q", a.Headline, a.Cautions)
	}
	// All of lot B in one joint: no variation to judge it by.
	for i := range joint {
		if lot[i] == "B" {
			joint[i] = "the same"
		}
	}
	b := modelOf(t, analysis.ModelOptions{Attempts: "attempts", Cluster: "joint", Terms: []analysis.ModelTerm{{Column: "lot", Reference: "A"}}}, columns...)
	if c := b.Terms[0].Coefficients[0]; c.Robust != nil || c.RobustP != nil || c.Note == "" || b.Terms[0].RobustTest != nil || !caution(b, "In a single joint each: lot B") {
		t.Errorf("%+v, cautions %q", c, b.Cautions)
	}
	if !strings.Contains(b.Headline, "cannot be said") {
		t.Errorf("headline %q", b.Headline)
	}
}

func TestModelNamesWhatCannotBeToldApart(t *testing.T) {
	a := modelOf(t, analysis.ModelOptions{Attempts: "attempts", Terms: []analysis.ModelTerm{{Column: "region", Reference: "N"}, {Column: "site", Reference: "A"}}},
		words("region", "N", "N", "S", "S"), words("site", "A", "B", "C", "D"), numbers("failures", 3, 5, 8, 9), numbers("attempts", 99, 99, 99, 99))
	site := a.Terms[1].Coefficients[2]
	if site.Level != "D" || site.Estimate != nil || site.Note != "It is made up by region S, site C, so it has no figure of its own." ||
		!caution(a, "make them up: site D") || a.Terms[0].Rates[0].Per1000 != nil {
		t.Errorf("%+v, cautions %q", site, a.Cautions)
	}
}

// The order of rows and the name of the reference change no test and no rate.
func TestModelDoesNotKnowOrderOrReference(t *testing.T) {
	a := modelOf(t, shipOptions(), ships...)
	var turned []analysis.ModelColumn
	for _, c := range ships {
		c.Words = slices.Clone(c.Words)
		slices.Reverse(c.Words)
		turned = append(turned, c)
	}
	o := shipOptions()
	o.Terms[0].Reference = "C"
	b := modelOf(t, o, turned...)
	for k := range a.Terms {
		if !near(&b.Terms[k].Test.Statistic, a.Terms[k].Test.Statistic) {
			t.Errorf("%+v and %+v", a.Terms[k].Test, b.Terms[k].Test)
		}
		for i := range a.Terms[k].Rates {
			if !near(b.Terms[k].Rates[i].Per1000, *a.Terms[k].Rates[i].Per1000) || b.Terms[k].Rates[i].Level != a.Terms[k].Rates[i].Level {
				t.Errorf("%+v and %+v", a.Terms[k].Rates[i], b.Terms[k].Rates[i])
			}
		}
	}
}

// Many lots, many of them without any failure, are answered; internal/regression
// tries five hundred.
func TestModelOfManyLots(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 3))
	var lot []string
	var failures, attempts []float64
	for i := range 450 {
		lot = append(lot, fmt.Sprintf("L%03d", i%150))
		attempts = append(attempts, 100)
		failures = append(failures, float64(r.IntN(3)*r.IntN(2)))
	}
	a := modelOf(t, analysis.ModelOptions{Attempts: "attempts", Terms: []analysis.ModelTerm{{Column: "lot"}}},
		words("lot", lot...), numbers("failures", failures...), numbers("attempts", attempts...))
	if !a.Penalised || len(a.Terms[0].Coefficients) != 149 || a.Terms[0].Test == nil || !strings.Contains(a.PenaltyReason, "more") {
		t.Errorf("%q, %d coefficients", a.PenaltyReason, len(a.Terms[0].Coefficients))
	}
	for _, c := range a.Terms[0].Coefficients {
		if c.Profile == nil || !(c.Profile.Lower < *c.Ratio && *c.Ratio < c.Profile.Upper) {
			t.Fatalf("%+v", c)
		}
	}
}

func TestModelRefusesWithASentence(t *testing.T) {
	lot := []analysis.ModelTerm{{Column: "lot"}}
	failures, attempts := numbers("failures", 1, 2), numbers("attempts", 10, 10)
	two := words("lot", "A", "B")
	for _, c := range []struct {
		options  analysis.ModelOptions
		columns  []analysis.ModelColumn
		sentence string
	}{
		{analysis.ModelOptions{}, nil, "terms is empty, but must name at least one column"},
		{analysis.ModelOptions{Terms: lot, Family: 7}, nil, "family is 7, but must be logistic or poisson"},
		{analysis.ModelOptions{Terms: lot, Attempts: "attempts"}, []analysis.ModelColumn{failures, attempts}, `term is "lot", but must be a column of the table: failures, attempts`},
		{analysis.ModelOptions{Terms: lot, Attempts: "tries"}, []analysis.ModelColumn{failures, two}, `attempts is "tries", but must be a column of the table: failures, lot`},
		{analysis.ModelOptions{Terms: lot}, []analysis.ModelColumn{two}, `failures is "failures", but must be a column of the table: lot`},
		{analysis.ModelOptions{Terms: lot, Attempts: "attempts"}, []analysis.ModelColumn{failures, attempts, words("lot", "A", "A")}, `lot is "A" in every row that counts, but a factor needs at least two levels to compare`},
		{analysis.ModelOptions{Terms: lot, Attempts: "attempts"}, []analysis.ModelColumn{numbers("failures", 1, 11), attempts, two}, "failures of row 2 is 11, but must be at most the row's attempts, 10"},
		{analysis.ModelOptions{Terms: lot, Attempts: "attempts"}, []analysis.ModelColumn{words("failures", "1", "2.5"), attempts, two}, "failures of row 2 is \"2.5\", but must be a whole number from 0 to 1099511627776"},
		{analysis.ModelOptions{Terms: lot, Attempts: "attempts"}, []analysis.ModelColumn{words("failures", "1", "many"), attempts, two}, `failures of row 2 is "many", but must be a whole number from 0 to 1099511627776`},
		{analysis.ModelOptions{Terms: lot, Attempts: "attempts"}, []analysis.ModelColumn{numbers("failures", 0, 0), attempts, two}, "failures is 0 in every row, but at least one is needed: without any there is nothing to explain; ask for the rate and its upper limit instead"},
		{analysis.ModelOptions{Terms: lot, Attempts: "attempts"}, []analysis.ModelColumn{numbers("failures", 10, 10), attempts, two}, "failures is every attempt, but at least one must have gone well: otherwise there is nothing to explain; ask for the rate and its lower limit instead"},
		{analysis.ModelOptions{Terms: lot, Attempts: "attempts"}, []analysis.ModelColumn{numbers("failures", 0, 0), numbers("attempts", 0, 0), two}, "rows is 0, but must have at least one with attempts or exposure"},
		{analysis.ModelOptions{Terms: []analysis.ModelTerm{{Column: "lot", Reference: "X"}}, Attempts: "attempts"}, []analysis.ModelColumn{failures, attempts, two}, `reference of lot is "X", but must be a level with attempts or exposure: A, B`},
		{analysis.ModelOptions{Terms: []analysis.ModelTerm{{Column: "lot", Covariate: true}}, Attempts: "attempts"}, []analysis.ModelColumn{failures, attempts, two}, `lot of row 1 is "A", but must be a number from -1e100 to 1e100`},
		{analysis.ModelOptions{Terms: []analysis.ModelTerm{{Column: "t", Covariate: true}}, Attempts: "attempts"}, []analysis.ModelColumn{failures, attempts, numbers("t", 3, 3)}, "t is 3 in every row, but a covariate must take at least two values"},
		{analysis.ModelOptions{Terms: []analysis.ModelTerm{{Column: "lot"}, {Column: "lot"}}}, []analysis.ModelColumn{failures, two}, `term is "lot", but must be another column: that is a term already`},
		{analysis.ModelOptions{Terms: lot, Attempts: "attempts", Cluster: "joint"}, []analysis.ModelColumn{failures, attempts, two}, `cluster is "joint", but must be a column of the table: failures, attempts, lot`},
		{analysis.ModelOptions{Terms: lot, Attempts: "attempts"}, []analysis.ModelColumn{failures, attempts, words("lot", "A")}, "length of lot is 1, but must be that of failures, 2"},
		{analysis.ModelOptions{Terms: lot, Attempts: "attempts", Confidence: 95}, []analysis.ModelColumn{failures, attempts, two}, "confidence is 95, but must lie between 0 and 1, both excluded"},
		{analysis.ModelOptions{Terms: lot, Family: analysis.PoissonModel, Exposure: "hours"}, []analysis.ModelColumn{failures, numbers("hours", 1, -1), two}, "hours of row 2 is -1, but must be 0 or lie between 1e-15 and 1e15"},
		{analysis.ModelOptions{Terms: lot, Family: analysis.PoissonModel, Exposure: "hours"}, []analysis.ModelColumn{failures, numbers("hours", 1, 0), two}, "failures of row 2 is 2, but must be 0 where the exposure is 0"},
	} {
		_, err := analysis.Model(analysis.ModelTable{Columns: c.columns}, c.options)
		var argument *stats.ArgumentError
		if !errors.As(err, &argument) || argument.Error() != c.sentence {
			t.Errorf("error %v, want %q", err, c.sentence)
		}
	}
}

// Where nothing failed the sandwich has next to no residuals to go by, and would
// claim a precision that 0 of 200 does not have: no interval by cluster is given.
func TestModelClustersUnderSeparation(t *testing.T) {
	var lot, joint []string
	var failures, attempts []float64
	for j := range 60 {
		name, failed := "A", float64(j%4/3)
		if j >= 40 {
			name, failed = "B", 0
		}
		lot, joint = append(lot, name), append(joint, fmt.Sprint(j))
		failures, attempts = append(failures, failed), append(attempts, 10)
	}
	a := modelOf(t, analysis.ModelOptions{Attempts: "attempts", Cluster: "joint", Terms: []analysis.ModelTerm{{Column: "lot", Reference: "A"}}},
		words("lot", lot...), words("joint", joint...), numbers("failures", failures...), numbers("attempts", attempts...))
	c, rate := a.Terms[0].Coefficients[0], a.Terms[0].Rates[1]
	if c.Level != "B" || c.Robust != nil || c.RobustP != nil || c.Profile == nil || c.Note == "" || a.Terms[0].RobustTest != nil {
		t.Errorf("%+v", c)
	}
	// 0 of 200: the exact one-sided 95 % limit is 1 − 0.05^(1/200) (Hanley and
	// Lippman-Hand 1983), 14.9 per 1,000; an interval far below claims too much.
	if rate.Level != "B" || rate.RobustIntervalPer1000 != nil || rate.IntervalPer1000.Upper < 1000*(1-math.Pow(0.05, 1.0/200)) {
		t.Errorf("%+v, %+v", rate, rate.IntervalPer1000)
	}
	if other := a.Terms[0].Rates[0]; other.RobustIntervalPer1000 == nil {
		t.Errorf("%+v", other)
	}
	if !strings.Contains(a.Headline, "does not allow for the joint") {
		t.Error(a.Headline)
	}
}

// A term that others make up is not said to have been allowed for.
func TestModelHeadlineLeavesOutAliased(t *testing.T) {
	a := modelOf(t, analysis.ModelOptions{Terms: []analysis.ModelTerm{{Column: "lot"}, {Column: "site"}}},
		words("lot", "A", "B", "A", "B", "A", "B"), words("site", "P", "Q", "P", "Q", "P", "Q"), numbers("failures", 1, 0, 1, 0, 0, 1))
	if strings.Contains(a.Headline, "allowed for") {
		t.Error(a.Headline)
	}
}

// A limit just above 1 is not written as 1: it would seem that no effect is among what
// the data allow, beside a test that says otherwise.
func TestModelWritesALimitNearOne(t *testing.T) {
	o := analysis.ModelOptions{Attempts: "attempts", Terms: []analysis.ModelTerm{{Column: "x", Covariate: true}}}
	columns := []analysis.ModelColumn{numbers("failures", 400, 500, 590), numbers("attempts", 1000, 1000, 1000), numbers("x", 0, 100, 200)}
	a := modelOf(t, o, columns...)
	c := a.Terms[0].Coefficients[0]
	if c.Profile.Lower <= 1 || c.Profile.Upper >= 1.005 {
		t.Fatalf("the interval %+v does not test this", c.Profile)
	}
	var ratio, lower, upper float64
	_, figures, _ := strings.Cut(a.Headline, "odds ratio ")
	if n, err := fmt.Sscanf(figures, "%g for each 1 more, interval %g to %g at", &ratio, &lower, &upper); n != 3 || err != nil {
		t.Fatalf("%s: %v", a.Headline, err)
	}
	for k, pair := range [][2]float64{{ratio, *c.Ratio}, {lower, c.Profile.Lower}, {upper, c.Profile.Upper}} {
		if pair[0] == 1 || math.Abs(pair[0]-pair[1]) > 0.005*(pair[1]-1) {
			t.Errorf("%d: wrote %v for %v", k, pair[0], pair[1])
		}
	}
}
