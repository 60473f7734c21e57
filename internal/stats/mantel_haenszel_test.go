package stats

import (
	"math"
	"testing"
)

// Men against women admitted to six departments, rejected for the rest: P. J.
// Bickel, E. A. Hammel, J. W. O'Connell, Science 187 (1975) 398-403.
var admissions = []TwoGroups{
	{512, 825, 89, 108}, {353, 560, 17, 25}, {120, 325, 202, 593},
	{138, 417, 131, 375}, {53, 191, 94, 393}, {22, 373, 24, 341},
}

// Smokers among cases against smokers among controls, men and women: R. Doll,
// A. B. Hill, BMJ 2 (1950) 739-748.
var dollHill = []TwoGroups{{647, 649, 622, 649}, {41, 60, 28, 60}}

// Success of a drug against a control in eight centres: P. J. Beitler, J. R.
// Landis, Biometrics 41 (1985) 991-1000; A. Agresti, Categorical Data Analysis
// (2002) table 6.9.
var centres = []TwoGroups{
	{11, 36, 10, 37}, {16, 20, 22, 32}, {14, 19, 7, 19}, {2, 16, 1, 17},
	{6, 17, 0, 12}, {1, 11, 0, 10}, {1, 5, 1, 9}, {4, 6, 6, 7},
}

// Deaths on tolbutamide against placebo below and above 55 years: the University
// Group Diabetes Program, Diabetes 19 Suppl. 2 (1970), as stratified by K. J.
// Rothman, Modern Epidemiology.
var tolbutamide = []TwoGroups{{8, 106, 5, 120}, {22, 98, 16, 85}}

// Admissions: R's help page mantelhaen.test prints 1.4269, 0.2323, 0.9046968 and
// 0.7719074 to 1.0603298; Agresti (2002) gives the uncorrected statistic.
// Smoking: Fagerland, Lydersen, Laake (2017), chapter 10. All recomputed with R
// 4.2.2 (reference statistics, P11 and P12). Centres: Agresti (2002) section
// 6.3: 6.38, p 0.012, and 2.13; to 12 digits by mpmath 1.3.0.
func TestMantelHaenszelPublished(t *testing.T) {
	for _, c := range []struct {
		name                      string
		strata                    []TwoGroups
		statistic, p              float64
		estimate, lower, upper    float64
		publishedStatistic, place float64
	}{
		{"admissions", admissions, 1.52460666044, 0.216923697056, 0.904696828259, 0.771907361759, 1.06032976444, 1.52, 0.01},
		{"smoking", dollHill, 24.9200244827, 5.97584801154e-07, 4.52391476228, 2.41710054933, 8.46708871175, 24.920, 0.001},
		{"centres", centres, 6.38411342499893, 0.011514626175141, 2.13454906719629, 1.17758975964579, 3.86917403361172, 6.38, 0.01},
	} {
		test, err := CochranMantelHaenszel(c.strata, false)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, c.name+" statistic", test.Statistic, c.statistic, 1e-10)
		closeTo(t, c.name+" p", test.P, c.p, 1e-9)
		rounds(t, c.name+" statistic", test.Statistic, c.publishedStatistic, c.place)
		ratio, err := CommonOddsRatio(c.strata, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		ratioIs(t, c.name, ratio, c.estimate, c.lower, c.upper, 1e-10)
	}
	corrected, err := CochranMantelHaenszel(admissions, true)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "corrected statistic", corrected.Statistic, 1.42694622859, 1e-10)
	closeTo(t, "corrected p", corrected.P, 0.232263462817, 1e-10)
	rounds(t, "corrected statistic", corrected.Statistic, 1.4269, 1e-4)
}

