package controlchart

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"jointledger/internal/stats"
)

// By the definition of the quantile: the least k with 1 − q^(k+1) ≥ tail.
func TestGQuantilesByDefinition(t *testing.T) {
	for _, mean := range []float64{0.1, 1, 28.1, 500, 1e6} {
		for _, tail := range []float64{0.00135, 0.025, 0.4} {
			lower, upper, err := GQuantiles(mean, tail)
			if err != nil {
				t.Fatal(err)
			}
			below := func(k int64) float64 { return -math.Expm1(float64(k+1) * math.Log(mean/(mean+1))) }
			for _, c := range []struct {
				k       int64
				reached float64
			}{{lower, tail}, {upper, 1 - tail}} {
				if below(c.k) < c.reached-1e-12 || c.k > 0 && below(c.k-1) > c.reached+1e-12 {
					t.Errorf("mean %v tail %v: %d is not the quantile of %v", mean, tail, c.k, c.reached)
				}
			}
		}
	}
}

// In control, a point of a p chart with ample counts is beyond three sigma about
// 2.7 times in a thousand; Laney's chart holds that under over-dispersion, where
// the p chart cries wolf.
func TestFalseAlarms(t *testing.T) {
	r := rand.New(rand.NewPCG(2002, 14))
	var plain, laney, steady int
	const charts, points, n = 60, 60, 400
	for range charts {
		var even, spread []Sample
		for range points {
			p := 0.2 + 0.06*r.NormFloat64()
			a, b := int64(0), int64(0)
			for range n {
				if r.Float64() < 0.2 {
					a++
				}
				if r.Float64() < p {
					b++
				}
			}
			even, spread = append(even, Sample{a, n}), append(spread, Sample{b, n})
		}
		c0, err0 := P(even, Options{})
		c1, err1 := P(spread, Options{})
		c2, err2 := LaneyP(spread, Options{})
		if err := errors.Join(err0, err1, err2); err != nil {
			t.Fatal(err)
		}
		steady, plain, laney = steady+len(c0.Beyond()), plain+len(c1.Beyond()), laney+len(c2.Beyond())
	}
	// 3600 points: 9.7 expected beyond when in control.
	if steady > 25 || laney > 35 || plain < 500 {
		t.Errorf("beyond: %d in control, %d of p and %d of p′ under over-dispersion", steady, plain, laney)
	}
}

func TestUnequalSizesAreSampleBySample(t *testing.T) {
	s := []Sample{{2, 10}, {30, 100}, {9, 25}}
	c, err := P(s, Options{Centre: ptr(0.3), Width: 2})
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range c.Points {
		nearLimit(t, "upper", p.Upper, 0.3+2*math.Sqrt(0.21/s[i].Size))
	}
	if c.Centre != 0.3 {
		t.Errorf("centre %v; a standard was given", c.Centre)
	}
	one, err := P([]Sample{{9, 10}}, Options{Centre: ptr(0.9)})
	if err != nil || one.Points[0].Upper != nil {
		t.Errorf("an upper limit above 1: %+v (%v)", one, err)
	}
}

