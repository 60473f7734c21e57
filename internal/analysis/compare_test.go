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
	"jointledger/internal/stats"
)

// bySite makes a question stratified by site from failures and attempts of A and
// of B.
func bySite(a, b string, strata ...[4]int64) analysis.CompareInput {
	in := analysis.CompareInput{NameA: a, NameB: b, StratifiedBy: []analysis.Grouping{analysis.BySite}}
	for i, s := range strata {
		in.Strata = append(in.Strata, analysis.CompareStratum{
			Names: []string{fmt.Sprintf("S%02d", i+1)},
			A:     analysis.CompareArm{Failures: s[0], Attempts: s[1]}, B: analysis.CompareArm{Failures: s[2], Attempts: s[3]},
		})
	}
	return in
}

func unstratified(a, b string, s [4]int64) analysis.CompareInput {
	in := bySite(a, b, s)
	in.StratifiedBy, in.Strata[0].Names = nil, nil
	return in
}

func mustCompare(t *testing.T, in analysis.CompareInput, o analysis.CompareOptions) analysis.CompareAnswer {
	t.Helper()
	a, err := analysis.Compare(in, o)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Placebo 189 of 11034, aspirin 104 of 11037: A. Agresti, Categorical Data
// Analysis (2002) sections 2.2-3.1, relative risk 1.82, 1.43 to 2.31; the rest by
// R 4.2.2 (reference statistics, P07).
func TestCompareAspirin(t *testing.T) {
	a := mustCompare(t, unstratified("placebo", "aspirin", [4]int64{189, 11034, 104, 11037}), analysis.CompareOptions{})
	c := a.Crude
	d := c.Difference
	if !near(&d.Per1000, 7.706023976) || !near(d.LowerPer1000, 4.70202974638) || !near(d.UpperPer1000, 10.7750837769) {
		t.Errorf("difference %+v", d)
	}
	if !near(c.RelativeRisk.Estimate, 1.81780179445) || !near(&c.RelativeRisk.Lower, 1.43303090305) || !near(c.RelativeRisk.Upper, 2.30588423242) {
		t.Errorf("relative risk %+v", c.RelativeRisk)
	}
	if !near(c.OddsRatio.Estimate, 1.83200505528) || !near(&c.OddsRatio.Lower, 1.43233721167) || !near(c.OddsRatio.Upper, 2.35390542827) {
		t.Errorf("odds ratio %+v", c.OddsRatio)
	}
	if a.Stratified != nil || a.Strata != nil || a.Disagreement != "" {
		t.Errorf("nothing was stratified: %+v", a)
	}
	if want := "placebo fails 1.82 times as often as aspirin; 95 % interval 1.43 to 2.31."; a.Headline != want {
		t.Errorf("headline %q", a.Headline)
	}
	// 1/0.0107750837769 and 1/0.00470202974638.
	if want := "One failure more in every 130 attempts (interval 93 to 213)."; d.NumberNeededText != want {
		t.Errorf("number needed %q", d.NumberNeededText)
	}
	if mentions(a.Cautions, "Sparse") || !mentions(a.Cautions, "Fasteners of one joint are not independent") {
		t.Errorf("cautions %q", a.Cautions)
	}
}

// Tea tasting: Fisher 34/70 two-sided; chi-square 2.000 with p 0.15730; all four
// counts expected are 2 (reference statistics, P08 and P10).
func TestCompareTea(t *testing.T) {
	a := mustCompare(t, unstratified("milk", "tea", [4]int64{3, 4, 1, 4}), analysis.CompareOptions{})
	p := 34.0 / 70
	if !near(&a.Crude.FisherP, p) || !near(&a.Crude.ChiSquare.P, 0.15729920705) || a.Crude.LeastExpected != 2 {
		t.Errorf("%+v", a.Crude)
	}
	if !mentions(a.Cautions, "Sparse", "Cochran", "Fisher") {
		t.Errorf("cautions %q", a.Cautions)
	}
	if !strings.HasPrefix(a.Headline, "No difference can be shown between milk and tea: milk fails 3.00 times as often, but the 95 % interval, 0.50 to 18.0, covers 1.") {
		t.Errorf("headline %q", a.Headline)
	}
	if !strings.Contains(a.Crude.Difference.NumberNeededText, "through no difference") {
		t.Errorf("number needed %q", a.Crude.Difference.NumberNeededText)
	}
}

// admissions are rejected among applicants, men against women, by department: P.
// J. Bickel, E. A. Hammel, J. W. O'Connell, Science 187 (1975) 398-403.
func admissions() analysis.CompareInput {
	return bySite("men", "women", [4]int64{512, 825, 89, 108}, [4]int64{353, 560, 17, 25}, [4]int64{120, 325, 202, 593},
		[4]int64{138, 417, 131, 375}, [4]int64{53, 191, 94, 393}, [4]int64{22, 373, 24, 341})
}

// The textbook case of Simpson's paradox: more men are admitted over all, fewer
// within the departments. Figures as in the reference statistics, P11.
func TestCompareAdmissions(t *testing.T) {
	a := mustCompare(t, admissions(), analysis.CompareOptions{Verb: "get in"})
	s := a.Stratified
	if s == nil || !near(&s.CMH.Statistic, 1.42694622859) || !near(&s.CMH.P, 0.232263462817) ||
		!near(s.OddsRatio.Estimate, 0.904696828259) || !near(&s.OddsRatio.Lower, 0.771907361759) || !near(s.OddsRatio.Upper, 1.06032976444) ||
		!near(&s.Homogeneity.Tarone.Statistic, 18.8255012521) || !near(&s.Homogeneity.Tarone.P, 0.00207140139788) || s.Informative != 6 {
		t.Errorf("%+v", s)
	}
	if *a.Crude.RelativeRisk.Estimate < 1.4 || *s.RelativeRisk.Estimate > 1 {
		t.Errorf("crude %g, stratified %g", *a.Crude.RelativeRisk.Estimate, *s.RelativeRisk.Estimate)
	}
	for _, part := range []string{"the direction turns round", "Simpson's paradox", "Go by each site by itself"} {
		if !strings.Contains(a.Disagreement, part) {
			t.Errorf("disagreement %q lacks %q", a.Disagreement, part)
		}
	}
	if !strings.HasPrefix(a.Headline, "No difference can be shown between men and women at the same sites") || !strings.Contains(a.Headline, "covers 1") ||
		!strings.Contains(a.Headline, "differs from site to site (homogeneity p 0.0021)") {
		t.Errorf("headline %q", a.Headline)
	}
	if !mentions(a.Cautions, "odds ratio differs from site to site", "0.0021") {
		t.Errorf("cautions %q", a.Cautions)
	}
	plain := mustCompare(t, admissions(), analysis.CompareOptions{Uncorrected: true})
	if !near(&plain.Stratified.CMH.Statistic, 1.52460666044) || !strings.Contains(plain.Method, "without correction") {
		t.Errorf("uncorrected %+v %q", plain.Stratified.CMH, plain.Method)
	}
}

// Success of a drug in eight centres: P. J. Beitler, J. R. Landis, Biometrics 41
// (1985) 991-1000. Relative risk 1.424, 1.0786 to 1.8812; difference 0.13, 0.0313
// to 0.2284, as printed in the tests of an R package for trials, to 12 digits by
// mpmath 1.3.0; the statistic without correction is 6.38 in A. Agresti,
// Categorical Data Analysis (2002), section 6.3.
func TestCompareCentres(t *testing.T) {
	in := bySite("drug", "control", [4]int64{11, 36, 10, 37}, [4]int64{16, 20, 22, 32}, [4]int64{14, 19, 7, 19}, [4]int64{2, 16, 1, 17},
		[4]int64{6, 17, 0, 12}, [4]int64{1, 11, 0, 10}, [4]int64{1, 5, 1, 9}, [4]int64{4, 6, 6, 7})
	a := mustCompare(t, in, analysis.CompareOptions{Uncorrected: true, Verb: "succeeds"})
	s := a.Stratified
	if !near(&s.CMH.Statistic, 6.38411342499893) || !near(s.RelativeRisk.Estimate, 1.42445721832266) || !near(&s.RelativeRisk.Lower, 1.07861284358689) || !near(s.RelativeRisk.Upper, 1.881192476889) {
		t.Errorf("%+v", s)
	}
	if d := s.Difference; !near(&d.Per1000, 129.870506570509) || !near(d.LowerPer1000, 31.3180546394516) || !near(d.UpperPer1000, 228.422958501566) {
		t.Errorf("difference %+v", d)
	}
	if want := "drug succeeds 1.42 times as often as control at the same sites; 95 % interval 1.08 to 1.88."; a.Headline != want {
		t.Errorf("headline %q", a.Headline)
	}
	// Crude: 55/130 against 47/143.
	if !strings.HasPrefix(a.Disagreement, "Over all together drug succeeds 1.29 times as often as control, but at the same sites 1.42 times as often: where each was used hides part of the difference") {
		t.Errorf("disagreement %q", a.Disagreement)
	}
}

// An invented fleet whose bad site used anti-seize most: crude says it galls
// more often, each site says it galls a quarter as often.
func TestCompareSimpson(t *testing.T) {
	in := bySite("anti-seize", "none", [4]int64{90, 3000, 24, 200}, [4]int64{2, 400, 80, 4000}, [4]int64{0, 0, 7, 900}, [4]int64{3, 300, 0, 0})
	a := mustCompare(t, in, analysis.CompareOptions{Verb: "galls"})
	if *a.Crude.RelativeRisk.Estimate < 1.1 {
		t.Errorf("crude %+v", a.Crude.RelativeRisk)
	}
	// Both sites have a relative risk of 0.25 exactly.
	if r := a.Stratified.RelativeRisk; math.Abs(*r.Estimate-0.25) > 1e-12 || !strings.HasPrefix(a.Headline, "anti-seize galls 0.25 times as often as none at the same sites; 95 % interval 0.1") {
		t.Errorf("%+v %q", r, a.Headline)
	}
	for _, part := range []string{"Over all together anti-seize galls 1.", "at the same sites 0.25 times as often", "turns round", "Simpson's paradox", "Go by the comparison at the same sites."} {
		if !strings.Contains(a.Disagreement, part) {
			t.Errorf("disagreement %q lacks %q", a.Disagreement, part)
		}
	}
	if !mentions(a.Cautions, "adding nothing", "only anti-seize, S04", "only none, S03") {
		t.Errorf("cautions %q", a.Cautions)
	}
	if a.Stratified.Strata != 4 || a.Stratified.BothArms != 2 || len(a.Strata) != 4 {
		t.Errorf("%+v", a.Stratified)
	}
	third, fourth := a.Strata[2], a.Strata[3]
	if third.A != nil || third.B == nil || third.RelativeRisk != nil || third.Note != "only none: adds nothing to the comparison" || fourth.B != nil || fourth.Note != "only anti-seize: adds nothing to the comparison" {
		t.Errorf("%+v %+v", third, fourth)
	}
	if one := a.Strata[0]; one.Note != "" || one.RelativeRisk == nil || math.Abs(*one.RelativeRisk.Estimate-0.25) > 1e-12 {
		t.Errorf("%+v", one)
	}
}

// When nothing or everything fails, the answer says what can be said, with no
// number that is none. Koopman's limit for 25/300 against none, 6.58, and its
// inverse, 0.15, by mpmath 1.3.0.
func TestCompareZeroCells(t *testing.T) {
	for _, c := range []struct {
		name     string
		in       analysis.CompareInput
		headline string
	}{
		{"none", unstratified("A", "B", [4]int64{0, 30, 0, 40}), "No difference can be shown between A and B: neither failed, in 30 attempts and in 40 attempts."},
		{"all", unstratified("A", "B", [4]int64{30, 30, 40, 40}), "No difference can be shown between A and B: every attempt failed, 30 with A and 40 with B."},
		{"none in A", unstratified("A", "B", [4]int64{0, 300, 25, 300}), "A fails at most 0.15 times as often as B, with no failure in 300 attempts; 95 % interval 0 to 0.15."},
		{"none in B", unstratified("A", "B", [4]int64{25, 300, 0, 300}), "A fails at least 6.58 times as often as B, which had no failure in 300 attempts; 95 % interval from 6.58 upwards without limit."},
		{"few", unstratified("A", "B", [4]int64{0, 30, 2, 40}), "No difference can be shown between A and B: A failed in 0 of 30 attempts, B in 2 of 40, but the 95 % interval, 0 to "},
		{"none, by site", bySite("A", "B", [4]int64{0, 30, 0, 40}, [4]int64{0, 5, 0, 6}), "No difference can be shown between A and B at the same sites: neither failed, in 35 attempts and in 46 attempts."},
		{"none in A, by site", bySite("A", "B", [4]int64{0, 150, 15, 150}, [4]int64{0, 150, 10, 150}), "A had no failure in 300 attempts, where B had 25 in 300 at the same sites: the odds of failing are at most 0.1"},
		{"none in B, by site", bySite("A", "B", [4]int64{15, 150, 0, 150}, [4]int64{10, 150, 0, 150}), "B had no failure in 300 attempts, where A had 25 in 300 at the same sites: the odds of failing are at least 6."},
		{"all or nothing by site", bySite("A", "B", [4]int64{5, 5, 6, 6}, [4]int64{0, 4, 0, 7}), "No difference can be shown between A and B at the same sites: "},
		{"nowhere both", bySite("A", "B", [4]int64{5, 50, 0, 0}, [4]int64{0, 0, 1, 70}), "Nothing can be said at the same sites: no site has both A and B. Over all together: No difference can be shown"},
	} {
		a := mustCompare(t, c.in, analysis.CompareOptions{})
		if !strings.HasPrefix(a.Headline, c.headline) {
			t.Errorf("%s: %q, expected %q", c.name, a.Headline, c.headline)
		}
		for _, text := range append([]string{a.Headline, a.Disagreement, a.Method, a.Assumption, a.Crude.Difference.NumberNeededText}, a.Cautions...) {
			if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") || strings.Contains(text, "%!") {
				t.Errorf("%s: %q", c.name, text)
			}
		}
	}
	zero := mustCompare(t, unstratified("A", "B", [4]int64{0, 300, 25, 300}), analysis.CompareOptions{})
	if !strings.Contains(zero.Method, "Koopman's score interval (1984), as Katz's does not exist") {
		t.Errorf("method %q", zero.Method)
	}
}

