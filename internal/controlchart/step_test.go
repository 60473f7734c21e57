package controlchart

import (
	"math"
	"math/rand/v2"
	"testing"
)

// N. Smirnov, "Table for estimating the goodness of fit of empirical
// distributions", Ann. Math. Statist. 19 (1948) 279-281; the customary critical
// values, from memory.
func TestKolmogorovTail(t *testing.T) {
	for _, c := range []struct{ d, tail float64 }{{1.224, 0.10}, {1.358, 0.05}, {1.480, 0.025}, {1.628, 0.01}, {1.949, 0.001}} {
		if got := kolmogorovTail(c.d); math.Abs(got-c.tail) > 0.006*c.tail {
			t.Errorf("at %v: %v, published %v", c.d, got, c.tail)
		}
	}
	if kolmogorovTail(0) != 1 || math.Abs(kolmogorovTail(0.21)-1) > 1e-6 || kolmogorovTail(50) != 0 {
		t.Error("ends of the distribution")
	}
}

// Worked by hand: 1 of 10, 1 of 10, then 3 of 10 and 5 of 10; centre 1/4, sums
// −1.5, −3, −2.5, 0, and √(40·3/16) = 2.7386.
func TestProportionStep(t *testing.T) {
	s, found, err := ProportionStep(samplesOf(10, 1, 1, 3, 5), 1)
	if err != nil || !found {
		t.Fatal(found, err)
	}
	if s.From != 2 {
		t.Errorf("from %d", s.From)
	}
	near(t, "distance", s.Distance, 3/math.Sqrt(7.5))
	near(t, "before", s.Before, 0.1)
	near(t, "after", s.After, 0.4)
	wider, _, err := ProportionStep(samplesOf(10, 1, 1, 3, 5), 2)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "distance under dispersion", wider.Distance, s.Distance/2)
	if _, found, err = ProportionStep(samplesOf(10, 0, 0), 1); found || err != nil {
		t.Errorf("nothing failed: found %v, %v", found, err)
	}
	if _, found, err = RateStep(samplesOf(10, 3), 1); found || err != nil {
		t.Errorf("one sample: found %v, %v", found, err)
	}
	if _, _, err = RateStep(samplesOf(10, 3, 4), math.NaN()); err == nil {
		t.Error("dispersion NaN was taken")
	}
}

// Without a change the p-value is below 0.05 in at most a twentieth of histories.
func TestStepHoldsItsLevel(t *testing.T) {
	r := rand.New(rand.NewPCG(1980, 67))
	const histories = 1500
	cried := 0
	for range histories {
		var s []Sample
		for range 25 {
			n := 10 + r.IntN(60)
			x := int64(0)
			for range n {
				if r.Float64() < 0.05 {
					x++
				}
			}
			s = append(s, Sample{x, float64(n)})
		}
		step, found, err := ProportionStep(s, 1)
		if err != nil {
			t.Fatal(err)
		}
		if found && step.PValue < 0.05 {
			cried++
		}
	}
	if cried > 95 || cried < 15 { // 75 expected but for the safe side
		t.Errorf("%d of %d", cried, histories)
	}
}