// The same sources.
func TestBreslowDayTaronePublished(t *testing.T) {
	for _, c := range []struct {
		name                                string
		strata                              []TwoGroups
		breslowDay, breslowDayP             float64
		tarone, taroneP, publishedP, places float64
	}{
		{"admissions", admissions, 18.8255137052, 0.00207139034992, 18.8255012521, 0.00207140139788, 0.0021, 1e-4},
		{"smoking", dollHill, 5.21547536401, 0.0223867259304, 5.17464592734, 0.022918841958, 0.022919, 1e-6},
	} {
		h, err := BreslowDayTarone(c.strata)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, c.name+" Breslow-Day", h.BreslowDay.Statistic, c.breslowDay, 1e-9)
		closeTo(t, c.name+" Breslow-Day p", h.BreslowDay.P, c.breslowDayP, 1e-9)
		closeTo(t, c.name+" Tarone", h.Tarone.Statistic, c.tarone, 1e-9)
		closeTo(t, c.name+" Tarone p", h.Tarone.P, c.taroneP, 1e-9)
		rounds(t, c.name+" p", h.Tarone.P, c.publishedP, c.places)
		if h.Strata != len(c.strata) || h.Tarone.DegreesOfFreedom != len(c.strata)-1 {
			t.Errorf("%s: %+v", c.name, h)
		}
	}
}

