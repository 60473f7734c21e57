package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

// anyGroups draws groups with rare, middling or frequent failures, among few or
// many attempts, zero cells among them.
func anyGroups(r *rand.Rand) TwoGroups {
	arm := func() (failures, attempts int64) {
		attempts = 1 + r.Int64N([]int64{4, 40, 5000}[r.IntN(3)])
		switch r.IntN(5) {
		case 0:
			return 0, attempts
		case 1:
			return attempts, attempts
		case 2:
			return min(attempts, r.Int64N(6)), attempts
		}
		return r.Int64N(attempts + 1), attempts
	}
	var g TwoGroups
	g.FailuresA, g.AttemptsA = arm()
	g.FailuresB, g.AttemptsB = arm()
	return g
}

// inverse fails the test unless one ratio is the other turned round.
func inverse(t *testing.T, name string, one, other RatioInterval, tolerance float64) {
	t.Helper()
	want := one.Inverted()
	if (want.Estimate == nil) != (other.Estimate == nil) || want.Unbounded != other.Unbounded || (want.Upper == nil) != (other.Upper == nil) {
		t.Errorf("%s: %+v is not the inverse of %+v", name, other, one)
		return
	}
	if want.Estimate != nil {
		closeTo(t, name, *other.Estimate, *want.Estimate, tolerance)
	}
	if want.Upper != nil {
		closeTo(t, name+" upper", *other.Upper, *want.Upper, tolerance)
	}
	closeTo(t, name+" lower", other.Lower, want.Lower, tolerance)
}

// sound fails the test unless the ratio's interval is one, holds the estimate,
// and has no number that is none.
func sound(t *testing.T, name string, r RatioInterval) {
	t.Helper()
	finite := func(v float64) bool { return v >= 0 && !math.IsInf(v, 1) }
	if !finite(r.Lower) || r.Upper != nil && (!finite(*r.Upper) || *r.Upper < r.Lower) {
		t.Errorf("%s: %+v is no interval", name, r)
	}
	if r.Estimate != nil && (!finite(*r.Estimate) || *r.Estimate < r.Lower*(1-1e-9) || r.Upper != nil && *r.Estimate > *r.Upper*(1+1e-9)) {
		t.Errorf("%s: %+v does not hold %g", name, r, *r.Estimate)
	}
	if r.Unbounded && (r.Estimate != nil || r.Upper != nil) {
		t.Errorf("%s: %+v is unbounded and is not", name, r)
	}
}

// Naming the groups the other way round inverts ratios and negates differences.
func TestSwappingTheGroups(t *testing.T) {
	r := rand.New(rand.NewPCG(1959, 719))
	for range 400 {
		g := anyGroups(r)
		confidence := []float64{0.5, 0.9, 0.95, 0.999}[r.IntN(4)]
		for _, m := range []DifferenceMethod{NewcombeHybrid, Mee, MiettinenNurminen} {
			one, err := RiskDifference(g, m, confidence)
			if err != nil {
				t.Fatal(err)
			}
			other, err := RiskDifference(g.Swapped(), m, confidence)
			if err != nil || math.Abs(one.Lower+other.Upper) > 1e-12 || math.Abs(one.Upper+other.Lower) > 1e-12 {
				t.Errorf("%v %s: %v, swapped %v, %v", g, m, one, other, err)
			}
			difference := float64(g.FailuresA)/float64(g.AttemptsA) - float64(g.FailuresB)/float64(g.AttemptsB)
			if !(one.Lower >= -1 && one.Lower <= difference && difference <= one.Upper && one.Upper <= 1) {
				t.Errorf("%v %s at %g: %v does not hold %g", g, m, confidence, one, difference)
			}
			if _, err := NumberNeededFrom(difference, one); err != nil {
				t.Errorf("%v %s: %v", g, m, err)
			}
		}
		for name, f := range map[string]func(TwoGroups) (RatioInterval, error){
			"Katz":    func(g TwoGroups) (RatioInterval, error) { return RelativeRisk(g, Katz, confidence) },
			"Koopman": func(g TwoGroups) (RatioInterval, error) { return RelativeRisk(g, Koopman, confidence) },
			"M-N":     func(g TwoGroups) (RatioInterval, error) { return RelativeRisk(g, MiettinenNurminenRatio, confidence) },
			"exact":   func(g TwoGroups) (RatioInterval, error) { return OddsRatio(g, ConditionalExact, confidence) },
			"mid-P":   func(g TwoGroups) (RatioInterval, error) { return OddsRatio(g, ConditionalMidP, confidence) },
			"Woolf":   func(g TwoGroups) (RatioInterval, error) { return OddsRatio(g, WoolfLog, confidence) },
		} {
			one, err := f(g)
			if err != nil {
				t.Fatal(err)
			}
			other, err := f(g.Swapped())
			if err != nil {
				t.Fatal(err)
			}
			sound(t, name, one)
			inverse(t, name, one, other, 1e-8)
		}
	}
}

