package reliability

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"jointledger/internal/stats"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s = %.12g, want %.12g", what, got, want)
	}
}

// P28: NIST/SEMATECH e-Handbook 8.4.1.3, 10 failures of 20, 10 censored at 500.
func handbook() []Observation {
	o := []Observation{StillIn(500, 10)}
	for _, t := range []float64{54, 187, 216, 240, 244, 335, 361, 373, 375, 386} {
		o = append(o, Exact(t, 1))
	}
	return o
}

// P30: W. Nelson, Applied Life Data Analysis (1982) p. 409, turbine wheels.
func turbine() []Observation {
	hours := []float64{4, 10, 14, 18, 22, 26, 30, 34, 38, 42, 46}
	n := []int64{39, 53, 33, 73, 30, 39, 42, 13, 34, 40, 36}
	cracked := []int64{0, 4, 2, 7, 5, 9, 9, 6, 22, 21, 21}
	return inspected(hours, n, cracked)
}

// P31: the out-of-tolerance time series of the calibration-interval literature
// (data from memory; estimates by R 4.2.2).
func series() []Observation {
	weeks := []float64{3, 6, 9, 12, 20, 27, 38.5, 49.5}
	n := []int64{4, 6, 14, 13, 22, 49, 18, 6}
	in := []int64{4, 5, 9, 8, 12, 20, 9, 2}
	out := make([]int64, len(n))
	for i := range n {
		out[i] = n[i] - in[i]
	}
	return inspected(weeks, n, out)
}

func inspected(times []float64, n, out []int64) []Observation {
	var o []Observation
	for i, t := range times {
		o = append(o, OutBy(t, out[i]), StillIn(t, n[i]-out[i]))
	}
	return o
}

func TestWeibullOfTheHandbook(t *testing.T) {
	w, err := FitWeibull(handbook())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "scale", w.Scale, 606.527558004, 1e-6)
	near(t, "shape", w.Shape, 1.7207972608, 1e-6)
	near(t, "log-likelihood", w.LogLikelihood, -75.1346181645, 1e-9)
	near(t, "SE of log scale", w.LogScaleSE, 0.205943908988, 1e-6)
	near(t, "SE of log 1/shape", w.LogShapeSE, 0.29181276315, 1e-6)
	near(t, "covariance with log 1/shape", -w.Covariance, 0.0271278424006, 1e-6)
	near(t, "reliability at 100", w.Reliability(100), 0.95603110658, 1e-6)
	b10, err := w.Interval(0.9)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "B10", b10, 164.02243866, 1e-6)
}

func TestExponentialOfTheHandbook(t *testing.T) {
	e, err := FitExponential(handbook())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean time", 1/e.Rate, 777.1, 1e-9)
	near(t, "log-likelihood", e.LogLikelihood, -76.5556904222, 1e-9)
	// With exact times the information on log rate is the number of failures.
	near(t, "SE of log rate", e.LogRateSE, 1/math.Sqrt(10), 1e-9)
}

func TestCurrentStatusOfTheTurbineWheels(t *testing.T) {
	w, err := FitWeibull(turbine())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "scale", w.Scale, 46.7772302482, 1e-6)
	near(t, "shape", w.Shape, 2.17577990898, 1e-6)
	near(t, "log-likelihood", w.LogLikelihood, -189.2871934, 1e-9)
	near(t, "SE of log scale", w.LogScaleSE, 0.0639365390166, 1e-6)
	near(t, "SE of log shape", w.LogShapeSE, 0.124469743871, 1e-6)
	e, err := FitExponential(turbine())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "rate", e.Rate, 0.0125106016013, 1e-6)
	near(t, "log-likelihood", e.LogLikelihood, -201.123725542, 1e-9)
	i, err := TargetInterval(turbine(), 0.95, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if i.Model != ModelWeibull || i.LikelihoodRatio == nil {
		t.Fatalf("model %v, ratio %v; the ratio of 23.7 prefers the Weibull", i.Model, i.LikelihoodRatio)
	}
	near(t, "likelihood ratio", *i.LikelihoodRatio, 23.6730642827, 1e-6)
	if i.Lower == nil || i.Upper == nil || !(*i.Lower < *i.Estimate && *i.Estimate < *i.Upper) {
		t.Errorf("estimate %v not inside %v to %v", *i.Estimate, i.Lower, i.Upper)
	}
}