// Centres: relative risk 1.424 with 1.0786 to 1.8812, difference 0.13 with
// 0.0313 to 0.2284 and variance 0.003, as printed in the tests of an R package
// for trials. Tolbutamide: relative risk 1.325555 with .797907 to 2.202132, as
// printed in a statistics package's manual, digits from memory. To 12 digits by
// mpmath 1.3.0 from the formulas of Greenland and Robins and of Sato.
func TestMantelHaenszelRiskPublished(t *testing.T) {
	for _, c := range []struct {
		name                            string
		strata                          []TwoGroups
		estimate, lower, upper          float64
		difference, leastDiff, mostDiff float64
		publishedLower, publishedUpper  float64
		place                           float64
	}{
		{"centres", centres, 1.42445721832266, 1.07861284358689, 1.881192476889, 0.129870506570509, 0.0313180546394516, 0.228422958501566, 1.0786, 1.8812, 1e-4},
		{"tolbutamide", tolbutamide, 1.32555532415511, 0.797907040146486, 2.20213236503511, 0.0349002693369182, -0.0276278460122289, 0.0974283846860652, 0.797907, 2.202132, 1e-6},
	} {
		risk, err := CommonRelativeRisk(c.strata, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		ratioIs(t, c.name, risk, c.estimate, c.lower, c.upper, 1e-11)
		rounds(t, c.name+" lower", risk.Lower, c.publishedLower, c.place)
		rounds(t, c.name+" upper", *risk.Upper, c.publishedUpper, c.place)
		difference, err := CommonRiskDifference(c.strata, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, c.name+" difference", *difference.Estimate, c.difference, 1e-11)
		closeTo(t, c.name+" difference, lower", difference.Interval.Lower, c.leastDiff, 1e-10)
		closeTo(t, c.name+" difference, upper", difference.Interval.Upper, c.mostDiff, 1e-10)
	}
	difference, err := CommonRiskDifference(centres, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	rounds(t, "difference", *difference.Estimate, 0.13, 0.01)
	rounds(t, "difference, lower", difference.Interval.Lower, 0.0313, 1e-4)
	rounds(t, "difference, upper", difference.Interval.Upper, 0.2284, 1e-4)
}

// A stratum with one arm, without failures or with nothing else adds nothing to
// a test or an odds ratio.
func TestUninformativeStrataAddNothing(t *testing.T) {
	with := append([]TwoGroups{{5, 10, 0, 0}, {0, 0, 3, 7}, {0, 0, 0, 0}, {0, 9, 0, 4}, {9, 9, 4, 4}}, centres...)
	for name, f := range map[string]func(s []TwoGroups) any{
		"test":        func(s []TwoGroups) any { r, _ := CochranMantelHaenszel(s, true); return r },
		"odds":        func(s []TwoGroups) any { r, _ := CommonOddsRatio(s, 0.95); return [2]float64{*r.Estimate, *r.Upper} },
		"homogeneity": func(s []TwoGroups) any { r, _ := BreslowDayTarone(s); return r },
	} {
		if got, want := f(with), f(centres); got != want {
			t.Errorf("%s: %v, without those strata %v", name, got, want)
		}
	}
	oneArm := append([]TwoGroups{{5, 10, 0, 0}, {0, 0, 3, 7}}, centres...)
	risk, err := CommonRelativeRisk(oneArm, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	ratioIs(t, "relative risk", risk, 1.42445721832266, 1.07861284358689, 1.881192476889, 1e-11)
}

func TestStrataWithNothingToTell(t *testing.T) {
	for _, strata := range [][]TwoGroups{nil, {{3, 10, 0, 0}}, {{0, 5, 0, 6}, {4, 4, 2, 2}}} {
		test, err := CochranMantelHaenszel(strata, true)
		if err != nil || test != (ChiSquareTest{P: 1}) {
			t.Errorf("%v: %+v %v", strata, test, err)
		}
		odds, err := CommonOddsRatio(strata, 0.95)
		if err != nil || odds.Estimate != nil || odds.Unbounded || !odds.Vacuous() {
			t.Errorf("%v: %+v %v", strata, odds, err)
		}
		h, err := BreslowDayTarone(strata)
		if err != nil || h != (Homogeneity{BreslowDay: ChiSquareTest{P: 1}, Tarone: ChiSquareTest{P: 1}}) {
			t.Errorf("%v: %+v %v", strata, h, err)
		}
		risk, err := CommonRelativeRisk(strata, 0.95)
		if err != nil || !risk.Vacuous() {
			t.Errorf("%v: %+v %v", strata, risk, err)
		}
		difference, err := CommonRiskDifference(strata, 0.95)
		if err != nil || difference.Interval != nil {
			t.Errorf("%v: %+v %v", strata, difference, err)
		}
	}
}

// With one stratum the exact limit for no failures in A is that of the odds
// ratio itself; with two, each as improbable as the square root.
func TestCommonOddsRatioWithoutFailures(t *testing.T) {
	g := TwoGroups{0, 30, 6, 40}
	one, err := OddsRatio(g, ConditionalExact, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	common, err := CommonOddsRatio([]TwoGroups{g}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	ratioIs(t, "one stratum", common, 0, 0, *one.Upper, 1e-12)
	root := 1 - 2*math.Sqrt(0.025)
	if one, err = OddsRatio(g, ConditionalExact, root); err != nil {
		t.Fatal(err)
	}
	if common, err = CommonOddsRatio([]TwoGroups{g, g}, 0.95); err != nil {
		t.Fatal(err)
	}
	ratioIs(t, "two strata", common, 0, 0, *one.Upper, 1e-10)
	if common, err = CommonOddsRatio([]TwoGroups{g.Swapped(), g.Swapped()}, 0.95); err != nil {
		t.Fatal(err)
	}
	if common.Estimate != nil || !common.Unbounded || common.Upper != nil {
		t.Errorf("no failures in B: %+v", common)
	}
	closeTo(t, "no failures in B", common.Lower, 1 / *one.Upper, 1e-10)
	h, err := BreslowDayTarone([]TwoGroups{g, g})
	if err != nil || h.Strata != 2 || h.Tarone.P != 1 || h.Tarone.DegreesOfFreedom != 0 {
		t.Errorf("homogeneity at an odds ratio of 0: %+v %v", h, err)
	}
}

func TestStrataRefused(t *testing.T) {
	bad := []TwoGroups{{1, 2, 1, 3}, {4, 3, 0, 1}}
	const argument, sentence = "stratum 2: failures of A", "stratum 2: failures of A is 4, but must be at most the number of attempts, 3"
	_, err := CochranMantelHaenszel(bad, true)
	refused(t, err, argument, sentence)
	_, err = CommonOddsRatio(bad, 0.95)
	refused(t, err, argument, sentence)
	_, err = CommonRelativeRisk(bad, 0.95)
	refused(t, err, argument, sentence)
	_, err = CommonRiskDifference(bad, 0.95)
	refused(t, err, argument, sentence)
	_, err = BreslowDayTarone(bad)
	refused(t, err, argument, sentence)
	_, err = CompareClusters(bad, 0.95)
	refused(t, err, "cluster 2: failures of A", "cluster 2: failures of A is 4, but must be at most the number of attempts, 3")
	half := TwoGroups{0, MaxCount / 2, 0, 1}
	_, err = CochranMantelHaenszel([]TwoGroups{half, half}, true)
	refused(t, err, "the sum of the attempts", "the sum of the attempts is 1099511627778, but must be at most 1099511627776")
}