func TestNoFailures(t *testing.T) {
	for name, draw := range map[string]func([]Sample, Options) (Chart, error){"p": P, "p′": LaneyP, "np": NP, "u": U, "u′": LaneyU, "c": C} {
		c, err := draw(samplesOf(20, 0, 0, 0), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if c.Centre != 0 || c.Dispersion != 1 || len(c.Beyond()) != 0 || math.IsNaN(c.Points[0].Sigma) {
			t.Errorf("%s: %+v", name, c)
		}
	}
	c, y, err := T([]float64{0, 0}, Options{})
	if err != nil || y.Centre != 0 || len(c.Beyond()) != 0 {
		t.Errorf("times of 0: %+v (%v)", c, err)
	}
}

func TestRunSignals(t *testing.T) {
	// Centre 0, standard deviation 1, limits at 3: the points say all.
	chart := func(values ...float64) Chart {
		var c Chart
		for _, v := range values {
			c.Points = append(c.Points, newPoint(v, 0, 1, 3, math.Inf(-1), unbounded))
		}
		return c
	}
	for name, c := range map[string]struct {
		values []float64
		want   []RunSignal
	}{
		"eight":            {[]float64{1, 1, 1, 1, 1, 1, 1, 1}, nil},
		"nine":             {[]float64{1, 1, 1, 1, 1, 1, 1, 1, 1}, []RunSignal{{NineOnOneSide, 8, 1}}},
		"ten":              {[]float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1}, []RunSignal{{NineOnOneSide, 8, 1}}},
		"broken by centre": {[]float64{1, 1, 1, 1, 0, 1, 1, 1, 1, 1}, nil},
		"on the limit":     {[]float64{3, -3}, nil},
		"beyond":           {[]float64{0, -3.001}, []RunSignal{{BeyondLimit, 1, -1}}},
		"two of three":     {[]float64{2.1, 0, 2.1}, []RunSignal{{TwoOfThree, 2, 1}}},
		"two of two":       {[]float64{-2.1, -2.1}, []RunSignal{{TwoOfThree, 1, -1}}},
		"two sides":        {[]float64{2.1, -2.1, 0}, nil},
		"two of four":      {[]float64{2.1, 0, 0, 2.1}, nil},
	} {
		if got := chart(c.values...).RunSignals(); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, expected %v", name, got, c.want)
		}
	}
}

func TestRefuses(t *testing.T) {
	nan := math.NaN()
	ewma := func(x, s []float64, o EWMAOptions) error { _, err := EWMA(x, s, o); return err }
	p := func(o Options, s ...Sample) error { _, err := P(s, o); return err }
	times := func(x ...float64) error { _, _, err := T(x, Options{}); return err }
	_, noGaps := G(nil, Options{})
	_, gap := G([]int64{-1}, Options{})
	_, sizes := NP([]Sample{{1, 10}, {1, 11}}, Options{})
	_, lone := LaneyP([]Sample{{1, 10}}, Options{})
	_, rate := U([]Sample{{1, nan}}, Options{})
	_, _, tail := GQuantiles(10, 0.5)
	_, _, mean := GQuantiles(0, 0.1)
	for name, err := range map[string]error{
		"none": p(Options{}), "size 0": p(Options{}, Sample{0, 0}), "x above n": p(Options{}, Sample{3, 2}),
		"half": p(Options{}, Sample{1, 2.5}), "negative": p(Options{}, Sample{-1, 2}), "width": p(Options{Width: nan}, Sample{1, 2}),
		"centre": p(Options{Centre: ptr(1.1)}, Sample{1, 2}), "centre NaN": p(Options{Centre: &nan}, Sample{1, 2}),
		"no gaps": noGaps, "gap": gap, "np sizes": sizes, "one for p′": lone, "rate": rate, "tail": tail, "mean": mean,
		"no times": times(), "one time": times(1), "time": times(1, -1), "time NaN": times(nan, 1),
		"no values": ewma(nil, []float64{1}, EWMAOptions{}), "deviations": ewma([]float64{1, 2, 3}, []float64{1, 2}, EWMAOptions{}),
		"weight": ewma([]float64{1}, []float64{1}, EWMAOptions{Weight: 1.1}), "value": ewma([]float64{nan}, []float64{1}, EWMAOptions{}),
		"deviation":  ewma([]float64{1}, []float64{nan}, EWMAOptions{}),
		"asymptotic": ewma([]float64{1, 1}, []float64{1, 2}, EWMAOptions{Asymptotic: true}),
		"target":     ewma([]float64{1}, []float64{1}, EWMAOptions{Target: nan}),
	} {
		var argument *stats.ArgumentError
		if !errors.As(err, &argument) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