// An interval that leaves out 1 is not enough when the exact test does not bear
// it out: by Fisher's two-sided sum, the p-value of 0/10 against 4/10 is
// 2·C(10,4)·C(10,0)/C(20,4) = 420/4845 = 0.0867, while Koopman's interval ends
// below 1.
func TestCompareClaimsNoMoreThanTheTest(t *testing.T) {
	a := mustCompare(t, unstratified("A", "B", [4]int64{0, 10, 4, 10}), analysis.CompareOptions{})
	p := 420.0 / 4845
	if !near(&a.Crude.FisherP, p) || a.Crude.RelativeRisk.Covers(1) {
		t.Fatalf("p %g, interval %+v: no longer a case where the two disagree", a.Crude.FisherP, a.Crude.RelativeRisk)
	}
	if !strings.HasPrefix(a.Headline, "No difference can be shown") || !strings.Contains(a.Headline, "Fisher's exact test does not bear it out (p 0.087)") {
		t.Errorf("headline %q", a.Headline)
	}
}

// With three attempts of A the normal interval of the common difference would
// leave out 0 where the exact one of the odds ratio covers 1: it is not given.
func TestCompareSparseStrata(t *testing.T) {
	a := mustCompare(t, bySite("A", "B", [4]int64{0, 1, 5, 10}, [4]int64{0, 2, 0, 33}), analysis.CompareOptions{})
	if d := a.Stratified.Difference; d.LowerPer1000 != nil || d.UpperPer1000 != nil || d.NumberNeeded != nil || !mentions(a.Cautions, "Mantel and Fleiss", "no interval of the common difference") {
		t.Errorf("%+v %q", d, a.Cautions)
	}
	// Of eleven attempts five failed, none of them A's only one: the weights are
	// C(10,5) = 252 for that and ψ·C(10,4) = 210ψ for the other, so at the limit
	// 252/(252+210ψ) = 0.025.
	if upper := 0.975 / 0.025 * 6 / 5; !near(a.Stratified.OddsRatio.Upper, upper) {
		t.Errorf("odds ratio %+v, expected an upper limit of %g", a.Stratified.OddsRatio, upper)
	}
}