func TestCalibrationSeries(t *testing.T) {
	e, err := FitExponential(series())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "rate", e.Rate, 0.0293733781855, 1e-6)
	near(t, "log-likelihood", e.LogLikelihood, -87.7720857979, 1e-9)
	near(t, "R(12)", e.Reliability(12), 0.702942250181, 1e-6)
	i85, err := e.Interval(0.85)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "interval for 0.85", i85, 5.53286477542, 1e-6)
	w, err := FitWeibull(series())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "1/scale", 1/w.Scale, 0.0247948859232, 1e-6)
	near(t, "shape", w.Shape, 0.663419593684, 1e-6)
	near(t, "log-likelihood", w.LogLikelihood, -86.8590099027, 1e-9)
	w85, err := w.Interval(0.85)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Weibull interval for 0.85", w85, 2.60735718709, 1e-6)
	// The ratio of 1.826 does not prefer the Weibull: the interval is exponential.
	i, err := TargetInterval(series(), 0.85, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if i.Model != ModelExponential {
		t.Errorf("model %v", i.Model)
	}
	near(t, "likelihood ratio", *i.LikelihoodRatio, 1.8261517905, 1e-6)
	near(t, "interval", *i.Estimate, 5.53286477542, 1e-6)
}

func TestEndOfPeriod(t *testing.T) {
	// P31, 27 weeks: 20 of 49.
	e, err := ObservedReliability(20, 49, 0.5, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "reliability", e.Reliability, 0.408163265306, 1e-11)
	near(t, "lower", e.Interval.Lower, 0.269967060631, 1e-9)
	near(t, "upper", e.Interval.Upper, 0.557870607057, 1e-9)
	near(t, "P(X ≤ 20)", e.PBelow, 0.126434865084, 1e-9)
	e, err = ObservedReliability(9, 14, 0.85, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "P(X ≤ 9)", e.PBelow, 0.0467402865074, 1e-9)
	for inTolerance, want := range map[int64]IntervalVerdict{17: IntervalStands, 16: IntervalTooLong} {
		e, err := ObservedReliability(inTolerance, 20, 0.95, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		// Trade reference, G: 0.0755 (keep) and 0.0159 (shorten).
		near(t, "P", e.PBelow, map[int64]float64{17: 0.0755, 16: 0.0159}[inTolerance], 2e-3)
		if v, err := e.Test(0.05); err != nil || v != want {
			t.Errorf("%d of 20: verdict %v, %v", inTolerance, v, err)
		}
	}
	// 59 of 59: 0.95^59 = 0.0485 (success run), 58 of 58: 0.0510.
	for n, want := range map[int64]IntervalVerdict{59: IntervalTooShort, 58: IntervalStands} {
		e, _ := ObservedReliability(n, n, 0.95, 0.95)
		if v, _ := e.Test(0.05); v != want {
			t.Errorf("%d of %d: verdict %v", n, n, v)
		}
	}
}

// Trade reference, G.
func TestReactiveRules(t *testing.T) {
	for _, c := range []struct{ a, target, b float64 }{
		{0.1, 0.95, 0.8365}, {0.1, 0.90, 0.5759}, {0.1, 0.85, 0.4173}, {0.05, 0.95, 0.6043},
	} {
		r, err := NewSimpleResponse(c.a, c.target)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "decrease", r.Decrease, c.b, 2e-4)
		up, _ := r.Next(12, true)
		down, _ := r.Next(12, false)
		near(t, "lengthened", up, 12*(1+c.a), 1e-12)
		near(t, "shortened", down, 12*(1-c.b), 2e-3)
		// In the long run growth and shrinkage balance at the target.
		if drift := c.target*math.Log(1+c.a) + (1-c.target)*math.Log(1-r.Decrease); math.Abs(drift) > 1e-12 {
			t.Errorf("the rule drifts by %g at its target", drift)
		}
	}
	for _, c := range []struct{ interval, observed, target, want float64 }{
		{12, 0.80, 0.95, 2.758}, {12, 0.97, 0.95, 20.21}, {12, 0.90, 0.85, 18.51}, {6, 0.99, 0.95, 30.6},
	} {
		got, err := ScaledInterval(c.interval, c.observed, c.target)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "scaled interval", got, c.want, 1e-3)
	}
	if _, err := ScaledInterval(12, 1, 0.95); err == nil {
		t.Error("everything in tolerance gave an estimate")
	}
}

