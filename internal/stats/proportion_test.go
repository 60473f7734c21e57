package stats

import (
	"fmt"
	"math"
	"math/big"
	"testing"
)

// R. G. Newcombe, "Two-sided confidence intervals for the single proportion:
// comparison of seven methods", Statistics in Medicine 17 (1998) 857-872, Table
// I, methods 3 (score) and 5 (Clopper-Pearson); digits from memory. The longer
// digits, and all of Jeffreys, by R 4.2.2 (qbeta, and the closed form of the
// score interval).
func TestProportionNewcombe(t *testing.T) {
	for _, c := range []struct {
		failures, attempts             int64
		method                         ProportionMethod
		lower, upper                   float64
		publishedLower, publishedUpper float64
	}{
		{81, 263, Wilson, 0.255288519878, 0.366209576983, 0.2553, 0.3662},
		{15, 148, Wilson, 0.0623863995307, 0.160487241723, 0.0624, 0.1605},
		{0, 20, Wilson, 0, 0.161125158053, 0, 0.1611},
		{1, 29, Wilson, 0.00611321429276, 0.171755218793, 0.0061, 0.1718},
		{81, 263, ClopperPearson, 0.252736745585, 0.367621922601, 0.2527, 0.3676},
		{15, 148, ClopperPearson, 0.0578440100834, 0.161650490349, 0.0578, 0.1617},
		{0, 20, ClopperPearson, 0, 0.168433470983, 0, 0.1684},
		{1, 29, ClopperPearson, 0.00087264688358, 0.177644295489, 0.0009, 0.1776},
		{81, 263, Jeffreys, 0.254521934991, 0.365647499174, math.NaN(), math.NaN()},
		{15, 148, Jeffreys, 0.0604485170093, 0.157643143479, math.NaN(), math.NaN()},
		{0, 20, Jeffreys, 0, 0.116638982905, math.NaN(), math.NaN()},
		{1, 29, Jeffreys, 0.00374617364906, 0.150077686002, math.NaN(), math.NaN()},
	} {
		name := fmt.Sprintf("%s %d/%d", c.method, c.failures, c.attempts)
		got, err := Proportion(c.failures, c.attempts, c.method, 0.95)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		// 12 digits were printed.
		closeTo(t, name+" lower", got.Lower, c.lower, 5e-12)
		closeTo(t, name+" upper", got.Upper, c.upper, 5e-12)
		if !math.IsNaN(c.publishedLower) {
			rounds(t, name+" lower", got.Lower, c.publishedLower, 1e-4)
			rounds(t, name+" upper", got.Upper, c.publishedUpper, 1e-4)
		}
	}
}