func TestCompareUnknownDenominators(t *testing.T) {
	in := bySite("anti-seize", "none", [4]int64{1, 100, 9, 120}, [4]int64{4, 4, 3, 80})
	in.Strata[1].A.DenominatorUnknown = true
	a := mustCompare(t, in, analysis.CompareOptions{})
	if a.A.Failures != 1 || a.A.Attempts != 100 || a.Stratified.BothArms != 1 {
		t.Errorf("%+v %+v", a.A, a.Stratified)
	}
	if !mentions(a.Cautions, "Left out", "anti-seize (S02) with 4 failures") {
		t.Errorf("cautions %q", a.Cautions)
	}
	if !in.Strata[1].A.DenominatorUnknown || in.Strata[1].A.Failures != 4 {
		t.Error("the question was changed")
	}
}

func TestCompareRefuses(t *testing.T) {
	twice := bySite("A", "B", [4]int64{1, 2, 1, 2}, [4]int64{1, 2, 1, 2})
	twice.Strata[1].Names = twice.Strata[0].Names
	unnamed := bySite("A", "B", [4]int64{1, 2, 1, 2})
	unnamed.Strata[0].Names = nil
	unknown := unstratified("A", "B", [4]int64{3, 3, 1, 9})
	unknown.Strata[0].A.DenominatorUnknown = true
	badGrouping := bySite("A", "B", [4]int64{1, 2, 1, 2})
	badGrouping.StratifiedBy[0] = 99
	for _, c := range []struct {
		in        analysis.CompareInput
		o         analysis.CompareOptions
		statement string
	}{
		{unstratified("A", "A", [4]int64{1, 2, 1, 2}), analysis.CompareOptions{}, `B is "A", but must differ from A: a thing is not compared with itself`},
		{unstratified("", "(none)", [4]int64{1, 2, 1, 2}), analysis.CompareOptions{}, `B is "(none)", but must differ from A, which is shown as the same`},
		{unstratified("A", "B", [4]int64{1, 2, 0, 0}), analysis.CompareOptions{}, "attempts of B is 0, but must be at least 1: there is nothing to compare"},
		{analysis.CompareInput{NameA: "A", NameB: "B"}, analysis.CompareOptions{}, "attempts of A is 0, but must be at least 1: there is nothing to compare"},
		{bySite("A", "B", [4]int64{1, 2, 1, 2}, [4]int64{1, 2, 5, 4}), analysis.CompareOptions{}, "failures of B (S02) is 5, but must be at most the number of attempts, 4"},
		{bySite("A", "B", [4]int64{-1, 2, 1, 2}), analysis.CompareOptions{}, "failures of A (S01) is -1, but must be at least 0"},
		{bySite("A", "B", [4]int64{0, -2, 1, 2}), analysis.CompareOptions{}, "attempts of A (S01) is -2, but must be at least 0"},
		{bySite("A", "B", [4]int64{0, math.MaxInt64, 1, 2}), analysis.CompareOptions{}, "attempts of A (S01) is 9223372036854775807, but must be at most 549755813888"},
		{twice, analysis.CompareOptions{}, "the stratum S01 is given twice, but must be given once, with the counts of both arms"},
		{unnamed, analysis.CompareOptions{}, "the stratum (unnamed) is named by 0 values, but must have one for each of the 1 groupings"},
		{unknown, analysis.CompareOptions{}, "attempts of A is 0, but must be at least 1: there is nothing to compare. Left out, for how many went well is not on record: A with 3 failures"},
		{badGrouping, analysis.CompareOptions{}, "the grouping of the strata is 99, but must be one of site, region"},
		{unstratified("A", "B", [4]int64{1, 2, 1, 2}), analysis.CompareOptions{Confidence: 1}, "confidence is 1, but must lie between 0 and 1, both excluded"},
		{unstratified("A", "B", [4]int64{1, 2, 1, 2}), analysis.CompareOptions{RelativeRisk: 9}, "method is RelativeRiskMethod(9), but must be katz"},
	} {
		_, err := analysis.Compare(c.in, c.o)
		var bad *stats.ArgumentError
		if !errors.As(err, &bad) || !strings.HasPrefix(err.Error(), c.statement) {
			t.Errorf("%v, expected %q", err, c.statement)
		}
	}
}

