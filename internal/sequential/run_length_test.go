package sequential

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

func near(t *testing.T, name string, got, want, relative float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%s: %.12g, expected %.12g", name, got, want)
	}
}

// bernoulli is a plan on a given lattice, for run lengths.
func bernoulli(gain, drift, threshold, start int64) Plan {
	return Plan{Model: Bernoulli, InControl: 0.01, OutOfControl: 0.02, Look: 1,
		Gain: gain, Drift: drift, Threshold: threshold, Start: start}
}

// With gain m and threshold m the CUSUM from 0 is the sets method for pairs of
// failures of R. Chen, "A surveillance system for congenital malformations", J.
// Amer. Statist. Assoc. 73 (1978) 323-327: a failure m−1 attempts or fewer after the
// one before. Its run length is that of the geometric gaps, worked by hand:
// 1/p for the first failure, and 1/p for each of 1/(1 − q^(m−1)) gaps on average.
func TestRunLengthOfPairs(t *testing.T) {
	for _, m := range []int64{2, 3, 10, 70, 1000} {
		for _, rate := range []float64{0.00003, 0.002, 0.01, 0.3} {
			got, err := bernoulli(m, 1, m, 0).RunLength(rate)
			if err != nil {
				t.Fatal(err)
			}
			close := -math.Expm1(float64(m-1) * math.Log1p(-rate))
			near(t, fmt.Sprintf("m %d, rate %v", m, rate), got, (1+1/close)/rate, 1e-12)
		}
	}
}

// byDefinition solves the linear equations of D. Brook, D. A. Evans, Biometrika
// 59 (1972) 539-549, L = 1 + QL, by Gauss and Jordan with pivots.
func byDefinition(gain, drift, threshold, start int64, weights []float64) float64 {
	n := int(threshold)
	a := make([][]float64, n)
	for i := range a {
		a[i] = make([]float64, n+1)
		a[i][i], a[i][n] = 1, 1
		for x, w := range weights {
			if j := max(0, int64(i)+int64(x)*gain-drift); j < threshold {
				a[i][j] -= w
			}
		}
	}
	for c := range n {
		pivot := c
		for i := c; i < n; i++ {
			if math.Abs(a[i][c]) > math.Abs(a[pivot][c]) {
				pivot = i
			}
		}
		a[c], a[pivot] = a[pivot], a[c]
		for i := range n {
			if f := a[i][c] / a[c][c]; i != c && f != 0 {
				for j := c; j <= n; j++ {
					a[i][j] -= f * a[c][j]
				}
			}
		}
	}
	return a[start][n] / a[start][start]
}

func TestRunLengthSolvesTheChain(t *testing.T) {
	for _, c := range []struct {
		gain, drift, threshold, start int64
		rate                          float64
	}{
		{7, 1, 1, 0, 0.1}, {7, 1, 6, 0, 0.1}, {7, 1, 15, 0, 0.1}, {7, 1, 29, 14, 0.1}, {7, 1, 29, 28, 0.2},
		{2, 1, 12, 6, 0.4}, {40, 1, 130, 0, 0.02}, {40, 1, 130, 65, 0.03},
		{10, 9, 3, 2, 0.8}, {10, 3, 47, 0, 0.2}, {10, 3, 47, 23, 0.4}, {7, 2, 31, 3, 0.2},
	} {
		got, err := bernoulli(c.gain, c.drift, c.threshold, c.start).RunLength(c.rate)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("%+v", c), got, byDefinition(c.gain, c.drift, c.threshold, c.start, []float64{1 - c.rate, c.rate}), 1e-8)
	}
	for _, size := range []int64{2, 8, 25} {
		got, err := bernoulli(40, 1, 130, 65).BatchRunLength(0.02, size)
		if err != nil {
			t.Fatal(err)
		}
		weights := binomialWeights(size, 0.02)
		carried, err := bernoulli(40, 1, 130, 65).carried(weights, tails(weights), size)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("records of %d, carried forward", size), carried, got, 1e-8)
		near(t, fmt.Sprintf("records of %d", size), got, byDefinition(40, size, 130, 65, binomialWeights(size, 0.02)), 1e-8)
	}
	for _, mean := range []float64{3, 4, 6} {
		p := Plan{Model: Poisson, InControl: 1, OutOfControl: 2, Look: 1, Gain: 2, Drift: 9, Threshold: 30, Start: 15}
		got, err := p.RunLength(mean)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("poisson %v", mean), got, byDefinition(2, 9, 30, 15, poissonWeights(mean)), 1e-8)
		p.Gain, p.Drift = 3, 1
		if got, err = p.RunLength(mean / 10); err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("poisson %v", mean/10), got, byDefinition(3, 1, 30, 15, poissonWeights(mean/10)), 1e-8)
	}
}

