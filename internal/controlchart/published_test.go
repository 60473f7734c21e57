package controlchart

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

func near(t *testing.T, name string, got, want float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > 1e-9*math.Max(1, math.Abs(want)) {
		t.Errorf("%s: %.12g, expected %.12g", name, got, want)
	}
}

func nearLimit(t *testing.T, name string, got *float64, want float64) {
	t.Helper()
	if got == nil {
		t.Errorf("%s: none, expected %v", name, want)
		return
	}
	near(t, name, *got, want)
}

func samplesOf(size float64, counts ...int64) []Sample {
	var s []Sample
	for _, c := range counts {
		s = append(s, Sample{Count: c, Size: size})
	}
	return s
}

// wafers is the data of NIST/SEMATECH e-Handbook, section 6.3.3.2, and of the
// juice-can example of D. C. Montgomery, Introduction to Statistical Quality
// Control, as in the reference statistics, P20.
var wafers = samplesOf(50, 12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6)

// cloth is Montgomery's dyed cloth, P22 (b).
func cloth() []Sample {
	counts := []int64{14, 12, 20, 11, 7, 10, 21, 16, 19, 23}
	var s []Sample
	for i, size := range []float64{10, 8, 13, 10, 9.5, 10, 12, 10.5, 12, 12.5} {
		s = append(s, Sample{Count: counts[i], Size: size})
	}
	return s
}

