package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Interpolated exact limits after Spiegelhalter (2005), reference statistics,
// P26 (a); what is below 0 there is clipped.
func TestBinomialFunnel(t *testing.T) {
	for _, c := range []struct {
		attempts     int64
		tail         float64
		lower, upper float64
	}{
		{25, 0.025, 0, 0.214044625821},
		{25, 0.001, 0, 0.307970682988},
		{50, 0.025, 0.0138629269573, 0.179722727623},
		{50, 0.001, 0, 0.240128418752},
		{100, 0.025, 0.0403805955244, 0.157718611639},
		{100, 0.001, 0.0141788650084, 0.198356718503},
		{400, 0.025, 0.0703111559821, 0.129129645099},
		{400, 0.001, 0.0553811972607, 0.147816028894},
	} {
		i, err := BinomialFunnel(0.1, c.attempts, c.tail)
		if err != nil || math.Abs(i.Lower-c.lower) > 1e-10 || math.Abs(i.Upper-c.upper) > 1e-10 {
			t.Errorf("%d at %g: %.12g to %.12g, %v", c.attempts, c.tail, i.Lower, i.Upper, err)
		}
	}
	_, err := BinomialFunnel(1.5, 3, 0.025)
	refused(t, err, "target", "target is 1.5, but must lie between 0 and 1")
	_, err = BinomialFunnel(0.5, 0, 0.025)
	refused(t, err, "attempts", "attempts is 0, but must be at least 1")
	_, err = BinomialFunnel(0.5, 3, 0.5)
	refused(t, err, "tail", "tail is 0.5, but must lie between 0 and one half, both excluded")
	for _, target := range []float64{0, 1} {
		if i, err := BinomialFunnel(target, 7, 0.025); err != nil || math.Abs(i.Lower-target) > 1 || i.Lower > i.Upper || i.Upper > 1 {
			t.Errorf("target %g: %v, %v", target, i, err)
		}
	}
}

// Worked by hand for a mean of 2: P(X ≤ 4) = 7·e⁻² = 0.947347, P(X ≤ 5) =
// (7+4/15)·e⁻² = 0.983436, so r = 5 at 0.975, and the limit is
// (5 − (0.983436−0.975)/0.036089)/2 = 2.38312; below, P(X ≤ 0) = e⁻² has gone
// past 0.025 by more than can be interpolated without falling below 0.
func TestPoissonFunnel(t *testing.T) {
	i, err := PoissonFunnel(2, 0.025)
	e := math.Exp(-2)
	want := (5 - ((7+4.0/15)*e-0.975)/(4.0/15*e)) / 2
	if err != nil || math.Abs(want-2.38312) > 1e-4 {
		t.Fatal(want, err)
	}
	closeTo(t, "upper", i.Upper, want, 1e-12)
	closeTo(t, "lower", i.Lower, 0, 0)
	_, err = PoissonFunnel(0, 0.025)
	refused(t, err, "expected", "expected is 0, but must be above 0 and at most 2^40")
	// Far out the limits are the normal ones: 1 ± 2/√E.
	i, _ = PoissonFunnel(1e9, TwoSigmaTail)
	if math.Abs(i.Upper-1-2e-4*math.Sqrt(0.1)) > 1e-8 || math.Abs(1-i.Lower-2e-4*math.Sqrt(0.1)) > 1e-8 {
		t.Errorf("limits of a large expectation: %v", i)
	}
}

func TestSigmaTails(t *testing.T) {
	// The normal distribution's tails, Abramowitz and Stegun (1964), table 26.1.
	rounds(t, "two sigma", TwoSigmaTail, 0.0227501319482, 1e-13)
	rounds(t, "three sigma", ThreeSigmaTail, 0.0013498980316, 1e-13)
}

// Worked by hand. The quantiles at 0.1 and 0.9 of eleven values are the second
// from each end: 1, 4 and 5 take the places of −9, and of 40.
func TestOverDispersion(t *testing.T) {
	z := []float64{40, 0, 1, -1, 2, -2, 1, -9, 0, 3, -3}
	for _, c := range []struct{ share, want float64 }{
		{0, (1600 + 1 + 1 + 4 + 4 + 1 + 81 + 9 + 9) / 11.0},
		{0.1, (9 + 1 + 1 + 4 + 4 + 1 + 9 + 9 + 9) / 11.0},
	} {
		got, err := OverDispersion(z, c.share)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, "over-dispersion", got, c.want, 1e-14)
	}
	// Of four values the quantile at 0.9 lies seven tenths of the way from the
	// third to the fourth.
	got, _ := OverDispersion([]float64{0, 0, 0, 10}, 0.1)
	closeTo(t, "of four", got, 7*7/4.0, 1e-12)
	if z[0] != 40 {
		t.Error("the deviations were put in another order")
	}
	_, err := OverDispersion(nil, 0.1)
	refused(t, err, "number of deviations", "number of deviations is 0, but must be at least 1")
	_, err = OverDispersion([]float64{1, math.NaN()}, 0.1)
	refused(t, err, "deviation", "deviation is NaN, but must be finite")
	_, err = OverDispersion(z, 0.5)
	refused(t, err, "share", "share is 0.5, but must be at least 0 and below one half")
}