// Five hundred strata, in any order and with the arms the other way round: the
// figures are the same, inverted or negated.
func TestCompareManyStrata(t *testing.T) {
	r := rand.New(rand.NewPCG(500, 1))
	var strata [][4]int64
	for range 500 {
		nA, nB := 1+r.Int64N(60), 1+r.Int64N(60)
		strata = append(strata, [4]int64{r.Int64N(nA/4 + 1), nA, r.Int64N(nB/3 + 1), nB})
	}
	in := bySite("A", "B", strata...)
	one := mustCompare(t, in, analysis.CompareOptions{})
	r.Shuffle(len(in.Strata), func(i, j int) { in.Strata[i], in.Strata[j] = in.Strata[j], in.Strata[i] })
	again := mustCompare(t, in, analysis.CompareOptions{})
	if one.Headline != again.Headline || one.Strata[17].A.Attempts != again.Strata[17].A.Attempts || !near(again.Stratified.RelativeRisk.Estimate, *one.Stratified.RelativeRisk.Estimate) {
		t.Errorf("%q, shuffled %q", one.Headline, again.Headline)
	}
	if !mentions(one.Cautions, "With 500 sites, about 25 of their own intervals miss the truth by chance") {
		t.Errorf("cautions %q", one.Cautions)
	}
	in.NameA, in.NameB = in.NameB, in.NameA
	for i := range in.Strata {
		in.Strata[i].A, in.Strata[i].B = in.Strata[i].B, in.Strata[i].A
	}
	other := mustCompare(t, in, analysis.CompareOptions{})
	if !near(other.Stratified.RelativeRisk.Estimate, 1 / *one.Stratified.RelativeRisk.Estimate) || !near(&other.Stratified.RelativeRisk.Lower, 1 / *one.Stratified.RelativeRisk.Upper) ||
		!near(&other.Crude.Difference.Per1000, -one.Crude.Difference.Per1000) || !near(other.Crude.Difference.LowerPer1000, -*one.Crude.Difference.UpperPer1000) ||
		!near(&other.Stratified.CMH.P, one.Stratified.CMH.P) || !near(&other.Stratified.Homogeneity.Tarone.P, one.Stratified.Homogeneity.Tarone.P) {
		t.Errorf("%+v, swapped %+v", one.Stratified, other.Stratified)
	}
}