// M. R. Reynolds, Z. G. Stoumbos, J. Qual. Technol. 31 (1999) 87-108, give the
// corrected diffusion approximation, formula from memory: with h* = h + ε√(pq) and
// ε√(pq) = (1 − 2p)/3 for p below 0.01,
//
//	ANOS(p0) ≈ (exp(h* r2) − h* r2 − 1)/|r2 p0 − r1|
//	ANOS(p1) ≈ (exp(−h* r2) + h* r2 − 1)/|r2 p1 − r1|.
//
// They find it good to about a hundredth or two; the exact chain must agree as
// well.
func TestRunLengthNearsReynoldsAndStoumbos(t *testing.T) {
	for _, p0 := range []float64{0.0005, 0.002, 0.005} {
		for _, ratio := range []float64{2, 3} {
			p, err := Design(DesignOptions{Model: Bernoulli, InControl: p0, OutOfControl: ratio * p0, RunLength: 200 / p0})
			if err != nil {
				t.Fatal(err)
			}
			p1, err := p.TunedRate()
			if err != nil {
				t.Fatal(err)
			}
			r1 := math.Log((1 - p0) / (1 - p1))
			r2 := math.Log(p1 * (1 - p0) / (p0 * (1 - p1)))
			near(t, "tuned reference value", r1/r2, float64(p.Drift)/float64(p.Gain), 1e-9)
			h := float64(p.Threshold) / float64(p.Gain)
			for _, c := range []struct{ rate, sign float64 }{{p0, 1}, {p1, -1}} {
				x := (h + (1-2*c.rate)/3) * r2
				want := (math.Exp(c.sign*x) - c.sign*x - 1) / math.Abs(r2*c.rate-r1)
				got, err := p.RunLength(c.rate)
				if err != nil {
					t.Fatal(err)
				}
				near(t, fmt.Sprintf("p0 %v ratio %v rate %v", p0, ratio, c.rate), got, want, 0.03)
			}
		}
	}
}

// Two-sided CUSUM of normal means with k = 0.5: D. C. Montgomery, Introduction to
// Statistical Quality Control, table of ARLs for h = 4 and 5, after J. M. Lucas, R.
// B. Crosier, Technometrics 24 (1982) 199-205; digits from memory. One unit of the
// last digit is allowed, since the table was reckoned on a grid too.
func TestMeansRunLengthTable(t *testing.T) {
	for _, c := range []struct{ shift, four, four1, five, five1 float64 }{
		{0, 168, 1, 465, 1}, {0.25, 74.2, 0.1, 139, 1}, {0.5, 26.6, 0.1, 38.0, 0.1}, {0.75, 13.3, 0.1, 17.0, 0.1},
		{1, 8.38, 0.01, 10.4, 0.1}, {1.5, 4.75, 0.01, 5.75, 0.01}, {2, 3.34, 0.01, 4.01, 0.01},
		{2.5, 2.62, 0.01, 3.11, 0.01}, {3, 2.19, 0.01, 2.57, 0.01}, {4, 1.71, 0.01, 2.01, 0.01},
	} {
		for _, h := range []struct{ h, want, unit float64 }{{4, c.four, c.four1}, {5, c.five, c.five1}} {
			got, err := Means{Target: 10, Allowance: 0.25, Interval: h.h / 2}.RunLength(c.shift/2, 0.5)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(got-h.want) > h.unit {
				t.Errorf("h %v shift %v: %v, published %v", h.h, c.shift, got, h.want)
			}
		}
	}
}