// Normal deviations of standard deviation 1.5 have a factor of 2.25, unwinsorised.
func TestOverDispersionFindsTheFactor(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	z := make([]float64, 20000)
	for i := range z {
		z[i] = 1.5 * random.NormFloat64()
	}
	if got, _ := OverDispersion(z, 0); math.Abs(got-2.25) > 0.1 {
		t.Errorf("factor %g", got)
	}
	if got, _ := OverDispersion(z, 0.1); !(got > 1.2 && got < 2.25) {
		t.Errorf("winsorised factor %g", got)
	}
}

func TestWidenFunnel(t *testing.T) {
	if got := WidenFunnel(Interval{0.75, 1.5}, 1, 4); got != (Interval{0.5, 2}) {
		t.Errorf("%v", got)
	}
	if got := WidenFunnel(Interval{0.25, 1.5}, 1, 4); got != (Interval{0, 2}) {
		t.Errorf("not clipped: %v", got)
	}
	if got := WidenFunnel(Interval{0.75, 1.5}, 1, 0.3); got != (Interval{0.75, 1.5}) {
		t.Errorf("narrowed: %v", got)
	}
}

// Reference statistics, P26 (b): 4 of 3.3 is the example of a public
// epidemiology calculator; Byar's limits are Breslow and Day (1987), 2.13.
func TestStandardisedRatio(t *testing.T) {
	for _, c := range []struct {
		observed     int64
		expected     float64
		method       RatioMethod
		lower, upper float64
	}{
		{4, 3.3, ExactRatio, 0.330262234432, 3.10351171982},
		{4, 3.3, MidPRatio, 0.385134897701, 2.92376959698},
		{4, 3.3, ByarRatio, 0.326106184291, 3.10325840579},
		{0, 2.5, ExactRatio, 0, 1.47555178165},
		{0, 2.5, MidPRatio, 0, 1.19829290942},
		{0, 2.5, ByarRatio, 0, 1.46720473287},
		{157, 120.4, ExactRatio, 1.10799124877, 1.52466298223},
		{157, 120.4, MidPRatio, 1.11166374901, 1.52035408044},
		{157, 120.4, ByarRatio, 1.10797921308, 1.52467108457},
	} {
		i, err := StandardisedRatio(c.observed, c.expected, c.method, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, c.method.String()+" lower", i.Lower, c.lower, 1e-9)
		closeTo(t, c.method.String()+" upper", i.Upper, c.upper, 1e-9)
		// At the limit itself the test's p-value is 1 less the confidence.
		if c.method == ExactRatio && c.observed > 0 {
			for _, end := range []float64{i.Lower, i.Upper} {
				p, err := StandardisedRatioTest(c.observed, c.expected*end, 1)
				if err != nil {
					t.Fatal(err)
				}
				closeTo(t, "p at a limit", p, 0.05, 1e-9)
			}
		}
	}
	for _, m := range []RatioMethod{ExactRatio, MidPRatio, ByarRatio} {
		if got, err := ParseRatioMethod(m.String()); got != m || err != nil {
			t.Errorf("%v read as %v, %v", m, got, err)
		}
	}
	_, err := ParseRatioMethod("rough")
	refused(t, err, "method", `method is "rough", but must be exact, mid-p or byar`)
	_, err = StandardisedRatio(1, 1, 7, 0.95)
	refused(t, err, "method", "method is RatioMethod(7), but must be exact, mid-p or byar")
	_, err = StandardisedRatio(1, 0, ExactRatio, 0.95)
	refused(t, err, "expected", "expected is 0, but must be above 0 and at most 2^40")
	_, err = StandardisedRatio(-1, 1, ByarRatio, 0.95)
	refused(t, err, "observed", "observed is -1, but must be at least 0")
	_, err = StandardisedRatio(1, 1, ByarRatio, 0)
	refused(t, err, "confidence", "confidence is 0, but must lie between 0 and 1, both excluded")
}

