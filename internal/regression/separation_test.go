package regression

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"jointledger/internal/stats"
)

// Separated by construction, or overlapping by construction: Albert and Anderson
// (1984). The answer must be right, not likely.
func TestSeparationIsDetected(t *testing.T) {
	x := func(v ...float64) []Term { return []Term{{Name: "x", Values: v}} }
	for _, c := range []struct {
		name   string
		data   Data
		expect bool
	}{
		{"complete", Data{Family: Binomial, Events: []int64{0, 0, 1, 1}, Terms: x(1, 2, 3, 4)}, true},
		{"quasi-complete: a tie at the border", Data{Family: Binomial, Events: []int64{0, 0, 1, 1}, Terms: x(1, 2, 2, 4)}, true},
		{"overlap", Data{Family: Binomial, Events: []int64{0, 1, 0, 1}, Terms: x(1, 2, 3, 4)}, false},
		{"overlap by little", Data{Family: Binomial, Events: []int64{0, 1, 0, 1}, Terms: x(1, 2, 2.001, 4)}, false},
		{"an inner group pins the slope", Data{Family: Binomial, Events: []int64{0, 1, 3, 2}, Trials: []int64{3, 2, 3, 3}, Terms: x(1, 2, 4, 3)}, false},
		{"rare, but not separated", Data{Family: Binomial, Events: []int64{1, 500_000_000}, Trials: []int64{1_000_000_000, 1_000_000_000}, Terms: x(0, 1)}, false},
		{"Poisson, no event in a level", Data{Family: Poisson, Events: []int64{0, 0, 5}, Terms: []Term{factor("lot", []string{"A", "A", "B"})}}, true},
		{"Poisson, no event beyond the last", Data{Family: Poisson, Events: []int64{0, 0, 5, 4}, Terms: x(1, 2, 3, 3)}, true},
		{"Poisson, no event in the midst", Data{Family: Poisson, Events: []int64{2, 0, 5}, Terms: x(1, 2, 3)}, false},
	} {
		m := fit(t, c.data, Options{})
		if m.Penalised != c.expect || (m.Separation != nil) != c.expect {
			t.Errorf("%s: penalised %v", c.name, m.Penalised)
		}
		_, err := Fit(c.data, Options{Penalty: Never})
		var separation *SeparationError
		if errors.As(err, &separation) != c.expect {
			t.Errorf("%s: %v", c.name, err)
		}
		for _, k := range m.Coefficients {
			if math.IsNaN(k.Estimate) || math.IsInf(k.Estimate, 0) || !(k.StandardError > 0) {
				t.Errorf("%s: %+v", c.name, k)
			}
		}
	}
}

func TestSeparatedLevelsAreNamed(t *testing.T) {
	d := Data{Family: Binomial, Events: []int64{0, 3, 4, 2}, Trials: []int64{9, 3, 9, 5},
		Terms: []Term{factor("lot", []string{"A", "B", "C", "D"})}}
	m := fit(t, d, Options{})
	want := []SeparatedLevel{{Term: 0, Level: 0}, {Term: 0, Level: 1, Events: true}}
	if m.Separation == nil || !slices.Equal(m.Separation.Levels, want) {
		t.Errorf("separation %+v, want %+v", m.Separation, want)
	}
}

// With covariates of random integers separation holds exactly when a direction
// of some fine grid, or the fit itself, shows it: in two dimensions the grid's
// directions hit every open cone of such small integers.
func TestSeparationAgainstAGrid(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	seen := map[bool]int{}
	for range 400 {
		d := Data{Family: Binomial, Terms: []Term{{Name: "x"}, {Name: "y"}}}
		for range 8 {
			d.Events = append(d.Events, int64(r.IntN(2)))
			d.Terms[0].Values = append(d.Terms[0].Values, float64(r.IntN(7)))
			d.Terms[1].Values = append(d.Terms[1].Values, float64(r.IntN(7)))
		}
		m, err := Fit(d, Options{})
		var argument *stats.ArgumentError
		if errors.As(err, &argument) {
			continue // all alike
		}
		if err != nil {
			t.Fatal(err)
		}
		want := separatedOnGrid(d)
		seen[want]++
		if m.Penalised != want {
			t.Errorf("%+v: penalised %v, want %v", d, m.Penalised, want)
		}
	}
	if seen[true] < 50 || seen[false] < 50 {
		t.Errorf("too few of a kind: %v", seen)
	}
}

// separatedOnGrid tries the directions through pairs of points, those of the
// grid and turns of them by little, and every threshold a point gives.
func separatedOnGrid(d Data) bool {
	x, y := d.Terms[0].Values, d.Terms[1].Values
	for a := -6.0; a <= 6; a++ {
		for b := -6.0; b <= 6; b++ {
			for _, turn := range []float64{-1e-3, 0, 1e-3} {
				u, v := a-turn*b, b+turn*a
				low, high := math.Inf(-1), math.Inf(1) // highest of the 0, lowest of the 1
				moved := false
				for i, e := range d.Events {
					z := u*x[i] + v*y[i]
					if moved = moved || math.Abs(z-u*x[0]-v*y[0]) > 1e-9; e == 0 {
						low = math.Max(low, z)
					} else {
						high = math.Min(high, z)
					}
				}
				if moved && low <= high+1e-12 {
					return true
				}
			}
		}
	}
	return false
}

// Firth's estimate in a 2×2 table is that with half an event and half a
// non-event added to each cell (Heinze and Schemper 2002, section 2).
func TestFirthInATwoByTwoTable(t *testing.T) {
	m := fit(t, Data{Family: Binomial, Events: []int64{0, 7}, Trials: []int64{12, 20}, Terms: []Term{factor("lot", []string{"A", "B"})}}, Options{})
	near(t, "log odds ratio", m.Coefficients[1].Estimate, math.Log(7.5/13.5/(0.5/12.5)), 1e-9)
	near(t, "intercept", m.Coefficients[0].Estimate, math.Log(0.5/12.5), 1e-9)
	p := fit(t, Data{Family: Poisson, Events: []int64{0, 7}, Exposure: []float64{12, 20}, Terms: []Term{factor("lot", []string{"A", "B"})}}, Options{})
	near(t, "log rate ratio", p.Coefficients[1].Estimate, math.Log(7.5/20/(0.5/12)), 1e-9)
}
