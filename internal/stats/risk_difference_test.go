package stats

import (
	"errors"
	"fmt"
	"math"
	"testing"
)

// R. G. Newcombe, Statist. Med. 17 (1998) 873-890, Table II: digits from memory,
// recomputed with R 4.2.2 (reference statistics, P06). Case d is also D. G.
// Altman et al., Statistics with Confidence (2000) p. 49.
func TestRiskDifferenceNewcombeTable(t *testing.T) {
	for _, c := range []struct {
		name   string
		groups TwoGroups
		// Limits of the hybrid, Mee's and Miettinen and Nurminen's interval.
		newcombe, mee, miettinen Interval
	}{
		{"a", TwoGroups{56, 70, 48, 80}, Interval{0.0524314724024, 0.333872654037}, Interval{0.0533338492913, 0.337729463741}, Interval{0.0528297132458, 0.338172940016}},
		{"b", TwoGroups{9, 10, 3, 10}, Interval{0.170522723935, 0.809017973535}, Interval{0.182126499457, 0.83695033089}, Interval{0.170025016424, 0.840649543943}},
		{"c", TwoGroups{6, 7, 2, 7}, Interval{0.0582279274823, 0.806249637524}, Interval{0.0544483277431, 0.847809084468}, Interval{0.0341755450844, 0.853405259897}},
		{"d", TwoGroups{5, 56, 0, 29}, Interval{-0.0381371479035, 0.192560013855}, Interval{-0.0313270687738, 0.192560013855}, Interval{-0.0325965617435, 0.193330976691}},
		{"e", TwoGroups{0, 10, 0, 20}, Interval{-0.161125158053, 0.277532799863}, Interval{-0.161125158053, 0.277532799863}, Interval{-0.165760227542, 0.284381339534}},
		{"f", TwoGroups{0, 10, 0, 10}, Interval{-0.277532799863, 0.277532799863}, Interval{-0.277532799863, 0.277532799863}, Interval{-0.287933941282, 0.287933941282}},
		{"g", TwoGroups{10, 10, 0, 20}, Interval{0.679086037142, 1}, Interval{0.722467200137, 1}, Interval{0.715618660466, 1}},
		{"h", TwoGroups{10, 10, 0, 10}, Interval{0.607509350431, 1}, Interval{0.677749683894, 1}, Interval{0.663641551895, 1}},
	} {
		for method, want := range map[DifferenceMethod]Interval{NewcombeHybrid: c.newcombe, Mee: c.mee, MiettinenNurminen: c.miettinen} {
			tolerance := 1e-10
			if method != NewcombeHybrid {
				tolerance = 1e-8 // R searched these roots
			}
			got, err := RiskDifference(c.groups, method, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			name := fmt.Sprintf("%s %s", c.name, method)
			closeTo(t, name+" lower", got.Lower, want.Lower, tolerance)
			closeTo(t, name+" upper", got.Upper, want.Upper, tolerance)
		}
	}
	// As printed, the rows with digits for each method.
	for _, c := range []struct {
		groups TwoGroups
		method DifferenceMethod
		want   Interval
	}{
		{TwoGroups{56, 70, 48, 80}, NewcombeHybrid, Interval{0.0524, 0.3339}},
		{TwoGroups{56, 70, 48, 80}, Mee, Interval{0.0533, 0.3377}},
		{TwoGroups{56, 70, 48, 80}, MiettinenNurminen, Interval{0.0528, 0.3382}},
		{TwoGroups{10, 10, 0, 20}, MiettinenNurminen, Interval{0.7156, 1}},
		{TwoGroups{5, 56, 0, 29}, NewcombeHybrid, Interval{-0.0381, 0.1926}},
	} {
		got, err := RiskDifference(c.groups, c.method, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		rounds(t, c.method.String()+" lower", got.Lower, c.want.Lower, 1e-4)
		rounds(t, c.method.String()+" upper", got.Upper, c.want.Upper, 1e-4)
	}
}

// Ten million attempts with rare failures, where the textbook cubic loses
// digits: mpmath 1.3.0 with 50 digits, by bisection on that cubic.
func TestRiskDifferenceManyAttempts(t *testing.T) {
	for _, c := range []struct {
		groups TwoGroups
		method DifferenceMethod
		want   Interval
	}{
		{TwoGroups{20, 2000, 50000, 10000000}, Mee, Interval{0.00148243850806942, 0.010396078622589}},
		{TwoGroups{20, 2000, 50000, 10000000}, MiettinenNurminen, Interval{0.00148243836954673, 0.0103960789485657}},
		{TwoGroups{3, 10000, 50000, 9990003}, Mee, Interval{-0.00490997668476586, -0.00412243012420633}},
		{TwoGroups{3, 10000, 50000, 9990003}, MiettinenNurminen, Interval{-0.00490997669038674, -0.00412243008082907}},
	} {
		got, err := RiskDifference(c.groups, c.method, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		name := fmt.Sprintf("%v %s", c.groups, c.method)
		closeTo(t, name+" lower", got.Lower, c.want.Lower, 1e-9)
		closeTo(t, name+" upper", got.Upper, c.want.Upper, 1e-9)
	}
}

// Placebo 189 of 11034, aspirin 104 of 11037: A. Agresti, Categorical Data
// Analysis (2002) sections 2.2-3.1; limits of the difference by R 4.2.2
// (reference statistics, P07).
func TestNumberNeededAspirin(t *testing.T) {
	g := TwoGroups{189, 11034, 104, 11037}
	i, err := RiskDifference(g, NewcombeHybrid, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "lower", i.Lower, 0.00470202974638, 1e-10)
	closeTo(t, "upper", i.Upper, 0.0107750837769, 1e-10)
	// The published number needed comes from the limits of Wald.
	n, err := NumberNeededFrom(0.007706023976, Interval{0.00468775067505, 0.010724297277})
	if err != nil {
		t.Fatal(err)
	}
	if n.EstimateFewer || n.Fewer != nil || n.More == nil || n.More.Most == nil {
		t.Fatalf("%+v: A failed more often, and 0 is excluded", n)
	}
	closeTo(t, "number needed", *n.Estimate, 129.768607406, 1e-9)
	closeTo(t, "least", n.More.Least, 93.2462029142, 1e-9)
	closeTo(t, "most", *n.More.Most, 213.321925443, 1e-9)
}

// What D. G. Altman, BMJ 317 (1998) 1309-1312, shows for a difference that is
// not significant: with a reduction of 10 % and limits −5 % to +25 %, the number
// needed is 10, from 4 for benefit through infinity to 20 for harm. (His figures
// from memory; the inverses are arithmetic.)
func TestNumberNeededThroughInfinity(t *testing.T) {
	n, err := NumberNeededFrom(-0.1, Interval{-0.25, 0.05})
	if err != nil {
		t.Fatal(err)
	}
	if !n.EstimateFewer || *n.Estimate != 10 || n.Fewer.Least != 4 || n.Fewer.Most != nil || n.More.Least != 20 || n.More.Most != nil {
		t.Errorf("%+v, fewer %+v, more %+v", n, n.Fewer, n.More)
	}
	for _, c := range []struct {
		difference  float64
		interval    Interval
		estimate    bool
		fewer, more bool
	}{
		{0, Interval{-0.2, 0.2}, false, true, true},
		{0, Interval{0, 0}, false, false, false},
		{-0.2, Interval{-0.4, 0}, true, true, false},
		{0.2, Interval{0, 0.4}, true, false, true},
		{-1, Interval{-1, -0.5}, true, true, false},
	} {
		n, err := NumberNeededFrom(c.difference, c.interval)
		if err != nil || (n.Estimate != nil) != c.estimate || (n.Fewer != nil) != c.fewer || (n.More != nil) != c.more {
			t.Errorf("%v: %+v %v", c, n, err)
		}
		if c.interval.Upper == 0 && n.Fewer != nil && n.Fewer.Most != nil {
			t.Errorf("%v: a limit at no difference is a number without end", c)
		}
	}
	for _, c := range []struct {
		interval Interval
		argument string
	}{
		{Interval{0.3, 0.4}, "the lower limit of the difference"}, {Interval{-2, 0.4}, "the lower limit of the difference"},
		{Interval{math.NaN(), 0.4}, "the lower limit of the difference"}, {Interval{-0.1, 0.1}, "the upper limit of the difference"},
	} {
		_, err := NumberNeededFrom(0.2, c.interval)
		if bad, ok := errors.AsType[*ArgumentError](err); !ok || bad.Argument != c.argument {
			t.Errorf("%v: %v", c.interval, err)
		}
	}
}

func TestTwoGroupsRefused(t *testing.T) {
	for _, c := range []struct {
		groups             TwoGroups
		argument, sentence string
	}{
		{TwoGroups{0, 0, 1, 2}, "attempts of A", "attempts of A is 0, but must be at least 1"},
		{TwoGroups{1, 2, 0, 0}, "attempts of B", "attempts of B is 0, but must be at least 1"},
		{TwoGroups{3, 2, 0, 1}, "failures of A", "failures of A is 3, but must be at most the number of attempts, 2"},
		{TwoGroups{1, 2, -1, 1}, "failures of B", "failures of B is -1, but must be at least 0"},
		{TwoGroups{1, MaxCount, 0, 1}, "attempts of A", "attempts of A is 1099511627776, but must be at most 549755813888"},
	} {
		_, err := RiskDifference(c.groups, NewcombeHybrid, 0.95)
		refused(t, err, c.argument, c.sentence)
		_, err = RelativeRisk(c.groups, Katz, 0.95)
		refused(t, err, c.argument, c.sentence)
		_, err = OddsRatio(c.groups, ConditionalExact, 0.95)
		refused(t, err, c.argument, c.sentence)
	}
	g := TwoGroups{1, 2, 1, 3}
	for _, confidence := range []float64{0, 1, math.NaN()} {
		for name, f := range map[string]func() error{
			"difference": func() error { _, err := RiskDifference(g, Mee, confidence); return err },
			"risk":       func() error { _, err := RelativeRisk(g, Katz, confidence); return err },
			"odds":       func() error { _, err := OddsRatio(g, WoolfLog, confidence); return err },
			"common":     func() error { _, err := CommonOddsRatio([]TwoGroups{g}, confidence); return err },
			"clusters":   func() error { _, err := CompareClusters([]TwoGroups{g, g}, confidence); return err },
		} {
			err := f()
			if bad, ok := errors.AsType[*ArgumentError](err); !ok || bad.Argument != "confidence" {
				t.Errorf("%s at %g: %v", name, confidence, err)
			}
		}
	}
	_, err := RiskDifference(g, 9, 0.95)
	refused(t, err, "method", "method is DifferenceMethod(9), but must be newcombe, mee or miettinen-nurminen")
	_, err = RelativeRisk(g, 0, 0.95)
	refused(t, err, "method", "method is RelativeRiskMethod(0), but must be katz, koopman or miettinen-nurminen")
	_, err = OddsRatio(g, 7, 0.95)
	refused(t, err, "method", "method is OddsRatioMethod(7), but must be exact, mid-p or woolf")
}

func TestComparisonMethodNames(t *testing.T) {
	for _, m := range []DifferenceMethod{NewcombeHybrid, Mee, MiettinenNurminen} {
		if got, err := ParseDifferenceMethod(m.String()); got != m || err != nil {
			t.Errorf("%s: %v %v", m, got, err)
		}
	}
	for _, m := range []RelativeRiskMethod{Katz, Koopman, MiettinenNurminenRatio} {
		if got, err := ParseRelativeRiskMethod(m.String()); got != m || err != nil {
			t.Errorf("%s: %v %v", m, got, err)
		}
	}
	for _, m := range []OddsRatioMethod{ConditionalExact, ConditionalMidP, WoolfLog} {
		if got, err := ParseOddsRatioMethod(m.String()); got != m || err != nil {
			t.Errorf("%s: %v %v", m, got, err)
		}
	}
	for _, m := range []RateRatioMethod{RateExact, RateMidP} {
		if got, err := ParseRateRatioMethod(m.String()); got != m || err != nil {
			t.Errorf("%s: %v %v", m, got, err)
		}
	}
	_, err := ParseDifferenceMethod("wald")
	refused(t, err, "method", `method is "wald", but must be newcombe, mee or miettinen-nurminen`)
	_, err = ParseRelativeRiskMethod("x")
	refused(t, err, "method", `method is "x", but must be katz, koopman or miettinen-nurminen`)
	_, err = ParseOddsRatioMethod("x")
	refused(t, err, "method", `method is "x", but must be exact, mid-p or woolf`)
	_, err = ParseRateRatioMethod("x")
	refused(t, err, "method", `method is "x", but must be exact or mid-p`)
}
