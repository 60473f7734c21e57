package stats

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// ratTumours are R. E. Tarone, Biometrics 38 (1982) 215-220, in the order of the
// reference statistics, P14.
func ratTumours() []FailureCount {
	var groups []FailureCount
	for _, g := range []struct {
		times, failures int
		attempts        int64
	}{
		{7, 0, 20}, {4, 0, 19}, {2, 0, 18}, {1, 0, 17}, {4, 1, 20}, {2, 1, 19}, {2, 1, 18},
		{1, 2, 25}, {1, 2, 24}, {1, 2, 23}, {6, 2, 20}, {1, 1, 10}, {1, 5, 49}, {1, 2, 19},
		{1, 5, 46}, {1, 3, 27}, {1, 2, 17}, {1, 7, 49}, {1, 7, 47}, {2, 3, 20}, {1, 2, 13},
		{1, 9, 48}, {1, 10, 50}, {7, 4, 20}, {1, 10, 48}, {3, 4, 19}, {1, 5, 22}, {1, 11, 46},
		{1, 12, 49}, {2, 5, 20}, {1, 6, 23}, {1, 5, 19}, {1, 6, 22}, {3, 6, 20}, {1, 16, 52},
		{1, 15, 46}, {1, 15, 47}, {1, 9, 24}, {1, 4, 14},
	} {
		for range g.times {
			groups = append(groups, FailureCount{int64(g.failures), g.attempts})
		}
	}
	return groups
}

func TestShrinkProportionsOfRatTumours(t *testing.T) {
	groups := ratTumours()
	if len(groups) != 71 {
		t.Fatalf("%d groups; the data have 71", len(groups))
	}
	s, err := ShrinkProportions(groups)
	if err != nil || s.Fallback != Fitted {
		t.Fatalf("%v, %v", s.Fallback, err)
	}
	closeTo(t, "alpha", s.Prior.Alpha, 2.34161440361, 1e-8)
	closeTo(t, "beta", s.Prior.Beta, 14.1148043, 1e-8)
	closeTo(t, "mean", s.Prior.Mean(), 0.142291858622, 1e-9)
	if math.Abs(s.LogLikelihood+156.568929883) > 1e-8 {
		t.Errorf("log-likelihood %.12g", s.LogLikelihood)
	}
	last := s.Posteriors[70]
	closeTo(t, "posterior mean of 71", last.Mean(), 0.208219307244, 1e-8)
	i, err := last.Interval(0.95)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "lower of 71", i.Lower, 0.0862163522629, 1e-8)
	closeTo(t, "upper of 71", i.Upper, 0.366352001153, 1e-8)
	closeTo(t, "above its upper limit", last.Above(i.Upper), 0.025, 1e-10)
	closeTo(t, "posterior mean of 1", s.Posteriors[0].Mean(), 0.0642305110286, 1e-8)
	// post1.hi95 is the one-sided 95 % limit.
	closeTo(t, "above the limit of 1", s.Posteriors[0].Above(0.141088325063), 0.05, 1e-7)
}

// Ten pumps: D. P. Gaver, I. G. O'Muircheartaigh, Technometrics 29 (1987) 1-15;
// reference statistics, P15.
func TestShrinkRatesOfPumps(t *testing.T) {
	y := []int64{5, 1, 5, 14, 3, 19, 1, 1, 4, 22}
	exposure := []float64{94.3, 15.7, 62.9, 126, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5}
	var pumps []ExposedCount
	for i := range y {
		pumps = append(pumps, ExposedCount{y[i], exposure[i]})
	}
	s, err := ShrinkRates(pumps)
	if err != nil || s.Fallback != Fitted {
		t.Fatalf("%v, %v", s.Fallback, err)
	}
	closeTo(t, "shape", s.Prior.Shape, 0.822965078634, 1e-8)
	closeTo(t, "rate", s.Prior.Rate, 1.2616532803, 1e-8)
	closeTo(t, "mean", s.Prior.Mean(), 0.652290999028, 1e-9)
	if math.Abs(s.LogLikelihood+32.2578363033) > 1e-8 {
		t.Errorf("log-likelihood %.12g", s.LogLikelihood)
	}
	for i, want := range []float64{
		0.0609341182237, 0.107475671652, 0.090754598439, 0.116476288784, 0.587998915632,
		0.606918606003, 0.788597967597, 0.788597967597, 1.43470033239, 1.94045552396,
	} {
		closeTo(t, "posterior mean", s.Posteriors[i].Mean(), want, 1e-8)
	}
	for _, c := range []struct {
		pump         int
		lower, upper float64
	}{{9, 1.22766318534, 2.81379026225}, {6, 0.0820138741994, 2.27592657562}} {
		i, err := s.Posteriors[c.pump].Interval(0.95)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, "lower", i.Lower, c.lower, 1e-8)
		closeTo(t, "upper", i.Upper, c.upper, 1e-8)
		closeTo(t, "above its upper limit", s.Posteriors[c.pump].Above(i.Upper), 0.025, 1e-10)
	}
}

