package analysis_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/stats"
)

func standingCell(unit string, failures, attempts int64, stratum ...string) analysis.StandingCell {
	return analysis.StandingCell{Unit: unit, Stratum: stratum, Failures: failures, Attempts: attempts}
}

func mustStand(t *testing.T, cells []analysis.StandingCell, o analysis.StandingOptions) analysis.StandingAnswer {
	t.Helper()
	a, err := analysis.Standing(cells, o)
	if err != nil {
		t.Fatal(err)
	}
	standingOnlyFinite(t, reflect.ValueOf(a))
	return a
}

// standingOnlyFinite fails the test for any NaN or infinity in the value.
func standingOnlyFinite(t *testing.T, v reflect.Value) {
	t.Helper()
	switch v.Kind() {
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			t.Errorf("%v in an answer", f)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			standingOnlyFinite(t, v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				standingOnlyFinite(t, v.Field(i))
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			standingOnlyFinite(t, v.Index(i))
		}
	case reflect.String:
		if s := v.String(); strings.Contains(s, "NaN") || strings.Contains(s, "Inf") || strings.Contains(s, "%!") {
			t.Errorf("in an answer: %s", s)
		}
	}
}

func standingUnit(t *testing.T, a analysis.StandingAnswer, name string) analysis.StandingUnit {
	t.Helper()
	i := slices.IndexFunc(a.Units, func(u analysis.StandingUnit) bool { return u.Unit == name })
	if i < 0 {
		t.Fatalf("no unit %s", name)
	}
	return a.Units[i]
}

func standingWantCaution(t *testing.T, cautions []string, part string) {
	t.Helper()
	if !slices.ContainsFunc(cautions, func(c string) bool { return strings.Contains(c, part) }) {
		t.Errorf("no caution says %q:\n%s", part, strings.Join(cautions, "\n"))
	}
}

// misleading is worked by hand. The bad lot fails at 100/1000, the good one at
// 10/1000. North has most of the bad lot and expects 900·0.1 + 100·0.01 = 91,
// has 73; South expects 100·0.1 + 900·0.01 = 19, has 37.
func misleading() []analysis.StandingCell {
	return []analysis.StandingCell{
		standingCell("North", 72, 900, "bad"), standingCell("North", 1, 100, "good"),
		standingCell("South", 28, 100, "bad"), standingCell("South", 9, 900, "good"),
	}
}

func TestStandingAllowsForTheMix(t *testing.T) {
	a := mustStand(t, misleading(), analysis.StandingOptions{Unit: "site", Mix: []string{"lot"}})
	north, south := standingUnit(t, a, "North"), standingUnit(t, a, "South")
	if math.Abs(north.Expected-91) > 1e-9 || math.Abs(south.Expected-19) > 1e-9 ||
		!near(north.Ratio, 73.0/91) || !near(south.Ratio, 37.0/19) {
		t.Errorf("expected %g and %g, ratios %g and %g", north.Expected, south.Expected, *north.Ratio, *south.Ratio)
	}
	if north.CrudeRank != 1 || south.CrudeRank != 2 || north.StandardisedRank != 2 || south.StandardisedRank != 1 || a.Units[0].Unit != "South" {
		t.Errorf("ranks: North %d and %d, South %d and %d", north.CrudeRank, north.StandardisedRank, south.CrudeRank, south.StandardisedRank)
	}
	if a.Failures != 110 || a.Attempts != 2000 || !near(a.RatePer1000, 55) {
		t.Errorf("total %d of %d", a.Failures, a.Attempts)
	}
	want := "Crude and standardised order differ: North has the highest crude rate (73.0 per 1,000), but for its mix of lots 91.0 failures were to be expected and 73 came (ratio 0.80); South is worst at equal mix (37.0 per 1,000; 37 failures, 19.0 expected, ratio 1.95, 95 % interval 1.37 to 2.68)."
	if diff := cmp.Diff(want, a.Headlines[0]); diff != "" {
		t.Error(diff)
	}
	standingWantCaution(t, a.Cautions, "Only 2 sites are compared")
}