// Worked by hand: nothing seen where 3 are expected has p = 2·e⁻³; the normal
// deviate of e⁻³ = 0.0497871 is 1.64690, half of which, at an over-dispersion
// of 4, leaves 0.205145 (normal tables, interpolated).
func TestStandardisedRatioTest(t *testing.T) {
	p, err := StandardisedRatioTest(0, 3, 1)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "p", p, 2*math.Exp(-3), 1e-12)
	p, _ = StandardisedRatioTest(0, 3, 4)
	closeTo(t, "p, over-dispersed", p, 2*0.205145, 1e-3)
	if p, _ := StandardisedRatioTest(3, 3, 1); p != 1 {
		t.Errorf("p of what was expected is %g", p)
	}
	if p, _ := StandardisedRatioTest(1_000_000, 1, 2); p != 0 {
		t.Errorf("p of the impossible is %g", p)
	}
	_, err = StandardisedRatioTest(1, 3, math.NaN())
	refused(t, err, "over-dispersion", "over-dispersion is NaN, but must be a finite number above 0")
}

// Worked by hand: pooled rates are 12/60 and 6/120, so unit 0 expects 10·0.2 +
// 100·0.05 = 7, unit 1 expects 50·0.2 + 20·0.05 = 11.
func TestExpectedFailures(t *testing.T) {
	cells := []StratumCount{{0, 0, 3, 10}, {1, 0, 9, 50}, {0, 1, 6, 100}, {1, 1, 0, 20}}
	got, err := ExpectedFailures(cells, 3, 2)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "unit 0", got[0], 7, 1e-14)
	closeTo(t, "unit 1", got[1], 11, 1e-14)
	closeTo(t, "unit without a record", got[2], 0, 0)
	_, err = ExpectedFailures(cells, 1, 2)
	refused(t, err, "unit", "unit is 1, but must be at least 0 and below 1")
	_, err = ExpectedFailures(cells, 2, 1)
	refused(t, err, "stratum", "stratum is 1, but must be at least 0 and below 1")
	_, err = ExpectedFailures([]StratumCount{{0, 0, 3, 2}}, 1, 1)
	refused(t, err, "failures of group 1", "failures of group 1 is 3, but must be at least 0 and at most the number of attempts, 2")
}

// Two exponential variables of rates 1 and 3: the first is the larger with
// probability 3/4. Four standard errors of 20,000 draws are 0.012.
func TestPosteriorRanksOfExponentials(t *testing.T) {
	ranks, err := PosteriorRanks([]GammaPosterior{{1, 1}, {1, 3}}, 20000, 1, 0.8)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(ranks[0].Mean-1.25) > 0.0125 || math.Abs(ranks[1].Mean-1.75) > 0.0125 {
		t.Errorf("mean ranks %v", ranks)
	}
	// A quarter is more than the tail of a tenth, and less than one of 0.3.
	if ranks[0].Lower != 1 || ranks[0].Upper != 2 {
		t.Errorf("at 0.8: %v", ranks[0])
	}
	ranks, _ = PosteriorRanks([]GammaPosterior{{1, 1}, {1, 3}}, 20000, 1, 0.4)
	if ranks[0].Upper != 1 || ranks[1].Lower != 2 {
		t.Errorf("at 0.4: %v", ranks)
	}
}

func TestPosteriorRanks(t *testing.T) {
	posteriors := []GammaPosterior{{0.001, 1}, {900, 3}, {1e9, 1e7}, {0.5, 0.002}, {120, 2}}
	a, err := PosteriorRanks(posteriors, 500, 42, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := PosteriorRanks(posteriors, 500, 42, 0.95)
	var sum float64
	for i, r := range a {
		sum += r.Mean
		if r != b[i] || r.Lower < 1 || r.Lower > r.Upper || r.Upper > 5 || r.Mean < 1 || r.Mean > 5 {
			t.Errorf("%d: %v, again %v", i, r, b[i])
		}
	}
	closeTo(t, "sum of ranks", sum, 15, 1e-12)
	if none, err := PosteriorRanks(nil, 10, 1, 0.95); err != nil || len(none) != 0 {
		t.Errorf("of nothing: %v, %v", none, err)
	}
	_, err = PosteriorRanks(posteriors, 0, 1, 0.95)
	refused(t, err, "draws", "draws is 0, but must be at least 1 and at most 1000000")
	_, err = PosteriorRanks([]GammaPosterior{{1, 0}}, 10, 1, 0.95)
	refused(t, err, "posterior parameter", "posterior parameter is 0, but must be a finite number above 0")
	_, err = PosteriorRanks(posteriors, 10, 1, 2)
	refused(t, err, "confidence", "confidence is 2, but must lie between 0 and 1, both excluded")
}
