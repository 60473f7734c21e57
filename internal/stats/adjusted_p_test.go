package stats

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// Y. Benjamini, Y. Hochberg, J. Roy. Statist. Soc. B 57 (1995) 289-300, section
// 4.1, the thrombolysis trial of Neuhaus et al. (1992); the adjusted values by
// R 4.2.2, p.adjust.
var thrombolysis = []float64{0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000}

var adjustments = []struct {
	name   string
	adjust func([]float64) ([]float64, error)
	want   []float64
	// rejected is how many are at or below 0.05: for Benjamini-Hochberg four,
	// as the paper says (from memory).
	rejected int
}{
	{"Holm", Holm, []float64{0.0015, 0.0056, 0.0247, 0.114, 0.2211, 0.278, 0.278, 0.278, 0.3213, 1, 1, 1, 1, 1, 1}, 3},
	{"Benjamini-Hochberg", BenjaminiHochberg, []float64{0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.0638571428571, 0.0638571428571, 0.0645, 0.0765, 0.486, 0.581181818182, 0.714875, 0.753230769231, 0.813214285714, 1}, 4},
}

func TestAdjustedPublished(t *testing.T) {
	for _, c := range adjustments {
		got, err := c.adjust(thrombolysis)
		if err != nil {
			t.Fatal(err)
		}
		rejected := 0
		for i := range got {
			if math.Abs(got[i]-c.want[i]) > 1e-12 {
				t.Errorf("%s %d = %.15g, want %.15g", c.name, i+1, got[i], c.want[i])
			}
			if got[i] <= 0.05 {
				rejected++
			}
		}
		if rejected != c.rejected {
			t.Errorf("%s rejects %d, want %d", c.name, rejected, c.rejected)
		}
	}
}

// The adjusted values come back in the order given, and the input stays.
func TestAdjustedOrder(t *testing.T) {
	// A fixed permutation: 7 and 15 share no factor.
	shuffled := make([]float64, len(thrombolysis))
	for i := range shuffled {
		shuffled[i] = thrombolysis[i*7%15]
	}
	given := slices.Clone(shuffled)
	for _, c := range adjustments {
		got, err := c.adjust(shuffled)
		if err != nil {
			t.Fatal(err)
		}
		for i := range got {
			if want := c.want[i*7%15]; math.Abs(got[i]-want) > 1e-12 {
				t.Errorf("%s at place %d = %.15g, want %.15g", c.name, i, got[i], want)
			}
		}
		if !slices.Equal(shuffled, given) {
			t.Errorf("%s changed its input", c.name)
		}
	}
}

// By hand from the definitions: with ties, equal p-values get equal adjusted
// values; a single p-value and none at all stay as they are.
func TestAdjustedSmall(t *testing.T) {
	for _, c := range []struct {
		p, holm, hochberg []float64
	}{
		{[]float64{}, []float64{}, []float64{}},
		{nil, []float64{}, []float64{}},
		{[]float64{0.03}, []float64{0.03}, []float64{0.03}},
		{[]float64{0, 1}, []float64{0, 1}, []float64{0, 1}},
		{[]float64{0.25, 0.125, 0.25}, []float64{0.5, 0.375, 0.5}, []float64{0.25, 0.25, 0.25}},
		{[]float64{0.5, 0.0625}, []float64{0.5, 0.125}, []float64{0.5, 0.125}},
	} {
		for _, m := range []struct {
			name   string
			adjust func([]float64) ([]float64, error)
			want   []float64
		}{{"Holm", Holm, c.holm}, {"Benjamini-Hochberg", BenjaminiHochberg, c.hochberg}} {
			got, err := m.adjust(c.p)
			if err != nil || !slices.Equal(got, m.want) {
				t.Errorf("%s(%v) = %v, %v, want %v", m.name, c.p, got, err, m.want)
			}
		}
	}
}

func TestAdjustedRefuses(t *testing.T) {
	for _, c := range []struct {
		bad  float64
		text string
	}{{math.NaN(), "NaN"}, {-0.001, "-0.001"}, {1.5, "1.5"}, {math.Inf(1), "+Inf"}} {
		for _, m := range adjustments {
			got, err := m.adjust([]float64{0.5, c.bad, 0.1})
			refused(t, err, "p-value 2", fmt.Sprintf("p-value 2 is %s, but must lie between 0 and 1", c.text))
			if got != nil {
				t.Errorf("%s gave %v beside the error", m.name, got)
			}
		}
	}
}