// The ratio of 4 observed to 3.3 expected, with exact limits: reference
// statistics, P26. One hundredth of all attempts failed, and A had 330.
func TestStandingGivesThePublishedLimits(t *testing.T) {
	a := mustStand(t, []analysis.StandingCell{standingCell("A", 4, 330), standingCell("B", 96, 9670)}, analysis.StandingOptions{})
	u := standingUnit(t, a, "A")
	if math.Abs(*u.Ratio-1.21212121212) > 1e-9 || math.Abs(*u.RatioLower-0.330262234432) > 1e-9 || math.Abs(*u.RatioUpper-3.10351171982) > 1e-9 {
		t.Errorf("%g, %g to %g", *u.Ratio, *u.RatioLower, *u.RatioUpper)
	}
	// Wilson's interval of 15 in 148: Newcombe (1998), reference statistics, P01.
	a = mustStand(t, []analysis.StandingCell{standingCell("A", 15, 148), standingCell("B", 96, 9670)}, analysis.StandingOptions{})
	u = standingUnit(t, a, "A")
	if math.Abs(u.LowerPer1000-62.3863995307) > 1e-7 || math.Abs(u.UpperPer1000-160.487241723) > 1e-7 {
		t.Errorf("crude limits %g to %g", u.LowerPer1000, u.UpperPer1000)
	}
}

// Twenty sites are alike, one fails four times as often: it stands out, alone.
func TestStandingFindsTheOneThatStandsOut(t *testing.T) {
	var cells []analysis.StandingCell
	for i := range 20 {
		cells = append(cells, standingCell(fmt.Sprintf("S%02d", i), int64(8+i%5), 1000))
	}
	cells = append(cells, standingCell("BAD", 40, 1000))
	a := mustStand(t, cells, analysis.StandingOptions{Unit: "site", LimitPer1000: 20})
	for _, u := range a.Units {
		if u.StandsOut() != (u.Unit == "BAD") || (u.Sentence != "") != (u.Unit == "BAD") {
			t.Errorf("%s: %v, %q", u.Unit, u.Band, u.Sentence)
		}
		if lower, upper := *u.ShrunkLower, *u.ShrunkUpper; !(lower < *u.ShrunkRatio && *u.ShrunkRatio < upper) {
			t.Errorf("%s: shrunk %g, %g to %g", u.Unit, *u.ShrunkRatio, lower, upper)
		}
		// Shrinkage draws towards the middle.
		if math.Abs(*u.ShrunkRatio-1) > math.Abs(*u.Ratio-1)+0.05 {
			t.Errorf("%s: shrunk from %g to %g", u.Unit, *u.Ratio, *u.ShrunkRatio)
		}
	}
	bad := a.Units[0]
	if bad.Unit != "BAD" || bad.Band != analysis.AboveThreeSigma || bad.RankLower != 1 || bad.RankUpper != 1 ||
		*bad.AboveRatioLimit < 0.99 || *bad.AbovePer1000 < 0.97 || *bad.PAdjusted > 0.001 {
		t.Errorf("%+v", bad)
	}
	for _, part := range []string{"BAD: 40 failures where", "above the 3-sigma limit", "rank 1 to 1 of 21"} {
		if !strings.Contains(bad.Sentence, part) {
			t.Errorf("%q is not in: %s", part, bad.Sentence)
		}
	}
	if !strings.Contains(strings.Join(a.Headlines, " "), "Worse than chance and mix explain (outside 2 sigma): BAD.") {
		t.Errorf("headlines: %q", a.Headlines)
	}
}

// Neither the order nor the grain of the cells matters, and a seed gives the
// same ranks again.
func TestStandingIsReproducible(t *testing.T) {
	o := analysis.StandingOptions{Seed: 9}
	want := mustStand(t, misleading(), o)
	cells := misleading()
	slices.Reverse(cells)
	last := &cells[len(cells)-1]
	last.Failures, last.Attempts = last.Failures-10, last.Attempts-200
	cells = append(cells, standingCell(last.Unit, 10, 200, last.Stratum...))
	if diff := cmp.Diff(want, mustStand(t, cells, o)); diff != "" {
		t.Errorf("other order (-want +got):\n%s", diff)
	}
}