// The run length that Update has in fact, by simulation with a fixed seed.
func TestUpdateHasTheStatedRunLength(t *testing.T) {
	p, err := Design(DesignOptions{Model: Bernoulli, InControl: 0.05, OutOfControl: 0.12, RunLength: 400, HeadStart: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		rate float64
		size int64
	}{{0.05, 1}, {0.12, 1}, {0.12, 8}} {
		const runs = 1500
		r := rand.New(rand.NewPCG(1954, 100))
		var total, squares float64
		for range runs {
			records := 0.0
			for s, signal := p.Begin(), (*Signal)(nil); signal == nil; records++ {
				var x int64
				for range c.size {
					if r.Float64() < c.rate {
						x++
					}
				}
				if s, signal, err = p.Update(s, x, float64(c.size)); err != nil {
					t.Fatal(err)
				}
			}
			total += records
			squares += records * records
		}
		mean := total / runs
		deviation := math.Sqrt((squares/runs - mean*mean) / runs)
		want, err := p.BatchRunLength(c.rate, c.size)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(mean-want) > 4*deviation {
			t.Errorf("%+v: simulated %v ± %v, reckoned %v", c, mean, deviation, want)
		}
	}
}

func TestRecordsOfSeveralAreFoundLaterAndNeverCryOftener(t *testing.T) {
	p, err := Design(DesignOptions{Model: Bernoulli, InControl: 0.01, OutOfControl: 0.03, RunLength: 5000})
	if err != nil {
		t.Fatal(err)
	}
	for _, rate := range []float64{0.005, 0.01, 0.03, 0.1} {
		single, err := p.RunLength(rate)
		if err != nil {
			t.Fatal(err)
		}
		for _, size := range []int64{1, 2, 4, 8, 32, 200} {
			records, err := p.BatchRunLength(rate, size)
			if err != nil {
				t.Fatal(err)
			}
			if got := records * float64(size); got < single*(1-1e-9) {
				t.Errorf("rate %v: %v attempts in records of %d, %v one by one", rate, got, size, single)
			}
		}
	}
}

// Very rare failures are read between two lattices; the chain as it stands, which
// TestRunLengthSolvesTheChain holds to its definition, says how well.
func TestRareRecordsAreReadBetweenLattices(t *testing.T) {
	p := bernoulli(347, 1, 2003, 1001)
	for _, rate := range []float64{0.008} {
		for _, size := range []int64{8} {
			got, err := p.BatchRunLength(rate, size)
			if err != nil {
				t.Fatal(err)
			}
			want, err := p.chain(binomialWeights(size, rate), size)
			if err != nil {
				t.Fatal(err)
			}
			if got == want {
				t.Errorf("rate %v, size %d: the chain itself was solved, which tests nothing", rate, size)
			}
			near(t, fmt.Sprintf("rate %v, size %d", rate, size), got, want, 0.01)
		}
	}
}

func TestDesignFindsTheLowestThreshold(t *testing.T) {
	for _, o := range []DesignOptions{
		{Model: Bernoulli, InControl: 0.01, OutOfControl: 0.02, RunLength: 2000},
		{Model: Bernoulli, InControl: 0.0001, OutOfControl: 0.0003, RunLength: 1e7},
		{Model: Bernoulli, InControl: 0.0004, OutOfControl: 0.0006, RunLength: 1e6, HeadStart: true},
		{Model: Bernoulli, InControl: 0.2, OutOfControl: 0.4, RunLength: 500},
		{Model: Bernoulli, InControl: 0.35, OutOfControl: 0.45, RunLength: 10000},
		{Model: Bernoulli, InControl: 0.01, OutOfControl: 0.02, RunLength: MostRunLength},
		{Model: Bernoulli, InControl: 0.02, OutOfControl: 0.9, RunLength: LeastRunLength},
		{Model: Poisson, InControl: 0.1, OutOfControl: 0.2, RunLength: 300, Look: 7},
		// Doubling the threshold passes run lengths beyond every number here.
		{Model: Poisson, InControl: 9, OutOfControl: 170, RunLength: 1e8, HeadStart: true},
		{Model: Poisson, InControl: 20, OutOfControl: 30, RunLength: 1e6},
		{Model: Poisson, InControl: 0.0001, OutOfControl: 0.0003, RunLength: 1e5},
	} {
		p, err := Design(o)
		if err != nil {
			t.Errorf("%+v: %v", o, err)
			continue
		}
		at, err := p.RunLength(o.InControl)
		if err != nil {
			t.Fatal(err)
		}
		raised, err := p.RunLength(o.OutOfControl)
		if err != nil {
			t.Fatal(err)
		}
		if at < o.RunLength || raised >= at {
			t.Errorf("%+v: run lengths %v and %v", o, at, raised)
		}
		reference := float64(p.Drift) / float64(p.Gain) / p.Look
		if reference <= o.InControl || reference >= o.OutOfControl {
			t.Errorf("%+v: reference %v lies outside the rates", o, reference)
		}
		if p.Threshold > 1 {
			if p.Threshold--; o.HeadStart {
				p.Start = p.Threshold / 2
			}
			if lower, err := p.RunLength(o.InControl); err != nil || lower >= o.RunLength {
				t.Errorf("%+v: a point less already gives %v (%v)", o, lower, err)
			}
		}
	}
}
