package analysis_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/stats"
)

// count makes a count with so many failures by galling among so many attempts.
func count(galled, attempts int64, values ...string) analysis.Count {
	c := analysis.Count{Values: values, Tightened: attempts - galled}
	c.Incidents[ledger.Galling] = galled
	return c
}

func near(got *float64, want float64) bool {
	return got != nil && math.Abs(*got-want) <= 1e-9*math.Max(math.Abs(want), 1e-3)
}

// R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, to 12
// digits as recomputed in the reference statistics, P01; Jeffreys' limits after
// Brown, Cai and DasGupta (2001), from the same place.
func TestRatesGiveThePublishedIntervals(t *testing.T) {
	for _, c := range []struct {
		failures, attempts int64
		method             stats.ProportionMethod
		lower, upper       float64
	}{
		{81, 263, stats.Wilson, 0.255288519878, 0.366209576983},
		{81, 263, stats.ClopperPearson, 0.252736745585, 0.367621922601},
		{81, 263, stats.Jeffreys, 0.254521934991, 0.365647499174},
		{15, 148, stats.Wilson, 0.0623863995307, 0.160487241723},
		{0, 20, stats.Wilson, 0, 0.161125158053},
		{0, 20, stats.ClopperPearson, 0, 0.168433470983},
		{0, 20, stats.Jeffreys, 0, 0.116638982905},
		{1, 29, stats.Wilson, 0.00611321429276, 0.171755218793},
	} {
		a, err := analysis.Rates([]analysis.Count{count(c.failures, c.attempts)}, analysis.RateOptions{Method: c.method, Confidence: 0.95})
		if err != nil {
			t.Fatal(err)
		}
		if len(a.Groups) != 0 {
			t.Errorf("%d/%d: %d groups; nothing was grouped by", c.failures, c.attempts, len(a.Groups))
		}
		g := a.Total
		if g.Failures != c.failures || g.Attempts != c.attempts || !g.DenominatorKnown ||
			!near(g.RatePer1000, 1000*float64(c.failures)/float64(c.attempts)) ||
			!near(g.LowerPer1000, 1000*c.lower) || !near(g.UpperPer1000, 1000*c.upper) {
			t.Errorf("%d/%d %v: %+v", c.failures, c.attempts, c.method, g)
		}
		if g.PValue != nil || g.PAdjusted != nil {
			t.Errorf("%d/%d: a p-value with nothing to compare with", c.failures, c.attempts)
		}
	}
}