// With nothing but chance, and no over-dispersion to allow for, 2-sigma limits
// leave out about 4.6 % of sites; winsorising may only widen them.
func TestStandingSeldomCriesWolf(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 8))
	outside, all := 0, 0
	for range 10 {
		var cells []analysis.StandingCell
		for i := range 60 {
			n := int64(200 + random.IntN(1500))
			var failures int64
			for range n {
				if random.Float64() < 0.02 {
					failures++
				}
			}
			cells = append(cells, standingCell(fmt.Sprint(i), failures, n))
		}
		for _, u := range mustStand(t, cells, analysis.StandingOptions{}).Units {
			if all++; u.StandsOut() {
				outside++
			}
		}
	}
	// Three standard errors of 600 draws are 2.6 %.
	if share := float64(outside) / float64(all); share < 0.015 || share > 0.072 {
		t.Errorf("%.3f stand out by chance", share)
	}
}

func TestStandingOfUnitsThatAreTheirStrata(t *testing.T) {
	a := mustStand(t, []analysis.StandingCell{
		standingCell("LOT-A", 3, 100, "LOT-A"), standingCell("LOT-B", 9, 100, "LOT-B"), standingCell("LOT-C", 0, 100, "LOT-C"),
	}, analysis.StandingOptions{Unit: "lot"})
	for _, u := range a.Units {
		if u.Ratio != nil || u.PValue != nil || u.ShrunkRatio != nil || u.StandardisedRank != 0 || u.Band != analysis.BandUnknown {
			t.Errorf("%s is given a ratio: %+v", u.Unit, u)
		}
		if u.CrudeRank == 0 || u.ShrunkPer1000 == 0 {
			t.Errorf("%s has no crude figures", u.Unit)
		}
	}
	standingWantCaution(t, a.Cautions, "No other lot shares a stratum with LOT-A, LOT-B, LOT-C: the ratio would be 1 by construction")

	// One lot to itself beside a shared one.
	a = mustStand(t, []analysis.StandingCell{
		standingCell("N", 3, 100, "x"), standingCell("S", 9, 100, "x"), standingCell("S", 30, 100, "own"),
	}, analysis.StandingOptions{Unit: "site"})
	if s := standingUnit(t, a, "S"); !near(s.Ratio, 39.0/36) {
		t.Errorf("ratio %v", *s.Ratio)
	}
	standingWantCaution(t, a.Cautions, "more than half of what is expected of S comes from such strata")
}

func TestStandingOfOddInput(t *testing.T) {
	many := func(n int, failures, attempts int64) (cells []analysis.StandingCell) {
		for i := range n {
			cells = append(cells, standingCell(fmt.Sprintf("U%03d", i), failures, attempts, fmt.Sprint(i%2)))
		}
		return cells
	}
	unknown := standingCell("X", 7, 7, "0")
	unknown.DenominatorUnknown = true
	for _, c := range []struct {
		name     string
		cells    []analysis.StandingCell
		headline string
		caution  string
	}{
		{"nothing", nil, "nothing to compare", ""},
		{"zero cells", many(3, 0, 0), "nothing to compare", ""},
		{"one unit", many(1, 3, 50), "Only U000 has attempts on record", ""},
		{"no failures", many(4, 0, 50), "No failure is on record in 200 attempts", ""},
		{"all failures", many(4, 50, 50), "No unit stands out", "Nothing but failures is on record for U000 in 0"},
		{"500 units", many(500, 3, 1000), "No unit stands out", "more than chance makes them"},
		{"more failures than attempts", append(many(4, 3, 50), standingCell("Y", 4, 2, "0")), "", "More failures than attempts are on record for Y in 0: there is no rate, so the 4 failures"},
		{"unknown denominator", append(many(4, 3, 50), unknown), "", "No tightening stands beside the failures of X in 0"},
		{"enormous", many(8, 1e9, 1e11), "", ""},
		{"one attempt each", append(many(4, 0, 1), many(2, 1, 1)...), "", "Sparse"},
		{"no name", append(many(4, 3, 50), standingCell("", 40, 50, "0")), "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := mustStand(t, c.cells, analysis.StandingOptions{})
			if len(a.Headlines) == 0 || !strings.Contains(strings.Join(a.Headlines, " "), c.headline) {
				t.Errorf("headlines %q", a.Headlines)
			}
			if a.Method == "" || a.Assumption == "" || len(a.Cautions) == 0 {
				t.Error("no method, assumption or caution")
			}
			standingWantCaution(t, a.Cautions, c.caution)
		})
	}
}

