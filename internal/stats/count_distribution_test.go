package stats

import (
	"math"
	"testing"
)

func distribution(t *testing.T) func(CountDistribution, error) CountDistribution {
	return func(d CountDistribution, err error) CountDistribution {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
}

func quantileIs(t *testing.T, name string, d CountDistribution, probability float64, want int64) {
	t.Helper()
	got, err := d.Quantile(probability)
	if err != nil || got != want {
		t.Errorf("%s: quantile at %g is %d, %v; want %d", name, probability, got, err, want)
	}
}

// Binomial and Poisson quantiles of the reference on the trade, section N:
// textbook definition, smallest k with P(X ≤ k) at or above the level.
func TestSpareHardwareQuantiles(t *testing.T) {
	must := distribution(t)
	for _, c := range []struct {
		trials       int64
		p, level     float64
		want         int64
		reached      float64
		reachedPlace float64
	}{
		{2400, 0.02, 0.95, 60, 0.9620, 1e-4},
		{500, 0.03, 0.95, 22, 0.9694, 1e-4},
		{64, 0.02, 0.99, 4, 0.9908, 1e-4},
		{1200, 0.015, 0.95, 25, 0.9566, 1e-4},
	} {
		d := must(PredictBinomial(c.trials, c.p))
		quantileIs(t, "binomial", d, c.level, c.want)
		rounds(t, "probability at the quantile", d.AtMost(c.want), c.reached, c.reachedPlace)
		closeTo(t, "mean", d.Mean(), float64(c.trials)*c.p, 1e-14)
	}
	for _, c := range []struct {
		mean, level float64
		want        int64
	}{{48, 0.95, 60}, {3, 0.95, 6}, {3, 0.99, 8}, {1.5, 0.90, 3}} {
		quantileIs(t, "Poisson", must(PredictPoisson(c.mean)), c.level, c.want)
	}
	// Beta(1, 49), 9 lost of 240, next 960.
	d := must(PredictBetaBinomial(1+9, 49+240-9, 960))
	rounds(t, "mean", d.Mean(), 33.1, 0.1)
	quantileIs(t, "beta-binomial", d, 0.95, 54)
	quantileIs(t, "beta-binomial", d, 0.90, 49)
}

// Reference statistics, P35 (d): Beta(5.4, 18.6), 20 trials; and (c), the
// negative binomial of size 24.5 and probability 5/6.
func TestPredictiveDistributions(t *testing.T) {
	must := distribution(t)
	d := must(PredictBetaBinomial(5.4, 18.6, 20))
	closeTo(t, "p0", d.Probability(0), 0.026016096556, 1e-10)
	closeTo(t, "p5", d.Probability(5), 0.143009268161, 1e-10)
	closeTo(t, "mean", d.Mean(), 4.5, 1e-12)
	closeTo(t, "variance", d.Variance(), 6.138, 1e-12)
	closeTo(t, "P(X ≤ 8)", d.AtMost(8), 0.932996595368, 1e-10)
	closeTo(t, "P(X ≤ 0)", d.AtMost(0), 0.026016096556, 1e-10)
	quantileIs(t, "beta-binomial", d, 0.05, 1)
	quantileIs(t, "beta-binomial", d, 0.50, 4)
	quantileIs(t, "beta-binomial", d, 0.95, 9)

	d = must(PredictGammaPoisson(24.5, 5, 1))
	closeTo(t, "p0", d.Probability(0), 0.0114831085922, 1e-10)
	closeTo(t, "p5", d.Probability(5), 0.159680420071, 1e-10)
	closeTo(t, "P(X ≤ 9)", d.AtMost(9), 0.958228209921, 1e-10)
	closeTo(t, "mean", d.Mean(), 4.9, 1e-12)
	for _, c := range []struct {
		shape, rate, future float64
		low, high           int64
	}{{24.5, 5, 1, 1, 10}, {0.5, 5, 1, 0, 1}, {12.5, 12, 6, 1, 13}} {
		d := must(PredictGammaPoisson(c.shape, c.rate, c.future))
		quantileIs(t, "negative binomial", d, 0.025, c.low)
		quantileIs(t, "negative binomial", d, 0.975, c.high)
	}
}

// Reference statistics, P35 (a); the exposures of the shutdown example are those
// of Hahn and Meeker (1991), chapter 7.
func TestFuturePoissonCount(t *testing.T) {
	for _, c := range []struct {
		count            int64
		exposure, future float64
		lower, upper     int64
	}{{24, 5, 1, 1, 10}, {0, 5, 1, 0, 2}, {12, 12, 6, 1, 13}} {
		lower, upper, err := FuturePoissonCount(c.count, c.exposure, c.future, 0.95)
		if err != nil || lower != c.lower || upper != c.upper {
			t.Errorf("%+v: %d to %d, %v", c, lower, upper, err)
		}
	}
	_, _, err := FuturePoissonCount(-1, 5, 1, 0.95)
	refused(t, err, "count", "count is -1, but must be at least 0")
	_, _, err = FuturePoissonCount(3, 5, 0, 0.95)
	refused(t, err, "exposure", "exposure is 0, but must be a finite number above 0")
	_, _, err = FuturePoissonCount(3, 5, 1, math.NaN())
	refused(t, err, "confidence", "confidence is NaN, but must lie between 0 and 1, both excluded")
}

// Under a uniform prior every outcome is as likely as any other (T. Bayes, Phil.
// Trans. 53 (1763) 370-418): P(X ≤ k) = (k+1)/(n+1), exactly.
func TestUniformPriorMakesAllOutcomesAlike(t *testing.T) {
	must := distribution(t)
	for _, n := range []int64{1, 2, 19, 1000, 1_000_000_000} {
		d := must(PredictBetaBinomial(1, 1, n))
		for _, k := range []int64{0, n / 7, n / 2, n - 1} {
			closeTo(t, "P(X ≤ k)", d.AtMost(k), float64(k+1)/float64(n+1), 1e-9)
			closeTo(t, "P(X > k)", d.MoreThan(k), float64(n-k)/float64(n+1), 1e-9)
			closeTo(t, "P(X = k)", d.Probability(k), 1/float64(n+1), 1e-9)
		}
	}
	// 0.95 is met exactly at 18 of 19: rounding must not ask for one more.
	quantileIs(t, "uniform", must(PredictBetaBinomial(1, 1, 19)), 0.95, 18)
}

// Point probabilities, however made, add up to the tails, which are made in
// another way.
func TestTailsAreSumsOfProbabilities(t *testing.T) {
	must := distribution(t)
	for name, d := range map[string]CountDistribution{
		"binomial":           must(PredictBinomial(200, 0.03)),
		"Poisson":            must(PredictPoisson(7.5)),
		"gamma-Poisson":      must(PredictGammaPoisson(0.3, 2, 40)),
		"beta-binomial":      must(PredictBetaBinomial(0.02, 3, 150)),
		"wide beta-binomial": must(PredictBetaBinomial(40, 0.4, 30)),
		"near binomial":      must(PredictBetaBinomial(3e6, 97e6, 200)),
	} {
		var sum float64
		for k := range int64(150) {
			sum += d.Probability(k)
			if math.Abs(d.AtMost(k)-sum) > 1e-12 || math.Abs(d.AtMost(k)+d.MoreThan(k)-1) > 1e-12 {
				t.Fatalf("%s at %d: at most %.15g, more %.15g, sum %.15g", name, k, d.AtMost(k), d.MoreThan(k), sum)
			}
		}
	}
}

// A quantile is reached by its own count and not by the one below.
func TestQuantileIsTheSmallest(t *testing.T) {
	must := distribution(t)
	for name, d := range map[string]CountDistribution{
		"binomial":         must(PredictBinomial(1_000_000_000, 0.001)),
		"Poisson":          must(PredictPoisson(1e9)),
		"gamma-Poisson":    must(PredictGammaPoisson(3, 1e3, 1e9)),
		"beta-binomial":    must(PredictBetaBinomial(5, 2000, 1_000_000_000)),
		"narrow posterior": must(PredictBetaBinomial(1e6, 1e9, 1_000_000_000)),
		"tiny shape":       must(PredictGammaPoisson(0.01, 1, 5)),
	} {
		for _, p := range []float64{1e-6, 0.025, 0.3, 0.5, 0.7, 0.975, 1 - 1e-6} {
			k, err := d.Quantile(p)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if d.AtMost(k) < p*(1-1e-9) || d.AtMost(k-1) >= p {
				t.Errorf("%s at %g: %d, P(≤) %.12g, below %.12g", name, p, k, d.AtMost(k), d.AtMost(k-1))
			}
		}
	}
}

func TestPredictionsAtTheEnds(t *testing.T) {
	must := distribution(t)
	for name, c := range map[string]struct {
		d    CountDistribution
		only int64
	}{
		"no trials":       {must(PredictBinomial(0, 0.3)), 0},
		"never":           {must(PredictBinomial(9, 0)), 0},
		"always":          {must(PredictBinomial(9, 1)), 9},
		"no mean":         {must(PredictPoisson(0)), 0},
		"no trials, beta": {must(PredictBetaBinomial(2, 3, 0)), 0},
	} {
		quantileIs(t, name, c.d, 0.01, c.only)
		quantileIs(t, name, c.d, 0.99, c.only)
		if c.d.Mean() != float64(c.only) || c.d.Variance() != 0 || c.d.Probability(c.only) != 1 ||
			c.d.Probability(c.only+1) != 0 || c.d.AtMost(c.only-1) != 0 || c.d.AtMost(c.only) != 1 || c.d.MoreThan(c.only-1) != 1 {
			t.Errorf("%s: not certain to be %d", name, c.only)
		}
	}
	_, err := PredictBinomial(-1, 0.5)
	refused(t, err, "trials", "trials is -1, but must be at least 0")
	_, err = PredictBinomial(1, math.NaN())
	refused(t, err, "probability", "probability is NaN, but must lie between 0 and 1")
	_, err = PredictPoisson(math.Inf(1))
	refused(t, err, "mean", "mean is +Inf, but must be at least 0 and at most 2^40")
	_, err = PredictGammaPoisson(0, 1, 1)
	refused(t, err, "shape", "shape is 0, but must be a finite number above 0")
	_, err = PredictGammaPoisson(1, 1e-300, 1e300)
	refused(t, err, "exposure", "exposure is 1e+300, but must be small enough for the mean to be at most 2^40")
	_, err = PredictBetaBinomial(1, math.Inf(1), 3)
	refused(t, err, "beta", "beta is +Inf, but must be a finite number above 0")
	_, err = must(PredictPoisson(3)).Quantile(1)
	refused(t, err, "probability", "probability is 1, but must lie between 0 and 1, both excluded")
	_, err = must(PredictGammaPoisson(1e-3, 1e-9, 1e3)).Quantile(1 - 1e-15)
	if err == nil {
		t.Error("a quantile above 2^40 was given")
	}
}
