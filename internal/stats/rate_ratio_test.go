package stats

import (
	"math"
	"testing"
)

// Breast cancer after fluoroscopy, 41 in 28010 woman-years against 15 in 19017:
// J. D. Boice, R. R. Monson, J. Nat. Cancer Inst. 59 (1977) 823-832; ratio
// 1.855759, lower limit 1.005684, mid-P 0.0177 and 0.0355 as printed in a
// statistics package's manual, the rest by R 4.2.2 (reference statistics, P04).
func TestRateRatioFluoroscopy(t *testing.T) {
	r := TwoRates{41, 28010, 15, 19017}
	exact, err := RateRatio(r, RateExact, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	ratioIs(t, "exact", exact, 1.85575865762, 1.00568406269, 3.60930031108, 1e-10)
	rounds(t, "ratio", *exact.Estimate, 1.855759, 1e-6)
	rounds(t, "lower", exact.Lower, 1.005684, 1e-6)
	mid, err := RateRatio(r, RateMidP, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	ratioIs(t, "mid-P", mid, 1.85575865762, 1.04107524343, 3.44942276045, 1e-9)
	p, err := EqualRatesTest(r)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "minimum likelihood", p.MinimumLikelihood, 0.0408520262865, 1e-10)
	closeTo(t, "upper tail", p.Greater, 0.0238301233773, 1e-10)
	closeTo(t, "central", p.Central, 0.0476602467546, 1e-10)
	closeTo(t, "mid-P", p.MidP, 0.0354574217723, 1e-10)
	rounds(t, "mid-P", p.MidP, 0.0355, 1e-4)
}

// M. P. Fay, The R Journal 2(1) (2010) 53-58: 2 in 17877 against 10 in 20000
// have p = 0.042 by minimum likelihood and the interval (0.024, 1.05), which
// contradict each other. Lung cancer in Fredericia against three other towns:
// the second example of R's help page poisson.test. Digits from memory,
// recomputed by R 4.2.2 (reference statistics, P05).
func TestRateRatioConventions(t *testing.T) {
	r := TwoRates{2, 17877, 10, 20000}
	i, err := RateRatio(r, RateExact, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	ratioIs(t, "Fay", i, 0.223751188678, 0.0238373823488, 1.0499546776, 1e-10)
	p, err := EqualRatesTest(r)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "Fay, minimum likelihood", p.MinimumLikelihood, 0.0421343342293, 1e-10)
	rounds(t, "Fay, minimum likelihood", p.MinimumLikelihood, 0.042, 1e-3)
	closeTo(t, "Fay, central", p.Central, 0.0605564484337, 1e-10)
	if i.Covers(1) != (p.Central >= 0.05) {
		t.Error("the central p-value and the exact interval disagree")
	}
	r = TwoRates{11, 800, 21, 3011}
	if i, err = RateRatio(r, RateExact, 0.95); err != nil {
		t.Fatal(err)
	}
	ratioIs(t, "Fredericia", i, 1.97148809524, 0.858426403392, 4.27726594365, 1e-10)
	if p, err = EqualRatesTest(r); err != nil {
		t.Fatal(err)
	}
	closeTo(t, "Fredericia, minimum likelihood", p.MinimumLikelihood, 0.0796686330333, 1e-10)
	rounds(t, "Fredericia, minimum likelihood", p.MinimumLikelihood, 0.07967, 1e-5)
}

// With equal exposures and no event in B, all of a events fall to A with
// probability (ψ/(1+ψ))^a, so the lower limit is where that is 0.025 (exact) or,
// with half weight, 0.05 (mid-P).
func TestRateRatioWithoutEvents(t *testing.T) {
	for method, tail := range map[RateRatioMethod]float64{RateExact: 0.025, RateMidP: 0.05} {
		i, err := RateRatio(TwoRates{6, 10, 0, 10}, method, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if i.Estimate != nil || !i.Unbounded || i.Upper != nil {
			t.Errorf("%s: %+v", method, i)
		}
		p := math.Pow(tail, 1.0/6)
		closeTo(t, method.String(), i.Lower, p/(1-p), 1e-12)
		swapped, err := RateRatio(TwoRates{0, 10, 6, 10}, method, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		ratioIs(t, method.String()+" swapped", swapped, 0, 0, (1-p)/p, 1e-12)
		none, err := RateRatio(TwoRates{0, 10, 0, 20}, method, 0.95)
		if err != nil || none.Estimate != nil || none.Unbounded || !none.Vacuous() {
			t.Errorf("%s without events: %+v %v", method, none, err)
		}
	}
	p, err := EqualRatesTest(TwoRates{6, 10, 0, 10})
	if err != nil {
		t.Fatal(err)
	}
	// 2^−6 in each tail.
	closeTo(t, "minimum likelihood", p.MinimumLikelihood, 2.0/64, 1e-12)
	closeTo(t, "central", p.Central, 2.0/64, 1e-12)
	closeTo(t, "mid-P", p.MidP, 1.0/64, 1e-12)
	if p, err = EqualRatesTest(TwoRates{0, 1, 0, 9}); err != nil || p != (EqualRates{1, 1, 1, 1, 1}) {
		t.Errorf("without events: %+v %v", p, err)
	}
}

// The central p-value and the exact interval say the same, for every pair of
// small counts, whatever the exposures (Fay 2010).
func TestCentralPValueMatchesInterval(t *testing.T) {
	for a := int64(0); a <= 12; a++ {
		for b := int64(0); b <= 12; b++ {
			for _, exposure := range []float64{0.3, 1, 4} {
				r := TwoRates{a, exposure, b, 1}
				i, err := RateRatio(r, RateExact, 0.9)
				if err != nil {
					t.Fatal(err)
				}
				p, err := EqualRatesTest(r)
				if err != nil {
					t.Fatal(err)
				}
				if i.Covers(1) != (p.Central >= 0.1) || p.MidP > p.Central || p.Less+p.Greater < 1 {
					t.Errorf("%v: %+v %+v", r, i, p)
				}
				m, err := RateRatio(r, RateMidP, 0.9)
				if err != nil || m.Lower < i.Lower*(1-1e-12) || m.Upper != nil && *m.Upper > *i.Upper*(1+1e-12) {
					t.Errorf("%v: mid-P %+v is not inside %+v: %v", r, m, i, err)
				}
			}
		}
	}
}

func TestRateRatioRefuses(t *testing.T) {
	for _, c := range []struct {
		rates              TwoRates
		argument, sentence string
	}{
		{TwoRates{-1, 1, 1, 1}, "count of A", "count of A is -1, but must lie between 0 and 549755813888"},
		{TwoRates{1, 1, 1, 0}, "exposure of B", "exposure of B is 0, but must be a finite number above 0"},
		{TwoRates{1, math.NaN(), 1, 1}, "exposure of A", "exposure of A is NaN, but must be a finite number above 0"},
		{TwoRates{1, 1e-200, 1, 1}, "exposure of A", "exposure of A is 1e-200, but must lie within a factor of 1e100 of that of B"},
	} {
		_, err := RateRatio(c.rates, RateExact, 0.95)
		refused(t, err, c.argument, c.sentence)
		_, err = EqualRatesTest(c.rates)
		refused(t, err, c.argument, c.sentence)
	}
	_, err := RateRatio(TwoRates{1, 1, 1, 1}, 0, 0.95)
	refused(t, err, "method", "method is RateRatioMethod(0), but must be exact or mid-p")
	_, err = RateRatio(TwoRates{1, 1, 1, 1}, RateExact, 1)
	refused(t, err, "confidence", "confidence is 1, but must lie between 0 and 1, both excluded")
}
