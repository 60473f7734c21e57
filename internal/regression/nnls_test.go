package regression

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The residual of the nearest point of a cone is known by this alone: no vector
// points its way, and it stands at right angles to the point (Kuhn and Tucker;
// Lawson and Hanson 1974, theorem 23.4).
func TestResidualOutsideACone(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 32))
	outside := 0
	for range 300 {
		n := 2 + r.IntN(7)
		vectors := make([][]float64, 2+r.IntN(30))
		lean := 2 * r.Float64()
		for i := range vectors {
			v := make([]float64, n)
			for k := range v {
				v[k] = r.NormFloat64()
			}
			v[0] += lean
			blas.Dscal(n, 1/blas.Dnrm2(n, v, 1), v, 1)
			vectors[i] = v
		}
		target := make([]float64, n)
		for k := range target {
			target[k] = r.NormFloat64()
		}
		residual, ok := residualOutside(vectors, target)
		if !ok {
			t.Fatal("did not end")
		}
		for _, v := range vectors {
			if w := blas.Ddot(n, v, 1, residual, 1); w > 1e-9 {
				t.Errorf("a vector points along the residual: %g", w)
			}
		}
		point := append([]float64(nil), target...)
		blas.Daxpy(n, -1, residual, 1, point, 1)
		if w := blas.Ddot(n, point, 1, residual, 1); math.Abs(w) > 1e-9 {
			t.Errorf("residual and point are not at right angles: %g", w)
		}
		if blas.Dnrm2(n, residual, 1) > 1e-6 {
			outside++
		}
	}
	if outside < 50 || outside > 250 {
		t.Errorf("%d of 300 targets are outside their cone; both kinds are to be tried", outside)
	}
}

// A plane between the outcomes, planted in six dimensions, is found at whatever
// distance, and lost once two rows against it are added that no plane can suit.
func TestPlantedSeparation(t *testing.T) {
	r := rand.New(rand.NewPCG(41, 42))
	for _, gap := range []float64{1, 1e-2, 1e-4} {
		d := Data{Family: Binomial, Terms: make([]Term, 6)}
		for k := range d.Terms {
			d.Terms[k].Name = "x"
		}
		add := func(x []float64, event int64) {
			for k := range d.Terms {
				d.Terms[k].Values = append(d.Terms[k].Values, x[k])
			}
			d.Events = append(d.Events, event)
		}
		x := make([]float64, 6)
		for i := range 120 {
			sum := 0.0
			for k := range x {
				x[k] = r.NormFloat64()
				sum += x[k]
			}
			side := float64(2*(i%2) - 1)
			x[0] += side*(gap+r.ExpFloat64()) - sum
			add(x, int64(i%2))
		}
		if m := fit(t, d, Options{}); !m.Penalised || len(m.Separation.Columns) == 0 {
			t.Errorf("gap %g: not found", gap)
		}
		for event := range int64(2) { // one point, both ways, and one beyond on each side
			for k := range x {
				x[k] = 3 * float64(1-2*event)
			}
			add(x, event)
		}
		if m := fit(t, d, Options{}); m.Penalised {
			t.Errorf("gap %g: found where there is none", gap)
		}
	}
}