// When two arms do not differ, a difference is claimed in about one of twenty
// comparisons or fewer.
func TestCompareFalseClaims(t *testing.T) {
	r := rand.New(rand.NewPCG(20, 95))
	const rounds = 400
	claims := 0
	for range rounds {
		var strata [][4]int64
		for _, p := range []float64{0.02, 0.08, 0.2} {
			s := [4]int64{0, 60 + r.Int64N(60), 0, 60 + r.Int64N(60)}
			for arm := 0; arm < 4; arm += 2 {
				for range s[arm+1] {
					if r.Float64() < p {
						s[arm]++
					}
				}
			}
			strata = append(strata, s)
		}
		if a := mustCompare(t, bySite("A", "B", strata...), analysis.CompareOptions{}); !strings.HasPrefix(a.Headline, "No difference") {
			claims++
		}
	}
	if share := float64(claims) / rounds; share > 0.08 {
		t.Errorf("claimed in %.3f of the rounds", share)
	}
}

// No number of an answer is NaN or infinite, which JSON would refuse to write,
// whatever cells are empty.
func TestCompareAnswersAreNumbers(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for range 500 {
		var strata [][4]int64
		for range 1 + r.IntN(4) {
			var s [4]int64
			for arm := 0; arm < 4; arm += 2 {
				if s[arm+1] = r.Int64N(4) * r.Int64N(12); r.IntN(3) > 0 {
					s[arm] = s[arm+1] * r.Int64N(3) / 2
					s[arm] = min(s[arm], s[arm+1])
				}
			}
			strata = append(strata, s)
		}
		in := bySite("A", "B", strata...)
		a, err := analysis.Compare(in, analysis.CompareOptions{})
		var bad *stats.ArgumentError
		if err != nil && !errors.As(err, &bad) {
			t.Fatal(err)
		}
		if text, err := json.Marshal(a); err != nil || strings.Contains(string(text), "NaN") || strings.Contains(string(text), "%!") {
			t.Errorf("%v: %s %v", strata, text, err)
		}
		c, err := analysis.CompareByCluster(analysis.CompareClusterInput{NameA: "A", NameB: "B", Clusters: in.Strata}, analysis.CompareOptions{})
		if err != nil && !errors.As(err, &bad) {
			t.Fatal(err)
		}
		if text, err := json.Marshal(c); err != nil || strings.Contains(string(text), "NaN") || strings.Contains(string(text), "%!") {
			t.Errorf("%v: %s %v", strata, text, err)
		}
	}
}