func TestStandingRefuses(t *testing.T) {
	for _, c := range []struct {
		cells    []analysis.StandingCell
		o        analysis.StandingOptions
		argument string
	}{
		{nil, analysis.StandingOptions{Confidence: 1}, "confidence"},
		{nil, analysis.StandingOptions{Confidence: math.NaN()}, "confidence"},
		{nil, analysis.StandingOptions{RatioLimit: -1}, "ratio limit"},
		{nil, analysis.StandingOptions{RatioLimit: math.NaN()}, "ratio limit"},
		{nil, analysis.StandingOptions{LimitPer1000: 1000}, "limit per 1,000"},
		{[]analysis.StandingCell{standingCell("A", -1, 3, "x")}, analysis.StandingOptions{}, "failures of A in x"},
		{[]analysis.StandingCell{standingCell("A", 0, stats.MaxCount+1)}, analysis.StandingOptions{}, "attempts of A"},
	} {
		_, err := analysis.Standing(c.cells, c.o)
		var argument *stats.ArgumentError
		if !errors.As(err, &argument) || argument.Argument != c.argument {
			t.Errorf("%+v: %v, want an error about %s", c.o, err, c.argument)
		}
	}
}

// Among sites alike, one far better stands out below; one that holds most of
// the attempts is named, since it sets what it is measured by.
func TestStandingFindsTheBetterOne(t *testing.T) {
	cells := []analysis.StandingCell{standingCell("GOOD", 3, 2000), standingCell("BIG", 400, 20000)}
	for i := range 12 {
		cells = append(cells, standingCell(fmt.Sprintf("S%02d", i), int64(18+i%5), 1000))
	}
	a := mustStand(t, cells, analysis.StandingOptions{Unit: "site", Mix: []string{"lot", "treatment", "material"}})
	good := a.Units[len(a.Units)-1]
	if good.Unit != "GOOD" || good.Band != analysis.BelowThreeSigma || !strings.Contains(good.Sentence, "below the 3-sigma limit") ||
		!strings.Contains(good.Sentence, "for its mix of lot, treatment and material") {
		t.Errorf("%v: %s", good.Band, good.Sentence)
	}
	if !strings.Contains(strings.Join(a.Headlines, " "), "Better than chance and mix explain (outside 2 sigma): GOOD.") {
		t.Errorf("headlines: %q", a.Headlines)
	}
	standingWantCaution(t, a.Cautions, "More than half of all attempts are those of BIG")
}

func TestStandingBandWords(t *testing.T) {
	var got []string
	for b := analysis.BandUnknown; b <= analysis.BelowThreeSigma+1; b++ {
		got = append(got, b.String())
	}
	want := []string{"unknown", "above-3-sigma", "above-2-sigma", "within", "below-2-sigma", "below-3-sigma", "StandingBand(6)"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// One failure where next to none was expected lies above the interpolated limit,
// and some of many units do by chance: neither is called worse than chance.
func TestStandingDoesNotCallChanceWorse(t *testing.T) {
	cells := []analysis.StandingCell{standingCell("ONE", 1, 6), standingCell("REST", 99, 9994)}
	for i := range 20 {
		cells = append(cells, standingCell(fmt.Sprintf("S%02d", i), 10, 1000))
	}
	a := mustStand(t, cells, analysis.StandingOptions{Unit: "lot"})
	one := a.Units[0]
	if one.Unit != "ONE" || !one.StandsOut() || *one.PAdjusted < 0.05 {
		t.Fatalf("%+v", one)
	}
	heads := strings.Join(a.Headlines, " ")
	if strings.Contains(heads, "Worse than chance") || strings.Contains(heads, "No lot stands out") ||
		!strings.Contains(heads, "no more than chance may do among 22 lots (adjusted p above 0.05): ONE.") {
		t.Errorf("headlines: %q", heads)
	}
	if !strings.HasPrefix(one.Sentence, "ONE: 1 failure where") {
		t.Error(one.Sentence)
	}
}

// A unit without attempts is named, not dropped in silence.
func TestStandingNamesTheEmpty(t *testing.T) {
	a := mustStand(t, []analysis.StandingCell{standingCell("EMPTY", 0, 0), standingCell("A", 5, 50), standingCell("B", 3, 20), standingCell("B", 0, 0)}, analysis.StandingOptions{})
	if len(a.Units) != 2 {
		t.Errorf("%+v", a.Units)
	}
	standingWantCaution(t, a.Cautions, "No attempts are on record for EMPTY: left out.")
}