// Closed forms: Clopper-Pearson at x = 0 is 1−(α/2)^(1/n), and 0/1 = (0,
// 0.9750), 1/1 = (0.0250, 1) in M. W. Fagerland, S. Lydersen, P. Laake,
// Statistical Analysis of Contingency Tables (2017), chapter 2; Wilson at x = 0
// is z²/(n+z²) (E. B. Wilson 1927). Jeffreys, and all digits beyond the closed
// forms, by R 4.2.2. A limit that is 0 or 1 is that exactly, hence tolerance 0.
func TestProportionEdges(t *testing.T) {
	for _, c := range []struct {
		failures, attempts       int64
		method                   ProportionMethod
		lower, upper             float64
		lowerTolerance, upperTol float64
	}{
		{0, 1, ClopperPearson, 0, 0.975, 0, 1e-15},
		{1, 1, ClopperPearson, 0.025, 1, 1e-14, 0},
		{0, 9, ClopperPearson, 0, 0.33626711688, 0, 5e-12},
		{9, 9, ClopperPearson, 0.66373288312, 1, 5e-12, 0},
		{0, 1, Wilson, 0, 0.793450685623, 0, 5e-12},
		{1, 1, Wilson, 0.206549314377, 1, 5e-12, 0},
		{0, 1, Jeffreys, 0, 0.85325368369, 0, 5e-12},
		{1, 1, Jeffreys, 0.14674631631, 1, 5e-11, 0},
	} {
		name := fmt.Sprintf("%s %d/%d", c.method, c.failures, c.attempts)
		got, err := Proportion(c.failures, c.attempts, c.method, 0.95)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		closeTo(t, name+" lower", got.Lower, c.lower, c.lowerTolerance)
		closeTo(t, name+" upper", got.Upper, c.upper, c.upperTol)
	}
	for _, method := range []ProportionMethod{Wilson, ClopperPearson, Jeffreys} {
		for _, attempts := range []int64{1, 3, 20, 1e7, MaxCount} {
			for _, confidence := range []float64{1e-9, 0.5, 0.95, 1 - 1e-15} {
				none, err := Proportion(0, attempts, method, confidence)
				if err != nil || none.Lower != 0 || math.Signbit(none.Lower) {
					t.Errorf("%s 0/%d at %g: lower %g, %v, want exactly 0", method, attempts, confidence, none.Lower, err)
				}
				all, err := Proportion(attempts, attempts, method, confidence)
				if err != nil || all.Upper != 1 {
					t.Errorf("%s %d/%d at %g: upper %.17g, %v, want exactly 1", method, attempts, attempts, confidence, all.Upper, err)
				}
				atLeast, err := ProportionBound(0, attempts, method, LowerSide, confidence)
				if err != nil || atLeast != (Interval{0, 1}) {
					t.Errorf("%s 0/%d at least, at %g: %v, %v, want [0, 1]", method, attempts, confidence, atLeast, err)
				}
				atMost, err := ProportionBound(attempts, attempts, method, UpperSide, confidence)
				if err != nil || atMost != (Interval{0, 1}) {
					t.Errorf("%s %d/%d at most, at %g: %v, %v, want [0, 1]", method, attempts, attempts, confidence, atMost, err)
				}
			}
		}
	}
}

// J. A. Hanley, A. Lippman-Hand, "If nothing goes wrong, is everything all
// right?", JAMA 249 (1983) 1743: the exact one-sided 95 % bound for 0 of n is
// 1−0.05^(1/n), about 3/n.
func TestProportionBoundRuleOfThree(t *testing.T) {
	got, err := ProportionBound(0, 300, ClopperPearson, UpperSide, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "0/300", got.Upper, 0.00993608194446, 5e-12)
	rounds(t, "0/300", got.Upper, 3.0/300, 1e-3)
	if got.Lower != 0 {
		t.Errorf("lower = %g, want 0", got.Lower)
	}
}

// A one-sided bound is the limit of the two-sided interval that leaves as much
// in that tail, so it is checked against the published two-sided limits.
func TestProportionBoundIsTwoSidedLimit(t *testing.T) {
	for _, c := range []struct {
		method       ProportionMethod
		lower, upper float64 // 81/263 at 95 % two-sided, as in TestProportionNewcombe
	}{
		{Wilson, 0.255288519878, 0.366209576983},
		{ClopperPearson, 0.252736745585, 0.367621922601},
		{Jeffreys, 0.254521934991, 0.365647499174},
	} {
		lower, err := ProportionBound(81, 263, c.method, LowerSide, 0.975)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, c.method.String(), lower.Lower, c.lower, 5e-12)
		upper, err := ProportionBound(81, 263, c.method, UpperSide, 0.975)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, c.method.String(), upper.Upper, c.upper, 5e-12)
		if lower.Upper != 1 || upper.Lower != 0 {
			t.Errorf("%s: %v and %v, want the open ends at 1 and 0", c.method, lower, upper)
		}
	}
}