func TestOneSidedBounds(t *testing.T) {
	// With 59 of 59 in tolerance at 12 months, 0.95^59 = 0.0485 < 0.05: the bound
	// lies just above 12; with 58 just below.
	for n, above := range map[int64]bool{59: true, 58: false} {
		i, err := TargetInterval([]Observation{StillIn(12, n)}, 0.95, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if !i.OneSided || i.Estimate != nil || i.Upper != nil || i.Lower == nil || (*i.Lower > 12) != above {
			t.Errorf("%d of %d in tolerance: %+v", n, n, i)
		}
	}
	// All of n out at t: (1 − R^(t/I))^n = 0.05 at the bound, closed form.
	i, err := TargetInterval([]Observation{OutBy(12, 3)}, 0.95, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	want := 12 * math.Log(0.95) / math.Log(1-math.Pow(0.05, 1.0/3))
	if i.Lower != nil || i.Estimate != nil || i.Upper == nil {
		t.Fatalf("%+v", i)
	}
	near(t, "upper bound", *i.Upper, want, 1e-9)
}

func TestOneTimeAgreesWithTheClosedForm(t *testing.T) {
	// 18 of 20 in tolerance at 12: R(12) = 0.9, so I = 12·log .95/log .9.
	i, err := TargetInterval([]Observation{StillIn(12, 18), OutBy(12, 2)}, 0.95, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "interval", *i.Estimate, 12*math.Log(0.95)/math.Log(0.9), 1e-9)
	if i.LikelihoodRatio != nil {
		t.Error("a Weibull was fitted to one time")
	}
	var none *NoEstimateError
	if _, err := FitWeibull([]Observation{StillIn(12, 18), OutBy(12, 2)}); !errors.As(err, &none) {
		t.Errorf("error %v", err)
	}
}

func TestNoEstimate(t *testing.T) {
	for name, o := range map[string][]Observation{
		"nothing":           nil,
		"nothing said":      {StillIn(0, 4), OutBy(3, 0)},
		"all in":            {StillIn(3, 4)},
		"all out":           {OutBy(3, 4), OutBy(5, 1)},
		"sharp at one time": {StillIn(3, 4), OutBy(6, 4)},
		"shorter is worse":  {OutBy(3, 5), StillIn(3, 1), OutBy(9, 1), StillIn(9, 9)},
	} {
		var none *NoEstimateError
		if _, err := FitWeibull(o); !errors.As(err, &none) {
			t.Errorf("%s: error %v", name, err)
		}
	}
	var bad *stats.ArgumentError
	for name, o := range map[string]Observation{
		"backward": {After: 5, By: 4, Count: 1}, "negative": StillIn(-1, 1), "count": StillIn(1, -1),
		"not a number": StillIn(math.NaN(), 1), "at once": Exact(0, 1),
	} {
		if _, err := TargetInterval([]Observation{o}, 0.95, 0.95); !errors.As(err, &bad) {
			t.Errorf("%s: error %v", name, err)
		}
	}
	for _, c := range [][2]float64{{0, 0.95}, {1, 0.95}, {0.95, 1}, {0.95, math.NaN()}} {
		if _, err := TargetInterval(series(), c[0], c[1]); !errors.As(err, &bad) {
			t.Errorf("target %v, confidence %v: %v", c[0], c[1], err)
		}
	}
}

func TestOrderAndUnitDoNotMatter(t *testing.T) {
	base, err := TargetInterval(turbine(), 0.9, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	o := turbine()
	slices.Reverse(o)
	for i := range o {
		o[i].After *= 100
		o[i].By *= 100
	}
	scaled, err := TargetInterval(o, 0.9, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "estimate", *scaled.Estimate, 100**base.Estimate, 1e-9)
	near(t, "lower", *scaled.Lower, 100**base.Lower, 1e-8)
	near(t, "upper", *scaled.Upper, 100**base.Upper, 1e-8)
}

// Of 95 % intervals from simulated current-status data about 95 % hold the truth.
func TestCoverageOfTheProfileLimits(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 6))
	const trials, units, rate = 600, 60, 0.02
	truth := -math.Log(0.95) / rate
	held := 0
	for range trials {
		var o []Observation
		for range units {
			seen := 6 + 12*r.Float64()
			if r.ExpFloat64()/rate > seen {
				o = append(o, StillIn(seen, 1))
			} else {
				o = append(o, OutBy(seen, 1))
			}
		}
		s, err := newSample(o)
		if err != nil {
			t.Fatal(err)
		}
		e, err := s.exponential()
		if err != nil {
			t.Fatal(err)
		}
		if s.exponentialProfile(0.95)(math.Log(truth)) > e.LogLikelihood-1.959963985*1.959963985/2 {
			held++
		}
	}
	// Four standard errors of the share about 0.95.
	if share := float64(held) / trials; share < 0.914 || share > 0.986 {
		t.Errorf("coverage %.3f", share)
	}
}
