package stats

import (
	"fmt"
	"math"
	"testing"
)

// F. Garwood, Biometrika 28 (1936) 437-442, and E. S. Pearson, H. O. Hartley,
// Biometrika Tables for Statisticians, volume 1, Table 40; digits from memory.
// The longer digits by R 4.2.2: qgamma for Garwood, a root search on ppois for
// mid-P.
func TestPoissonRateTable(t *testing.T) {
	for _, c := range []struct {
		count                int64
		lower, upper         float64
		midLower, midUpper   float64
		tableLower, lastLow  float64
		tableUpper, lastHigh float64
	}{
		{0, 0, 3.68887945411, 0, 2.99573227355, 0, 1e-2, 3.69, 1e-2},
		{1, 0.0253178079843, 5.57164339094, 0.0500203448353, 4.93186052471, 0.0253, 1e-4, 5.57, 1e-2},
		{2, 0.242209278544, 7.22468766772, 0.335329055509, 6.60795974745, 0.242, 1e-3, 7.22, 1e-2},
		{5, 1.62348639012, 11.6683320793, 1.83199480853, 11.082415665, 1.62, 1e-2, 11.67, 1e-2},
		{10, 4.79538869613, 18.390356042, 5.07952184722, 17.8248536966, 4.80, 1e-2, 18.39, 1e-2},
		{20, 12.2165195854, 30.8883779027, 12.5597384754, 30.3396011305, 12.22, 1e-2, 30.89, 1e-2},
		{50, 37.1109637375, 65.9187666643, 37.5098004142, 65.3865180738, 37.11, 1e-2, 65.92, 1e-2},
		{100, 81.3639912509, 121.626793792, 81.791821092, 121.103490897, 81.36, 1e-2, 121.63, 1e-2},
	} {
		exact, err := PoissonRate(c.count, 1, Garwood, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		name := fmt.Sprintf("%d events", c.count)
		closeTo(t, name+" lower", exact.Lower, c.lower, 1e-11)
		closeTo(t, name+" upper", exact.Upper, c.upper, 1e-11)
		rounds(t, name+" lower", exact.Lower, c.tableLower, c.lastLow)
		rounds(t, name+" upper", exact.Upper, c.tableUpper, c.lastHigh)
		mid, err := PoissonRate(c.count, 1, MidP, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		// R searched these roots; 1e-10 is what its tolerance allows.
		closeTo(t, name+" mid-P lower", mid.Lower, c.midLower, 1e-10)
		closeTo(t, name+" mid-P upper", mid.Upper, c.midUpper, 1e-10)
	}
}

// The first example of R's help page poisson.test, the standardised mortality
// ratio of the Welsh nickel workers: 137 deaths where 24.19893 were expected,
// interval 4.753125 to 6.692709. And 41 cases in 28010 woman-years, from J. D.
// Boice, R. R. Monson, J. Nat. Cancer Inst. 59 (1977) 823-832, limits per 1000
// by R 4.2.2.
func TestPoissonRateExposure(t *testing.T) {
	got, err := PoissonRate(137, 24.19893, Garwood, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "137 lower", got.Lower, 4.75312480485, 1e-11)
	closeTo(t, "137 upper", got.Upper, 6.69270933418, 1e-11)
	rounds(t, "137 lower", got.Lower, 4.753125, 1e-6)
	rounds(t, "137 upper", got.Upper, 6.692709, 1e-6)
	if got, err = PoissonRate(41, 28.010, Garwood, 0.95); err != nil {
		t.Fatal(err)
	}
	closeTo(t, "41 lower", got.Lower, 1.05042155903, 1e-11)
	closeTo(t, "41 upper", got.Upper, 1.98575971316, 1e-11)
}

// Both one-sided 95 % bounds for no events are −ln 0.05, known as the rule of
// three, for Garwood; −ln 0.1 for mid-P, by half weight on the observed 0. A
// one-sided bound is otherwise the limit of the two-sided interval that leaves
// as much in that tail (TestPoissonRateTable).
func TestPoissonRateBound(t *testing.T) {
	for _, c := range []struct {
		count      int64
		method     PoissonMethod
		side       Side
		confidence float64
		want       Interval
	}{
		{0, Garwood, UpperSide, 0.95, Interval{0, 2.99573227355}},
		{0, MidP, UpperSide, 0.95, Interval{0, 2.30258509299}},
		{0, Garwood, LowerSide, 0.95, Interval{0, math.Inf(1)}},
		{10, Garwood, LowerSide, 0.975, Interval{4.79538869613, math.Inf(1)}},
		{10, Garwood, UpperSide, 0.975, Interval{0, 18.390356042}},
		{10, MidP, LowerSide, 0.975, Interval{5.07952184722, math.Inf(1)}},
		{10, MidP, UpperSide, 0.975, Interval{0, 17.8248536966}},
		// Half the weight of 0 can not reach a tail of more than one half.
		{0, MidP, UpperSide, 0.25, Interval{0, 0}},
	} {
		name := fmt.Sprintf("%d %s %s", c.count, c.method, c.side)
		got, err := PoissonRateBound(c.count, 1, c.method, c.side, c.confidence)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, name, got.Lower, c.want.Lower, 1e-10)
		if got.Upper != c.want.Upper {
			closeTo(t, name, got.Upper, c.want.Upper, 1e-10)
		}
		half, err := PoissonRateBound(c.count, 2, c.method, c.side, c.confidence)
		if err != nil {
			t.Fatal(err)
		}
		if half.Lower != got.Lower/2 || half.Upper != got.Upper/2 {
			t.Errorf("%s: twice the exposure gives %v, not half of %v", name, half, got)
		}
	}
}

// What "exact" promises (Garwood 1936): coverage never below the confidence.
// Mid-P: near it on average.
func TestPoissonRateCoverage(t *testing.T) {
	const confidence, most = 0.95, 120
	for _, method := range []PoissonMethod{Garwood, MidP} {
		var intervals [most]Interval
		for x := range intervals {
			var err error
			if intervals[x], err = PoissonRate(int64(x), 1, method, confidence); err != nil {
				t.Fatal(err)
			}
		}
		const steps = 300
		sum, least := 0.0, 1.0
		for i := 1; i <= steps; i++ {
			mean := 0.1 * float64(i)
			coverage, probability := 0.0, math.Exp(-mean)
			for x, interval := range intervals {
				if interval.Lower <= mean && mean <= interval.Upper {
					coverage += probability
				}
				probability *= mean / float64(x+1)
			}
			sum += coverage / steps
			least = min(least, coverage)
		}
		switch {
		case method == Garwood && least < confidence:
			t.Errorf("%s covers with only %.4f somewhere", method, least)
		case method == MidP && math.Abs(sum-confidence) > 0.01:
			t.Errorf("%s covers with %.4f on average", method, sum)
		}
	}
}

func TestPoissonRateRefuses(t *testing.T) {
	for _, c := range []struct {
		count              int64
		exposure           float64
		method             PoissonMethod
		confidence         float64
		argument, sentence string
	}{
		{-1, 1, Garwood, 0.95, "count", "count is -1, but must be at least 0"},
		{MaxCount + 1, 1, Garwood, 0.95, "count", "count is 1099511627777, but must be at most 1099511627776"},
		{1, 0, Garwood, 0.95, "exposure", "exposure is 0, but must be a finite number above 0"},
		{1, -2, MidP, 0.95, "exposure", "exposure is -2, but must be a finite number above 0"},
		{1, math.NaN(), MidP, 0.95, "exposure", "exposure is NaN, but must be a finite number above 0"},
		{1, math.Inf(1), MidP, 0.95, "exposure", "exposure is +Inf, but must be a finite number above 0"},
		{5, 1e-308, Garwood, 0.95, "exposure", "exposure is 1e-308, but must be large enough for the rate to be finite"},
		{1, 1, Garwood, math.NaN(), "confidence", "confidence is NaN, but must lie between 0 and 1, both excluded"},
		{1, 1, 0, 0.95, "method", "method is PoissonMethod(0), but must be garwood or mid-p"},
	} {
		_, err := PoissonRate(c.count, c.exposure, c.method, c.confidence)
		refused(t, err, c.argument, c.sentence)
		if c.exposure != 1e-308 {
			_, err = PoissonRateBound(c.count, c.exposure, c.method, UpperSide, c.confidence)
			refused(t, err, c.argument, c.sentence)
		}
	}
	_, err := PoissonRateBound(1, 1, Garwood, 7, 0.95)
	refused(t, err, "side", "side is Side(7), but must be lower or upper")
	_, err = PoissonRateBound(1000, 1e-306, Garwood, LowerSide, 0.95)
	refused(t, err, "exposure", "exposure is 1e-306, but must be large enough for the rate to be finite")
}

func TestPoissonMethodNames(t *testing.T) {
	for name, method := range map[string]PoissonMethod{"garwood": Garwood, "mid-p": MidP} {
		if got, err := ParsePoissonMethod(name); err != nil || got != method || got.String() != name {
			t.Errorf("ParsePoissonMethod(%q) = %v, %v", name, got, err)
		}
	}
	_, err := ParsePoissonMethod("byar")
	refused(t, err, "method", `method is "byar", but must be garwood or mid-p`)
}