// Ten and forty million attempts: mpmath 1.3.0 with 50 digits, by Newton's
// iteration on the continued fraction of the NIST Digital Library of
// Mathematical Functions 8.17.22. The columns are Clopper-Pearson lower and
// upper, Jeffreys lower and upper.
func TestProportionManyAttempts(t *testing.T) {
	for _, c := range []struct {
		failures, attempts int64
		tail               float64
		want               [4]float64
	}{
		{1, 10000000, 0.025, [4]float64{2.53178079522403054e-9, 5.57164211736073124e-7, 1.07897643427295016e-8, 4.67420082669512004e-7}},
		{1, 10000000, 1e-6, [4]float64{1.00000050000028333e-13, 1.6688407700118067e-6, 1.20905246622521738e-11, 1.53324134822603133e-6}},
		{50000, 10000000, 0.025, [4]float64{0.00495637692661667299, 0.00504391004431949105, 0.00495642670911868122, 0.00504385982685154352}},
		{50000, 10000000, 1e-6, [4]float64{0.0048946875535586239, 0.00510683776497624731, 0.00489473702603324837, 0.00510678723760743316}},
		{5000000, 10000000, 0.025, [4]float64{0.499690052521371089, 0.500309947478628911, 0.499690102521356616, 0.500309897478643384}},
		{9999990, 10000000, 0.025, [4]float64{0.999998160965167306, 0.999999520461029573, 0.999998226056935529, 0.999999485854998827}},
		{3, 40000000, 0.025, [4]float64{1.54668033394491184e-8, 2.19181810942540564e-7, 2.11233651954738272e-8, 2.00159539655929625e-7}},
		{123456, 40000000, 1e-6, [4]float64{0.00304488867444567457, 0.00312829403434173786, 0.00304490109027992876, 0.00312828145018578362}},
	} {
		x, n := float64(c.failures), float64(c.attempts)
		exact, jeffreys := clopperPearsonLimits(x, n), jeffreysLimits(x, n)
		for i, limit := range []func(float64) float64{exact.lower, exact.upper, jeffreys.lower, jeffreys.upper} {
			closeTo(t, fmt.Sprintf("%d/%d tail %g column %d", c.failures, c.attempts, c.tail, i), limit(c.tail), c.want[i], 1e-13)
		}
	}
}

// The definition (Clopper and Pearson 1934): at the lower limit, x or more
// failures have probability α/2; at the upper limit, x or fewer. The binomial
// sums are done with 200-bit numbers; the tolerance is what the rounding of a
// limit near 1 does to them.
func TestClopperPearsonDefinition(t *testing.T) {
	for _, confidence := range []float64{0.5, 0.95, 0.999} {
		tail := (1 - confidence) / 2
		for attempts := int64(1); attempts <= 25; attempts++ {
			for failures := int64(0); failures <= attempts; failures++ {
				got, err := Proportion(failures, attempts, ClopperPearson, confidence)
				if err != nil {
					t.Fatal(err)
				}
				name := fmt.Sprintf("%d/%d at %g", failures, attempts, confidence)
				if failures > 0 {
					closeTo(t, name+", tail at lower", binomialSum(attempts, failures, attempts, got.Lower), tail, 1e-11)
				}
				if failures < attempts {
					closeTo(t, name+", tail at upper", binomialSum(attempts, 0, failures, got.Upper), tail, 1e-11)
				}
			}
		}
	}
}

// binomialSum gives the probability of from to to failures in n attempts.
func binomialSum(n, from, to int64, p float64) float64 {
	wide := func(x float64) *big.Float { return new(big.Float).SetPrec(200).SetFloat64(x) }
	success, failure := new(big.Float).Sub(wide(1), wide(p)), wide(p)
	sum := wide(0)
	for k := from; k <= to; k++ {
		term := wide(1).SetInt(new(big.Int).Binomial(n, k))
		for range k {
			term.Mul(term, failure)
		}
		for range n - k {
			term.Mul(term, success)
		}
		sum.Add(sum, term)
	}
	result, _ := sum.Float64()
	return result
}

// Wilson's limits are the proportions π at which the score statistic
// (p−π)/√(π(1−π)/n) is ±z (E. B. Wilson 1927), z to 16 digits by mpmath.
func TestWilsonDefinition(t *testing.T) {
	const z = 1.959963984540054
	for _, c := range []struct{ x, n float64 }{{1, 29}, {81, 263}, {28, 29}, {3, 1e4}, {50000, 1e7}} {
		limits := wilsonLimits(c.x, c.n)
		score := func(limit float64) float64 {
			return (c.x/c.n - limit) / math.Sqrt(limit*(1-limit)/c.n)
		}
		closeTo(t, fmt.Sprintf("%g/%g lower", c.x, c.n), score(limits.lower(0.025)), z, 1e-11)
		closeTo(t, fmt.Sprintf("%g/%g upper", c.x, c.n), score(limits.upper(0.025)), -z, 1e-11)
	}
}