func TestP(t *testing.T) {
	c, err := P(wafers, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", c.Centre, 0.231333333333)
	nearLimit(t, "lower", c.Points[0].Lower, 0.0524275480719)
	nearLimit(t, "upper", c.Points[0].Upper, 0.410239118595)
	if got := c.Beyond(); !slices.Equal(got, []int{14, 22}) {
		t.Errorf("beyond: %v, expected points 15 and 23", got)
	}
	n, err := NP(wafers, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "np centre", n.Centre, 11.5666666667)
	nearLimit(t, "np lower", n.Points[0].Lower, 2.6213774036)
	nearLimit(t, "np upper", n.Points[0].Upper, 20.5119559297)
	if !slices.Equal(n.Beyond(), c.Beyond()) {
		t.Errorf("np finds %v beyond, p %v", n.Beyond(), c.Beyond())
	}
}

// NIST/SEMATECH e-Handbook, section 6.3.3.1, P21: wafer 3 lies on the limit and is
// not beyond it.
func TestC(t *testing.T) {
	c, err := C(samplesOf(0, 16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13), Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", c.Centre, 16)
	nearLimit(t, "lower", c.Points[0].Lower, 4)
	nearLimit(t, "upper", c.Points[0].Upper, 28)
	if got := c.Beyond(); !slices.Equal(got, []int{23}) {
		t.Errorf("beyond: %v, expected point 24 alone", got)
	}
}

// Montgomery, chapter 7, P22 (a) and (b).
func TestU(t *testing.T) {
	a, err := U(samplesOf(5, 10, 12, 8, 14, 10, 16, 11, 7, 10, 15, 9, 5, 7, 11, 12, 6, 8, 10, 7, 5), Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", a.Centre, 1.93)
	nearLimit(t, "lower", a.Points[0].Lower, 0.0661330519589)
	nearLimit(t, "upper", a.Points[0].Upper, 3.79386694804)
	b, err := U(cloth(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", b.Centre, 1.42325581395)
	upper := []float64{2.55503769778, 2.68862642792, 2.41589419127, 2.55503769778, 2.58443952604, 2.55503769778, 2.45642659387, 2.52776183694, 2.45642659387, 2.43555230513}
	lower := []float64{0.291473930127, 0.157885199984, 0.430617436637, 0.291473930127, 0.262072101865, 0.291473930127, 0.390085034041, 0.318749790965, 0.390085034041, 0.410959322778}
	for i, p := range b.Points {
		nearLimit(t, fmt.Sprintf("upper %d", i+1), p.Upper, upper[i])
		nearLimit(t, fmt.Sprintf("lower %d", i+1), p.Lower, lower[i])
	}
	if len(b.Beyond()) != 0 {
		t.Errorf("beyond: %v", b.Beyond())
	}
}

// D. B. Laney, Quality Engineering 14 (2002) 531-537, formula; values by R 4.2.2 in
// the reference statistics, P42.
func TestLaney(t *testing.T) {
	p, err := LaneyP(wafers, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "σz", p.Dispersion, 1.66086671974)
	nearLimit(t, "upper", p.Points[0].Upper, 0.528471998044)
	near(t, "raw lower", p.Centre-3*p.Points[0].Sigma, -0.0658053313769)
	if p.Points[0].Lower != nil {
		t.Error("a lower limit below 0")
	}
	u, err := LaneyU(cloth(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "σz", u.Dispersion, 0.678795554681)
	nearLimit(t, "upper", u.Points[0].Upper, 2.19150432556)
	nearLimit(t, "lower", u.Points[0].Lower, 0.655007302343)
}

// NIST/SEMATECH e-Handbook, section 6.3.2.4, P24.
func TestEWMA(t *testing.T) {
	x := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	want := []float64{50.6, 49.52, 50.564, 50.1848, 50.15936, 49.211552, 49.7480864, 49.85366048, 50.257562336, 50.3302936352,
		50.1112055446, 49.3578438812, 49.5204907169, 50.0543435018, 49.3780404513, 49.9246283159, 50.7272398211, 51.2290678748, 51.9403475123, 51.9882432586}
	o := EWMAOptions{Target: 50, Weight: 0.3, Asymptotic: true}
	c, err := EWMA(x, []float64{2.0539}, o)
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range c.Points {
		near(t, fmt.Sprintf("z %d", i+1), p.Value, want[i])
		nearLimit(t, "upper", p.Upper, 52.5884317381)
		nearLimit(t, "lower", p.Lower, 47.4115682619)
	}
	o.Asymptotic = false
	if c, err = EWMA(x, []float64{2.0539}, o); err != nil {
		t.Fatal(err)
	}
	nearLimit(t, "first exact upper", c.Points[0].Upper, 51.84851)
	nearLimit(t, "fifth exact upper", c.Points[4].Upper, 52.5516114601)
}

// Montgomery, chapter 7, valve failures; L. S. Nelson (1994); P25.
func TestT(t *testing.T) {
	c, y, err := T([]float64{286, 948, 536, 124, 816, 729, 4, 143, 431, 8, 2837, 596, 81, 227, 603, 492, 1199, 1214, 2831, 96}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{4.80986456071, 6.70902909495, 5.72649732386, 3.81367080342, 6.43541201616, 6.23705300122, 1.46957602979,
		3.96768163791, 5.39006916331, 1.78150928175, 9.09617982695, 5.89774357735, 3.38833459325, 4.51095381404, 5.91689847602,
		5.59189115076, 7.16123766412, 7.18600523592, 9.09083345928, 3.55203078759} {
		near(t, fmt.Sprintf("y %d", i+1), y.Values[i], want)
	}
	near(t, "mean", y.Centre, 5.38662357492)
	near(t, "moving range", y.MeanMovingRange, 2.35920973722)
	near(t, "upper", y.Upper, 11.6611175569)
	near(t, "lower", y.Lower, -0.887870407039)
	if c.Points[0].Lower != nil || len(c.Beyond()) != 0 {
		t.Errorf("lower limit %v, beyond %v", c.Points[0].Lower, c.Beyond())
	}
	nearLimit(t, "upper in hours, transformed", ptr(math.Pow(*c.Points[0].Upper, 0.2777)), 11.6611175569)
}

func ptr(x float64) *float64 { return &x }

// Gaps made up for arithmetic, P25; the chart is Benneyan's (2001).
func TestG(t *testing.T) {
	c, err := G([]int64{13, 37, 8, 22, 91, 4, 17, 56, 3, 30}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", c.Centre, 28.1)
	nearLimit(t, "upper", c.Points[0].Upper, 113.88688711)
	if c.Points[0].Lower != nil {
		t.Error("a lower limit below 0")
	}
	lower, upper, err := GQuantiles(28.1, 0.025)
	if err != nil || lower != 0 || upper != 105 {
		t.Errorf("quantiles %d and %d (%v), expected 0 and 105", lower, upper, err)
	}
}
