package regression

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// wide is a table of n rows of one trial: twenty columns of the model matrix with
// the intercept, by nineteen covariates.
func wide(n int) Data {
	r := rand.New(rand.NewPCG(1, 2))
	d := Data{Family: Binomial, Events: make([]int64, n)}
	for k := range 19 {
		t := Term{Name: fmt.Sprint("x", k), Values: make([]float64, n)}
		for i := range t.Values {
			t.Values[i] = r.NormFloat64()
		}
		d.Terms = append(d.Terms, t)
	}
	for i := range d.Events {
		eta := -2.0
		for k := range d.Terms {
			eta += 0.1 * float64(k%5) * d.Terms[k].Values[i]
		}
		if r.Float64() < 1/(1+math.Exp(-eta)) {
			d.Events[i] = 1
		}
	}
	return d
}

func BenchmarkLogistic100kx20(b *testing.B) {
	d := wide(100_000)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Fit(d, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// lots is a table of counts by factors of so many levels.
func lots(n int, levels ...int) Data {
	r := rand.New(rand.NewPCG(3, 4))
	d := Data{Family: Binomial, Events: make([]int64, n), Trials: make([]int64, n)}
	effects := make([][]float64, len(levels))
	for k, count := range levels {
		t := Term{Name: fmt.Sprint("factor", k), Codes: make([]int, n)}
		for l := range count {
			t.Levels = append(t.Levels, fmt.Sprint("level", l))
			effects[k] = append(effects[k], 0.5*r.NormFloat64())
		}
		for i := range t.Codes {
			t.Codes[i] = r.IntN(count)
		}
		d.Terms = append(d.Terms, t)
	}
	for i := range d.Events {
		eta := -3.0
		for k := range levels {
			eta += effects[k][d.Terms[k].Codes[i]]
		}
		d.Trials[i] = int64(20 + r.IntN(100))
		for range d.Trials[i] {
			if r.Float64() < 1/(1+math.Exp(-eta)) {
				d.Events[i]++
			}
		}
	}
	return d
}

func BenchmarkFiveHundredLots(b *testing.B) {
	d := lots(5000, 500, 8, 3)
	for b.Loop() {
		m, err := Fit(d, Options{})
		if err != nil {
			b.Fatal(err)
		}
		for c := range m.Columns {
			if _, _, err := m.Profile(c); err != nil {
				b.Fatal(err)
			}
		}
	}
}