// What "exact" promises: whatever the probability of failure, the interval
// covers it with at least the stated confidence. L. D. Brown, T. T. Cai, A.
// DasGupta, Statist. Sci. 16 (2001) 101-133 show for n = 50 that the other two
// fall below here and there but are near it on average.
func TestProportionCoverage(t *testing.T) {
	const attempts, confidence, steps = 50, 0.95, 199
	for _, method := range []ProportionMethod{Wilson, ClopperPearson, Jeffreys} {
		var intervals [attempts + 1]Interval
		for x := range intervals {
			var err error
			if intervals[x], err = Proportion(int64(x), attempts, method, confidence); err != nil {
				t.Fatal(err)
			}
		}
		mean, least := 0.0, 1.0
		for i := 1; i <= steps; i++ {
			p := float64(i) / (steps + 1)
			coverage := 0.0
			for x, interval := range intervals {
				if interval.Lower <= p && p <= interval.Upper {
					coverage += math.Exp(logBinomial(float64(x), attempts, p, 1-p))
				}
			}
			mean += coverage / steps
			least = min(least, coverage)
		}
		switch {
		case method == ClopperPearson && least < confidence:
			t.Errorf("%s covers with only %.4f somewhere", method, least)
		case method != ClopperPearson && (math.Abs(mean-confidence) > 0.005 || least < 0.80):
			t.Errorf("%s covers with %.4f on average, %.4f at least", method, mean, least)
		}
	}
}

func TestProportionRefuses(t *testing.T) {
	for _, c := range []struct {
		failures, attempts int64
		method             ProportionMethod
		confidence         float64
		argument, sentence string
	}{
		{0, 0, Wilson, 0.95, "attempts", "attempts is 0, but must be at least 1"},
		{0, -5, Wilson, 0.95, "attempts", "attempts is -5, but must be at least 1"},
		{0, MaxCount + 1, Wilson, 0.95, "attempts", "attempts is 1099511627777, but must be at most 1099511627776"},
		{-1, 10, Wilson, 0.95, "failures", "failures is -1, but must be at least 0"},
		{11, 10, ClopperPearson, 0.95, "failures", "failures is 11, but must be at most the number of attempts, 10"},
		{1, 10, Jeffreys, 0, "confidence", "confidence is 0, but must lie between 0 and 1, both excluded"},
		{1, 10, Jeffreys, 1, "confidence", "confidence is 1, but must lie between 0 and 1, both excluded"},
		{1, 10, Wilson, -0.5, "confidence", "confidence is -0.5, but must lie between 0 and 1, both excluded"},
		{1, 10, Wilson, 95, "confidence", "confidence is 95, but must lie between 0 and 1, both excluded"},
		{1, 10, Wilson, math.NaN(), "confidence", "confidence is NaN, but must lie between 0 and 1, both excluded"},
		{1, 10, Wilson, math.Inf(1), "confidence", "confidence is +Inf, but must lie between 0 and 1, both excluded"},
		{1, 10, 0, 0.95, "method", "method is ProportionMethod(0), but must be wilson, clopper-pearson or jeffreys"},
	} {
		_, err := Proportion(c.failures, c.attempts, c.method, c.confidence)
		refused(t, err, c.argument, c.sentence)
		_, err = ProportionBound(c.failures, c.attempts, c.method, LowerSide, c.confidence)
		refused(t, err, c.argument, c.sentence)
	}
	_, err := ProportionBound(1, 10, Wilson, 0, 0.95)
	refused(t, err, "side", "side is Side(0), but must be lower or upper")
}

func TestProportionMethodNames(t *testing.T) {
	for name, method := range map[string]ProportionMethod{"wilson": Wilson, "clopper-pearson": ClopperPearson, "jeffreys": Jeffreys} {
		if got, err := ParseProportionMethod(name); err != nil || got != method || got.String() != name {
			t.Errorf("ParseProportionMethod(%q) = %v, %v", name, got, err)
		}
	}
	_, err := ParseProportionMethod("wald")
	refused(t, err, "method", `method is "wald", but must be wilson, clopper-pearson or jeffreys`)
	for name, side := range map[string]Side{"lower": LowerSide, "upper": UpperSide} {
		if got, err := ParseSide(name); err != nil || got != side || got.String() != name {
			t.Errorf("ParseSide(%q) = %v, %v", name, got, err)
		}
	}
	_, err = ParseSide("both")
	refused(t, err, "side", `side is "both", but must be lower or upper`)
}