// The order of groups, what is called a failure, and the unit of exposure are
// conventions; no answer depends on them.
func TestShrinkageKeepsNoConvention(t *testing.T) {
	groups := ratTumours()
	want, _ := ShrinkProportions(groups)
	reversed, opposite := slices.Clone(groups), slices.Clone(groups)
	slices.Reverse(reversed)
	for i, g := range opposite {
		opposite[i].Failures = g.Attempts - g.Failures
	}
	other, _ := ShrinkProportions(reversed)
	closeTo(t, "alpha, reversed", other.Prior.Alpha, want.Prior.Alpha, 1e-8)
	mirrored, _ := ShrinkProportions(opposite)
	closeTo(t, "beta, opposite", mirrored.Prior.Beta, want.Prior.Alpha, 1e-8)
	closeTo(t, "mean, opposite", 1-mirrored.Posteriors[3].Mean(), want.Posteriors[3].Mean(), 1e-8)

	hours := []ExposedCount{{5, 94.3}, {1, 15.7}, {14, 126}, {19, 31.4}, {22, 10.5}}
	days := slices.Clone(hours)
	for i := range days {
		days[i].Exposure /= 24
	}
	a, _ := ShrinkRates(hours)
	b, _ := ShrinkRates(days)
	closeTo(t, "shape in days", b.Prior.Shape, a.Prior.Shape, 1e-8)
	closeTo(t, "mean in days", b.Posteriors[0].Mean(), 24*a.Posteriors[0].Mean(), 1e-8)
}

// When the true rates are drawn as the model says, central 95 % intervals hold
// 95 % of them. 200 groups of 10 runs: three standard errors are 1.5 %.
func TestShrinkageCovers(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	const runs, groups = 10, 200
	covered, coveredRate := 0, 0
	for range runs {
		var counts []FailureCount
		var exposed []ExposedCount
		var truth, truthRate []float64
		for range groups {
			x, y := math.Exp(logGammaDraw(random, 2)), math.Exp(logGammaDraw(random, 60))
			p, n := x/(x+y), int64(20+random.IntN(400))
			var failures int64
			for range n {
				if random.Float64() < p {
					failures++
				}
			}
			counts, truth = append(counts, FailureCount{failures, n}), append(truth, p)

			rate, exposure := math.Exp(logGammaDraw(random, 3))/3, 1+10*random.Float64()
			var events int64
			for at := random.ExpFloat64(); at < rate*exposure; at += random.ExpFloat64() {
				events++
			}
			exposed, truthRate = append(exposed, ExposedCount{events, exposure}), append(truthRate, rate)
		}
		s, err := ShrinkProportions(counts)
		if err != nil {
			t.Fatal(err)
		}
		g, err := ShrinkRates(exposed)
		if err != nil {
			t.Fatal(err)
		}
		for i := range groups {
			if in, _ := s.Posteriors[i].Interval(0.95); in.Lower <= truth[i] && truth[i] <= in.Upper {
				covered++
			}
			if in, _ := g.Posteriors[i].Interval(0.95); in.Lower <= truthRate[i] && truthRate[i] <= in.Upper {
				coveredRate++
			}
		}
	}
	for name, n := range map[string]int{"proportions": covered, "rates": coveredRate} {
		if share := float64(n) / (runs * groups); math.Abs(share-0.95) > 0.015 {
			t.Errorf("intervals of %s cover %.3f of the truth", name, share)
		}
	}
}

func TestShrinkageFallsBack(t *testing.T) {
	for _, c := range []struct {
		name   string
		groups []FailureCount
		want   Fallback
		first  BetaPosterior
	}{
		{"two groups", []FailureCount{{3, 10}, {0, 20}}, FewGroups, BetaPosterior{3.5, 7.5}},
		{"equal rates", []FailureCount{{3, 30}, {1, 10}, {10, 100}, {2, 20}}, NoSpread, BetaPosterior{16.5, 144.5}},
		{"no failures", []FailureCount{{0, 30}, {0, 10}, {0, 100}}, NoSpread, BetaPosterior{0.5, 140.5}},
		{"nothing but failures", []FailureCount{{30, 30}, {10, 10}, {1, 1}}, NoSpread, BetaPosterior{41.5, 0.5}},
		{"all or nothing", []FailureCount{{30, 30}, {0, 40}, {50, 50}, {0, 20}}, EndlessSpread, BetaPosterior{30.5, 0.5}},
	} {
		s, err := ShrinkProportions(c.groups)
		if err != nil || s.Fallback != c.want || s.Posteriors[0] != c.first || s.Prior != (BetaPosterior{}) {
			t.Errorf("%s: %+v, %v", c.name, s, err)
		}
	}
	// A group without a record has the prior, or the pooled record.
	s, _ := ShrinkProportions([]FailureCount{{0, 0}, {3, 10}})
	if s.Fallback != FewGroups || s.Posteriors[0] != (BetaPosterior{3.5, 7.5}) {
		t.Errorf("without a record: %+v", s)
	}
	s, _ = ShrinkProportions([]FailureCount{{0, 0}, {3, 10}, {0, 200}, {50, 90}})
	if s.Fallback != Fitted || s.Posteriors[0] != s.Prior {
		t.Errorf("without a record: %+v", s)
	}

	for _, c := range []struct {
		name   string
		groups []ExposedCount
		want   Fallback
		first  GammaPosterior
	}{
		{"one group", []ExposedCount{{3, 2}}, FewGroups, GammaPosterior{3.5, 2}},
		{"equal rates", []ExposedCount{{3, 3}, {1, 1}, {10, 10}}, NoSpread, GammaPosterior{14.5, 14}},
		{"no events", []ExposedCount{{0, 3}, {0, 1}, {0, 10}}, NoSpread, GammaPosterior{0.5, 14}},
	} {
		s, err := ShrinkRates(c.groups)
		if err != nil || s.Fallback != c.want || s.Posteriors[0] != c.first || s.Prior != (GammaPosterior{}) {
			t.Errorf("%s: %+v, %v", c.name, s, err)
		}
	}
	for f, want := range map[Fallback]string{Fitted: "fitted", FewGroups: "few-groups", NoSpread: "no-spread", EndlessSpread: "endless-spread", 9: "Fallback(9)"} {
		if f.String() != want {
			t.Errorf("%v, want %s", f, want)
		}
	}
}

