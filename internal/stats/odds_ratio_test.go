package stats

import (
	"fmt"
	"testing"
)

// Tea tasting, rows (3, 1), (1, 3), and convictions of like-sex twins, rows
// (2, 15), (10, 3), to 16 digits by 40-digit arithmetic from the definition
// (reference statistics, P09; the digits that R's fisher.test prints, P08, are
// wrong from the sixth on). Mid-P limits 0.3101 and 308.5568: M. W. Fagerland,
// S. Lydersen, P. Laake, Statistical Analysis of Contingency Tables (2017).
func TestOddsRatioPublished(t *testing.T) {
	tea, twins := TwoGroups{3, 4, 1, 4}, TwoGroups{2, 17, 10, 13}
	for _, c := range []struct {
		groups                 TwoGroups
		method                 OddsRatioMethod
		confidence             float64
		estimate, lower, upper float64
	}{
		{tea, ConditionalExact, 0.95, 6.408319658199674, 0.2117355954465786, 626.243530588814},
		{tea, ConditionalExact, 0.90, 6.408319658199674, 0.3135737675049852, 306.2368078586388},
		{tea, ConditionalMidP, 0.95, 6.408319658199674, 0.3100548817190796, 308.5567715811548},
		{twins, ConditionalExact, 0.95, 0.04693663904967996, 0.003317163950657361, 0.3631896023566806},
		// Placebo against aspirin: A. Agresti, Categorical Data Analysis (2002),
		// 1.832, 1.44 to 2.33 by Woolf; exact by R 4.2.2 (P07).
		{TwoGroups{189, 11034, 104, 11037}, ConditionalExact, 0.95, 1.83200505528, 1.43233721167, 2.35390542827},
		{TwoGroups{189, 11034, 104, 11037}, WoolfLog, 0.95, 1.83205394191, 1.44004239185, 2.33077975},
	} {
		got, err := OddsRatio(c.groups, c.method, c.confidence)
		if err != nil {
			t.Fatal(err)
		}
		tolerance := 1e-10
		if c.groups.AttemptsA > 100 {
			tolerance = 1e-9
		}
		ratioIs(t, fmt.Sprintf("%v %s", c.groups, c.method), got, c.estimate, c.lower, c.upper, tolerance)
	}
	got, _ := OddsRatio(twins, ConditionalExact, 0.90)
	closeTo(t, "twins, one-sided 95 %", *got.Upper, 0.2849595456196968, 1e-10)
	got, _ = OddsRatio(tea, ConditionalMidP, 0.95)
	rounds(t, "mid-P lower", got.Lower, 0.3101, 1e-4)
	rounds(t, "mid-P upper", *got.Upper, 308.5568, 1e-4)
	got, _ = OddsRatio(TwoGroups{189, 11034, 104, 11037}, WoolfLog, 0.95)
	rounds(t, "Woolf", *got.Estimate, 1.832, 1e-3)
	rounds(t, "Woolf lower", got.Lower, 1.44, 1e-2)
	rounds(t, "Woolf upper", *got.Upper, 2.33, 1e-2)
}

// Many attempts: mpmath 1.3.0 with 30 digits, the weights summed by exact ratios
// from the observed table and the limits found by bisection.
func TestOddsRatioManyAttempts(t *testing.T) {
	for _, c := range []struct {
		groups                 TwoGroups
		estimate, lower, upper float64
	}{
		{TwoGroups{20, 2000, 49980, 9998000}, 2.0105050100844, 1.2252473316388, 3.1139333998867},
		{TwoGroups{2500, 500000, 2650, 499000}, 0.94121556858353, 0.89067753227295, 0.99459935599882},
		{TwoGroups{189, 11034, 104, 11037}, 1.8320050552814, 1.4323372116684, 2.3539054282739},
	} {
		got, err := OddsRatio(c.groups, ConditionalExact, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		ratioIs(t, fmt.Sprint(c.groups), got, c.estimate, c.lower, c.upper, 1e-9)
	}
}

// With the margins of the tea table and a cell at its end, the conditional
// distribution has weights 1, 16ψ, 36ψ², 16ψ³, ψ⁴, so the limits can be checked
// in it: at 4 of 4, ψ⁴ is 0.025 of the sum.
func TestOddsRatioAtTheEndOfTheSupport(t *testing.T) {
	got, err := OddsRatio(TwoGroups{4, 4, 0, 4}, ConditionalExact, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if got.Estimate != nil || !got.Unbounded || got.Upper != nil {
		t.Errorf("%+v, expected an unbounded estimate", got)
	}
	w := got.Lower
	closeTo(t, "tail at the lower limit", w*w*w*w/(1+w*(16+w*(36+w*(16+w)))), 0.025, 1e-12)
	opposite, err := OddsRatio(TwoGroups{0, 4, 4, 4}, ConditionalExact, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	ratioIs(t, "the other end", opposite, 0, 0, 1/w, 1e-12)
	mid, err := OddsRatio(TwoGroups{0, 4, 4, 4}, ConditionalMidP, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	u := *mid.Upper
	closeTo(t, "half the tail at the mid-P limit", 0.5/(1+u*(16+u*(36+u*(16+u)))), 0.025, 1e-12)
	for _, g := range []TwoGroups{{0, 5, 0, 6}, {5, 5, 6, 6}} {
		for _, method := range []OddsRatioMethod{ConditionalExact, ConditionalMidP, WoolfLog} {
			got, err := OddsRatio(g, method, 0.95)
			if err != nil || got.Estimate != nil || got.Unbounded || !got.Vacuous() {
				t.Errorf("%v %s: %+v %v", g, method, got, err)
			}
		}
	}
	got, err = OddsRatio(TwoGroups{0, 4, 2, 4}, WoolfLog, 0.95)
	if err != nil || got.Estimate == nil || *got.Estimate != 0 || !got.Vacuous() {
		t.Errorf("Woolf with a zero cell: %+v %v", got, err)
	}
}