// Pups of 32 litters: J. N. K. Rao, A. J. Scott, Biometrics 48 (1992) 577-585,
// table 1 (data of C. S. Weil, 1970); design effects 3.952861 and 1.232495 as
// printed in the documentation of an R package for prevented fractions.
func TestCompareByCluster(t *testing.T) {
	in := analysis.CompareClusterInput{NameA: "treated", NameB: "control", Unit: "litter"}
	for arm, counts := range []string{
		"12/12 11/11 10/10 9/9 10/11 9/10 9/10 8/9 8/9 4/5 7/9 4/7 5/10 3/6 3/10 0/7",
		"13/13 12/12 9/9 9/9 8/8 8/8 12/13 11/12 9/10 9/10 8/9 11/13 4/5 5/7 7/10 7/10",
	} {
		for i, c := range strings.Fields(counts) {
			var k analysis.CompareArm
			if _, err := fmt.Sscanf(c, "%d/%d", &k.Failures, &k.Attempts); err != nil {
				t.Fatal(err)
			}
			s := analysis.CompareStratum{Names: []string{fmt.Sprintf("%d-%d", arm, i)}, A: k}
			if arm == 1 {
				s.A, s.B = s.B, s.A
			}
			in.Clusters = append(in.Clusters, s)
		}
	}
	a, err := analysis.CompareByCluster(in, analysis.CompareOptions{Verb: "survives"})
	if err != nil {
		t.Fatal(err)
	}
	if !near(a.DesignEffectA, 3.95286062596407) || !near(a.DesignEffectB, 1.23249539430677) || a.ClustersA != 16 || a.ClustersB != 16 {
		t.Errorf("%+v", a)
	}
	if a.Naive.Covers(1) || !a.Robust.Covers(1) {
		t.Errorf("naive %+v, by litter %+v: the litters should make the difference", a.Naive, a.Robust)
	}
	if !strings.HasPrefix(a.Headline, "No difference can be shown between treated and control: treated survives 0.86 times as often, but the 95 % interval by litter") ||
		!mentions(a.Cautions, "Few clusters", "only 16 litters") || !mentions(a.Cautions, "Fasteners of one joint are not independent") {
		t.Errorf("%q %q", a.Headline, a.Cautions)
	}
	one := analysis.CompareClusterInput{NameA: "A", NameB: "B", Clusters: []analysis.CompareStratum{
		{Names: []string{"J1"}, A: analysis.CompareArm{Failures: 1, Attempts: 9}},
		{Names: []string{"J2"}, B: analysis.CompareArm{Failures: 1, Attempts: 9}},
		{Names: []string{"J3"}, B: analysis.CompareArm{Attempts: 9}},
	}}
	if _, err = analysis.CompareByCluster(one, analysis.CompareOptions{}); err == nil || err.Error() != "the number of joints with A is 1, but must be at least 2, for the spread between them to be seen" {
		t.Errorf("one joint: %v", err)
	}
	one.Clusters[0].A.Failures = 0
	one.Clusters = append(one.Clusters, analysis.CompareStratum{Names: []string{"J4"}, A: analysis.CompareArm{Attempts: 5}})
	if a, err = analysis.CompareByCluster(one, analysis.CompareOptions{}); err != nil || a.RobustDifference.LowerPer1000 != nil || !strings.HasPrefix(a.Headline, "No difference can be shown") || !mentions(a.Cautions, "no interval by joint") {
		t.Errorf("no failures: %+v %v", a, err)
	}
}

// A stratum in which neither arm has anything on record is named, not dropped in
// silence.
func TestCompareNamesEmptyStrata(t *testing.T) {
	in := analysis.CompareInput{NameA: "a", NameB: "b", StratifiedBy: []analysis.Grouping{analysis.BySite}, Strata: []analysis.CompareStratum{
		{Names: []string{"S"}, A: analysis.CompareArm{Failures: 3, Attempts: 40}, B: analysis.CompareArm{Failures: 1, Attempts: 50}},
		{Names: []string{"T"}},
	}}
	a := mustCompare(t, in, analysis.CompareOptions{})
	if len(a.Strata) != 1 || !slices.Contains(a.Cautions, "No attempts with either are on record for T: left out.") {
		t.Errorf("%d strata, cautions %q", len(a.Strata), a.Cautions)
	}
}