func TestShrinkageRefuses(t *testing.T) {
	_, err := ShrinkProportions(nil)
	refused(t, err, "number of groups with attempts", "number of groups with attempts is 0, but must be at least 1")
	_, err = ShrinkProportions([]FailureCount{{1, 3}, {4, 3}})
	refused(t, err, "failures of group 2", "failures of group 2 is 4, but must be at least 0 and at most the number of attempts, 3")
	_, err = ShrinkProportions([]FailureCount{{0, -3}})
	refused(t, err, "attempts of group 1", "attempts of group 1 is -3, but must be at least 0")
	_, err = ShrinkRates(nil)
	refused(t, err, "number of groups with exposure", "number of groups with exposure is 0, but must be at least 1")
	_, err = ShrinkRates([]ExposedCount{{1, 0}})
	refused(t, err, "exposure of group 1", "exposure of group 1 is 0, but must be above 0, as there are 1 events")
	_, err = ShrinkRates([]ExposedCount{{1, math.NaN()}})
	refused(t, err, "exposure of group 1", "exposure of group 1 is NaN, but must be a finite number of at least 0")
	_, err = BetaPosterior{1, 1}.Interval(1)
	refused(t, err, "confidence", "confidence is 1, but must lie between 0 and 1, both excluded")
	_, err = GammaPosterior{1, 1}.Interval(0)
	refused(t, err, "confidence", "confidence is 0, but must lie between 0 and 1, both excluded")
}

// Counts far beyond any fleet, and priors from nearly flat to nearly certain,
// give finite posteriors, and a large group keeps to its own rate.
func TestShrinkageOfLargeCounts(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 5))
	var groups []FailureCount
	var exposed []ExposedCount
	for i := range 500 {
		n := int64(1) << (i % 31)
		p := math.Exp(logGammaDraw(random, 0.5) - 5)
		failures := int64(float64(n) * math.Min(p, 0.9))
		groups = append(groups, FailureCount{failures, n})
		exposed = append(exposed, ExposedCount{failures, float64(n) / 100})
	}
	s, err := ShrinkProportions(groups)
	if err != nil || s.Fallback != Fitted {
		t.Fatalf("%v, %v", s.Fallback, err)
	}
	g, err := ShrinkRates(exposed)
	if err != nil || g.Fallback != Fitted {
		t.Fatalf("%v, %v", g.Fallback, err)
	}
	for i, p := range s.Posteriors {
		in, err := p.Interval(0.95)
		if err != nil || !(0 <= in.Lower && in.Lower <= in.Upper && in.Upper <= 1) {
			t.Fatalf("group %d: %v, %v", i, in, err)
		}
		rate, err := g.Posteriors[i].Interval(0.95)
		if err != nil || !(0 <= rate.Lower && rate.Lower <= rate.Upper && rate.Upper < math.Inf(1)) {
			t.Fatalf("group %d: %v, %v", i, rate, err)
		}
		if n := groups[i].Attempts; n > 1<<28 && groups[i].Failures > 1000 {
			closeTo(t, "mean of a large group", p.Mean(), float64(groups[i].Failures)/float64(n), 1e-2)
		}
	}
}

func BenchmarkShrinkProportions500(b *testing.B) {
	random := rand.New(rand.NewPCG(3, 5))
	var groups []FailureCount
	for range 500 {
		n := int64(1 + random.IntN(1_000_000_000))
		groups = append(groups, FailureCount{int64(float64(n) * 0.01 * random.Float64()), n})
	}
	for b.Loop() {
		if _, err := ShrinkProportions(groups); err != nil {
			b.Fatal(err)
		}
	}
}