// The order of the strata does not matter; swapping the groups in all of them
// inverts the common ratios, negates the difference and leaves the tests alone.
func TestStrataInAnyOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(1985, 91))
	for range 200 {
		strata := make([]TwoGroups, r.IntN(12))
		for i := range strata {
			if strata[i] = anyGroups(r); r.IntN(4) == 0 {
				strata[i].FailuresB, strata[i].AttemptsB = 0, 0
			}
		}
		shuffled, swapped := append([]TwoGroups{}, strata...), make([]TwoGroups, len(strata))
		r.Shuffle(len(strata), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		for i, g := range strata {
			swapped[i] = g.Swapped()
		}
		for name, f := range map[string]func([]TwoGroups, float64) (RatioInterval, error){"odds": CommonOddsRatio, "risk": CommonRelativeRisk} {
			one, err := f(strata, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			again, _ := f(shuffled, 0.95)
			other, _ := f(swapped, 0.95)
			sound(t, name, one)
			inverse(t, name, one, other, 1e-8)
			inverse(t, name, again, other, 1e-8)
		}
		one, _ := CommonRiskDifference(strata, 0.95)
		again, _ := CommonRiskDifference(shuffled, 0.95)
		other, _ := CommonRiskDifference(swapped, 0.95)
		if (one.Interval == nil) != (again.Interval == nil) || (one.Interval == nil) != (other.Interval == nil) {
			t.Errorf("%v: %+v %+v %+v", strata, one, again, other)
		} else if one.Interval != nil && (math.Abs(one.Interval.Lower-again.Interval.Lower) > 1e-10 || math.Abs(one.Interval.Lower+other.Interval.Upper) > 1e-10) {
			t.Errorf("%v: %v %v %v", strata, one.Interval, again.Interval, other.Interval)
		}
		for _, s := range [][]TwoGroups{shuffled, swapped} {
			a, _ := CochranMantelHaenszel(strata, true)
			b, _ := CochranMantelHaenszel(s, true)
			c, _ := BreslowDayTarone(strata)
			d, _ := BreslowDayTarone(s)
			if math.Abs(a.P-b.P) > 1e-9 || !(a.P >= 0 && a.P <= 1) || math.Abs(c.Tarone.P-d.Tarone.P) > 1e-6 || !(c.Tarone.P >= 0 && c.Tarone.P <= 1) {
				t.Errorf("%v: %+v %+v %+v %+v", strata, a, b, c, d)
			}
		}
	}
}

// Intervals of one confidence lie inside those of a higher one.
func TestHigherConfidenceIsWider(t *testing.T) {
	for _, g := range []TwoGroups{{3, 40, 9, 45}, {0, 30, 5, 40}, {30, 30, 20, 25}, {400, 9000, 300, 9500}} {
		var last RatioInterval
		var lastDifference Interval
		for i, confidence := range []float64{0.5, 0.8, 0.9, 0.95, 0.99, 0.9999} {
			ratio, err := OddsRatio(g, ConditionalExact, confidence)
			if err != nil {
				t.Fatal(err)
			}
			difference, err := RiskDifference(g, MiettinenNurminen, confidence)
			if err != nil {
				t.Fatal(err)
			}
			if i > 0 && (ratio.Lower > last.Lower || ratio.Upper != nil && *ratio.Upper < *last.Upper ||
				difference.Lower > lastDifference.Lower || difference.Upper < lastDifference.Upper) {
				t.Errorf("%v at %g: %+v %v, below it %+v %v", g, confidence, ratio, difference, last, lastDifference)
			}
			last, lastDifference = ratio, difference
		}
	}
}

// Exact limits cover at least as often as they say; score and hybrid ones about
// as often. Counted over all outcomes, not simulated.
func TestTwoGroupsCoverage(t *testing.T) {
	const nA, nB = 18, 24
	binomial := func(k, n int64, p float64) float64 {
		return math.Exp(logBinomial(float64(k), float64(n), p, 1-p))
	}
	type limits struct {
		difference, score    Interval
		odds, midOdds, ratio RatioInterval
	}
	all := map[TwoGroups]limits{}
	for a := int64(0); a <= nA; a++ {
		for b := int64(0); b <= nB; b++ {
			g := TwoGroups{a, nA, b, nB}
			var l limits
			l.difference, _ = RiskDifference(g, NewcombeHybrid, 0.95)
			l.score, _ = RiskDifference(g, MiettinenNurminen, 0.95)
			l.odds, _ = OddsRatio(g, ConditionalExact, 0.95)
			l.midOdds, _ = OddsRatio(g, ConditionalMidP, 0.95)
			l.ratio, _ = RelativeRisk(g, MiettinenNurminenRatio, 0.95)
			all[g] = l
		}
	}
	for _, p := range [][2]float64{{0.05, 0.05}, {0.1, 0.3}, {0.5, 0.4}, {0.9, 0.6}, {0.02, 0.2}} {
		odds := p[0] / (1 - p[0]) / (p[1] / (1 - p[1]))
		var difference, score, exact, mid, ratio float64
		for g, l := range all {
			weight := binomial(g.FailuresA, nA, p[0]) * binomial(g.FailuresB, nB, p[1])
			count := func(sum *float64, covers bool) {
				if covers {
					*sum += weight
				}
			}
			d := p[0] - p[1]
			count(&difference, l.difference.Lower <= d && d <= l.difference.Upper)
			count(&score, l.score.Lower <= d && d <= l.score.Upper)
			count(&exact, l.odds.Covers(odds))
			count(&mid, l.midOdds.Covers(odds))
			count(&ratio, l.ratio.Covers(p[0]/p[1]))
		}
		if exact < 0.95 {
			t.Errorf("%v: exact odds ratio covers with %.4f", p, exact)
		}
		for name, c := range map[string]float64{"newcombe": difference, "score": score, "mid-P": mid, "ratio": ratio} {
			if c < 0.92 {
				t.Errorf("%v: %s covers with %.4f", p, name, c)
			}
		}
	}
}

// Over strata whose rates differ widely but whose odds ratio, or relative risk,
// or difference is common, the interval covers it about as often as it says, and
// the homogeneity test rejects about as often as it should.
func TestStratifiedCoverage(t *testing.T) {
	r := rand.New(rand.NewPCG(1986, 311))
	draw := func(n int64, p float64) (k int64) {
		for range n {
			if r.Float64() < p {
				k++
			}
		}
		return k
	}
	const rounds, odds, risk, difference = 1500, 0.4, 0.5, -0.06
	base := []float64{0.08, 0.15, 0.3, 0.5}
	var covered [3]int
	rejected := 0
	for range rounds {
		var byOdds, byRisk, byDifference []TwoGroups
		for i, p := range base {
			nA, nB := int64(40+30*i), int64(130-25*i)
			fB := draw(nB, p)
			o := odds * p / (1 - p)
			byOdds = append(byOdds, TwoGroups{draw(nA, o/(1+o)), nA, fB, nB})
			byRisk = append(byRisk, TwoGroups{draw(nA, risk*p), nA, fB, nB})
			byDifference = append(byDifference, TwoGroups{draw(nA, p+difference), nA, fB, nB})
		}
		or, _ := CommonOddsRatio(byOdds, 0.95)
		rr, _ := CommonRelativeRisk(byRisk, 0.95)
		rd, _ := CommonRiskDifference(byDifference, 0.95)
		h, _ := BreslowDayTarone(byOdds)
		for i, in := range []bool{or.Covers(odds), rr.Covers(risk), rd.Interval.Lower <= difference && difference <= rd.Interval.Upper} {
			if in {
				covered[i]++
			}
		}
		if h.Tarone.P < 0.05 {
			rejected++
		}
	}
	// Three standard errors of a share of 0.95 in so many rounds, and as much
	// again for what the methods only approximate.
	for i, name := range []string{"odds ratio", "relative risk", "difference"} {
		if share := float64(covered[i]) / rounds; math.Abs(share-0.95) > 0.03 {
			t.Errorf("%s covered in %.3f of the rounds", name, share)
		}
	}
	if share := float64(rejected) / rounds; math.Abs(share-0.05) > 0.03 {
		t.Errorf("homogeneity rejected in %.3f of the rounds", share)
	}
}

// As [TestStratifiedCoverage] for clusters that share a rate: the interval that
// knows of the clusters covers about as often as it says, the one that takes the
// attempts as independent far too seldom.
func TestClusteredCoverage(t *testing.T) {
	r := rand.New(rand.NewPCG(1992, 577))
	const rounds = 600
	robust, naive := 0, 0
	for range rounds {
		var clusters []TwoGroups
		var sum TwoGroups
		for i := range 60 {
			// Half of the clusters fail with 0.05, half with 0.35: 0.2 on average.
			p := []float64{0.05, 0.35}[r.IntN(2)]
			var k int64
			for range 20 {
				if r.Float64() < p {
					k++
				}
			}
			g := TwoGroups{FailuresA: k, AttemptsA: 20}
			if i%2 == 1 {
				g = g.Swapped()
			}
			clusters = append(clusters, g)
			sum.FailuresA, sum.AttemptsA = sum.FailuresA+g.FailuresA, sum.AttemptsA+g.AttemptsA
			sum.FailuresB, sum.AttemptsB = sum.FailuresB+g.FailuresB, sum.AttemptsB+g.AttemptsB
		}
		c, _ := CompareClusters(clusters, 0.95)
		if c.RelativeRisk.Covers(1) {
			robust++
		}
		if k, _ := RelativeRisk(sum, Katz, 0.95); k.Covers(1) {
			naive++
		}
	}
	if share := float64(robust) / rounds; share < 0.92 {
		t.Errorf("with clusters: covered in %.3f of the rounds", share)
	}
	if share := float64(naive) / rounds; share > 0.85 {
		t.Errorf("without: covered in %.3f of the rounds; the clusters should matter", share)
	}
}