// Convictions of like-sex twins: R. A. Fisher, J. Roy. Statist. Soc. A 125 (1962)
// 604-607, two-sided p as in the reference statistics, P08. With two groups
// both tests are the same one, and the adjustment leaves it as it is.
func TestRatesCompareEachGroupWithTheRest(t *testing.T) {
	a, err := analysis.Rates([]analysis.Count{count(2, 17, "dizygotic"), count(10, 13, "monozygotic")}, analysis.RateOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range a.Groups {
		if !near(g.PValue, 0.000536724119143) || !near(g.PAdjusted, 0.000536724119143) {
			t.Errorf("%v: p %v, adjusted %v", g.Values, *g.PValue, *g.PAdjusted)
		}
	}
	if a.Groups[0].Values[0] != "monozygotic" {
		t.Errorf("first is %v; expected the highest rate", a.Groups[0].Values)
	}
	if a.Total.Failures != 12 || a.Total.Attempts != 30 || a.Total.PValue != nil {
		t.Errorf("total %+v", a.Total)
	}
}

// Worked by hand. 9 of 30 failed, all in A: by the hypergeometric distribution
// p(A) = C(10,9)/C(30,9) = 10/14307150; p(B) = p(C) = (167960+22800+900+10) /
// 14307150, the outcomes 0, 7, 8 and 9 being no more probable than 0. Benjamini
// and Hochberg (1995) multiply the smallest by 3/1; the two equal ones keep
// the factor of the last rank, 3/3.
func TestRatesAdjustOverAllGroups(t *testing.T) {
	a, err := analysis.Rates([]analysis.Count{count(0, 10, "C"), count(9, 10, "A"), count(0, 10, "B")}, analysis.RateOptions{})
	if err != nil {
		t.Fatal(err)
	}
	want := []struct {
		name        string
		p, adjusted float64
	}{
		{"A", 10.0 / 14307150, 30.0 / 14307150},
		{"B", 191670.0 / 14307150, 191670.0 / 14307150},
		{"C", 191670.0 / 14307150, 191670.0 / 14307150},
	}
	for i, w := range want {
		g := a.Groups[i]
		if g.Values[0] != w.name || !near(g.PValue, w.p) || !near(g.PAdjusted, w.adjusted) {
			t.Errorf("group %d is %v with p %v, adjusted %v; expected %+v", i, g.Values, *g.PValue, *g.PAdjusted, w)
		}
	}
}

func TestRatesNameGroupsWithoutDenominator(t *testing.T) {
	lost := count(7, 7, "LOT-X", "none") // seven failures, nothing tightened
	a, err := analysis.Rates([]analysis.Count{lost, count(10, 1000, "LOT-A", "none"), count(20, 1000, "LOT-B", "")}, analysis.RateOptions{})
	if err != nil {
		t.Fatal(err)
	}
	last := a.Groups[len(a.Groups)-1]
	if last.Values[0] != "LOT-X" || last.DenominatorKnown || last.Failures != 7 ||
		last.RatePer1000 != nil || last.LowerPer1000 != nil || last.UpperPer1000 != nil || last.PValue != nil || last.PAdjusted != nil {
		t.Errorf("group without denominator: %+v", last)
	}
	if a.Total.Failures != 30 || a.Total.Attempts != 2000 {
		t.Errorf("total %+v; the group without denominator must be left out", a.Total)
	}
	if !mentions(a.Cautions, "LOT-X / none", "7 failures", "no rate") {
		t.Errorf("no caution names it: %q", a.Cautions)
	}
	if mentions(a.Cautions, "LOT-X", "Sparse") {
		t.Errorf("a group without a denominator is not judged as sparse: %q", a.Cautions)
	}

	a, err = analysis.Rates([]analysis.Count{count(7, 7)}, analysis.RateOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if a.Total.DenominatorKnown || a.Total.Failures != 7 || a.Total.RatePer1000 != nil || !mentions(a.Cautions, "7 failures", "no rate") {
		t.Errorf("ungrouped, without a denominator: %+v %q", a.Total, a.Cautions)
	}
}

// Smokers among patients in four studies: J. L. Fleiss, Statistical Methods for
// Rates and Proportions (1981) p. 139; the least expected count is 5.16
// (reference statistics, P10), so the rule of five must not fire. It must for
// Fisher's tea table (P08), where all four are 2.
func TestSparseGroupsAreNamedByTheRuleOfFive(t *testing.T) {
	smokers := []analysis.Count{count(83, 86, "1"), count(90, 93, "2"), count(129, 136, "3"), count(70, 82, "4")}
	tea := []analysis.Count{count(3, 4, "milk"), count(1, 4, "tea")}
	for _, c := range []struct {
		counts []analysis.Count
		sparse bool
	}{{smokers, false}, {tea, true}} {
		a, err := analysis.Rates(c.counts, analysis.RateOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if got := mentions(a.Cautions, "Sparse"); got != c.sparse {
			t.Errorf("%v: sparse %v, expected %v: %q", c.counts[0].Values, got, c.sparse, a.Cautions)
		}
	}
	a, err := analysis.Rates(tea, analysis.RateOptions{})
	if err != nil || !mentions(a.Cautions, "milk, tea", "Cochran") {
		t.Errorf("%q %v", a.Cautions, err)
	}
}

func TestAttemptsAreTheSameForEveryKind(t *testing.T) {
	c := analysis.Count{Values: []string{"RVB"}, Tightened: 90}
	c.Incidents[ledger.Galling], c.Incidents[ledger.CrossedThread], c.Incidents[ledger.Leak] = 4, 6, 200
	for _, tc := range []struct {
		kinds    []ledger.IncidentKind
		failures int64
		limits   bool
		caution  string
	}{
		{nil, 10, true, ""},
		{[]ledger.IncidentKind{ledger.Galling}, 4, true, ""},
		{[]ledger.IncidentKind{ledger.SealGap}, 0, true, "Not a thread failure: seal-gap"},
		{[]ledger.IncidentKind{ledger.Leak}, 200, false, "More failures than attempts"},
	} {
		a, err := analysis.Rates([]analysis.Count{c}, analysis.RateOptions{Kinds: tc.kinds})
		if err != nil {
			t.Fatal(err)
		}
		g := a.Groups[0]
		if g.Attempts != 100 || g.Failures != tc.failures || !near(g.RatePer1000, 10*float64(tc.failures)) || (g.LowerPer1000 != nil) != tc.limits || (g.UpperPer1000 != nil) != tc.limits {
			t.Errorf("%v: %+v", tc.kinds, g)
		}
		if tc.caution != "" && !mentions(a.Cautions, tc.caution) {
			t.Errorf("%v: no caution %q in %q", tc.kinds, tc.caution, a.Cautions)
		}
	}
}

func TestRatesSortAndSkip(t *testing.T) {
	onlyLeaks := analysis.Count{Values: []string{"Z", "z"}}
	onlyLeaks.Incidents[ledger.Leak] = 3
	a, err := analysis.Rates([]analysis.Count{
		onlyLeaks, count(2, 200, "B", "b"), count(1, 1, "Y", "y"), count(1, 100, "A", "c"), count(1, 100, "A", "a"), count(5, 100, "C", "a"),
	}, analysis.RateOptions{})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, g := range a.Groups {
		got = append(got, strings.Join(g.Values, "/"))
	}
	// Leaks alone are neither failures nor attempts of this question.
	if d := cmp.Diff([]string{"C/a", "A/a", "A/c", "B/b", "Y/y"}, got); d != "" {
		t.Error(d)
	}
	if !slices.Contains(a.Cautions, "Fasteners of one joint are not independent of each other: they share lot, tool, hands and weather. Intervals and p-values take them as independent, and are too narrow where failures come in clusters.") {
		t.Errorf("the dependence of fasteners in a joint is not mentioned: %q", a.Cautions)
	}
}

func TestRatesOfNothingAndBadOptions(t *testing.T) {
	a, err := analysis.Rates(nil, analysis.RateOptions{})
	if err != nil || len(a.Groups) != 0 || a.Total.DenominatorKnown || a.Total.RatePer1000 != nil {
		t.Errorf("%+v %v", a, err)
	}
	for _, o := range []analysis.RateOptions{{Confidence: 1}, {Confidence: math.NaN()}, {Method: 99}} {
		var bad *stats.ArgumentError
		if _, err := analysis.Rates(nil, o); !errors.As(err, &bad) {
			t.Errorf("%+v: %v", o, err)
		}
	}
}

// mentions says whether one of the cautions has all the parts.
func mentions(cautions []string, parts ...string) bool {
	return slices.ContainsFunc(cautions, func(c string) bool {
		return !slices.ContainsFunc(parts, func(p string) bool { return !strings.Contains(c, p) })
	})
}
