package analysis_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"jointledger/internal/analysis"
	"jointledger/internal/stats"
)

// Small tables of every kind of trouble at once: few rows, separation, columns
// that make each other up, huge and tiny counts and units. Each is answered
// without a figure that is no number, or refused with a sentence; a maximum that
// is there is reached.
func TestModelOfAnyTable(t *testing.T) {
	r := rand.New(rand.NewPCG(51, 52))
	answered := 0
	for round := range 300 {
		columns, o := troubledTable(r)
		a, err := analysis.Model(analysis.ModelTable{Columns: columns}, o)
		var argument *stats.ArgumentError
		switch {
		case errors.As(err, &argument):
			continue
		case err != nil:
			t.Errorf("round %d: %v\n%+v\n%+v", round, err, columns, o)
			continue
		}
		answered++
		if _, err := json.Marshal(a); err != nil {
			t.Errorf("round %d: %v", round, err)
		}
		for _, term := range a.Terms {
			for _, c := range term.Coefficients {
				if c.Profile != nil && !(c.Profile.Lower <= *c.Ratio && *c.Ratio <= c.Profile.Upper) {
					t.Errorf("round %d: %g outside its profile %+v", round, *c.Ratio, *c.Profile)
				}
			}
			for _, rate := range term.Rates {
				if i := rate.IntervalPer1000; i != nil && !(i.Lower <= *rate.Per1000*(1+1e-9) && *rate.Per1000 <= i.Upper*(1+1e-9)) {
					t.Errorf("round %d: %g outside %+v", round, *rate.Per1000, *i)
				}
			}
		}
	}
	if answered < 150 {
		t.Errorf("only %d answered", answered)
	}
}

func troubledTable(r *rand.Rand) ([]analysis.ModelColumn, analysis.ModelOptions) {
	n := 2 + r.IntN(12)
	scale := math.Pow(10, float64(r.IntN(7)))
	unit := math.Pow(10, float64(r.IntN(13)-6))
	failures, attempts := make([]float64, n), make([]float64, n)
	x, y := make([]float64, n), make([]float64, n)
	lot, site, joint := make([]string, n), make([]string, n), make([]string, n)
	for i := range n {
		attempts[i] = math.Floor(scale * r.ExpFloat64())
		failures[i] = math.Floor(attempts[i] * math.Pow(r.Float64(), 6))
		x[i] = unit * float64(r.IntN(4))
		y[i] = 1e3 + unit*r.NormFloat64()
		lot[i], site[i], joint[i] = fmt.Sprint(r.IntN(3)), fmt.Sprint(r.IntN(3)), fmt.Sprint(r.IntN(4))
	}
	o := analysis.ModelOptions{Attempts: "attempts", Terms: []analysis.ModelTerm{{Column: "lot"}}}
	if r.IntN(2) == 0 {
		o.Terms = append(o.Terms, analysis.ModelTerm{Column: "x", Covariate: true})
	}
	if r.IntN(3) == 0 {
		o.Terms = append(o.Terms, analysis.ModelTerm{Column: "site"})
	}
	if r.IntN(3) == 0 {
		o.Terms = append(o.Terms, analysis.ModelTerm{Column: "y", Covariate: true})
	}
	if r.IntN(2) == 0 {
		o.Cluster = "joint"
	}
	o.UseDispersion = r.IntN(3) == 0
	if r.IntN(3) == 0 {
		o.Family, o.Attempts, o.Exposure = analysis.PoissonModel, "", "attempts"
	}
	return []analysis.ModelColumn{
		numbers("failures", failures...), numbers("attempts", attempts...), numbers("x", x...), numbers("y", y...),
		words("lot", lot...), words("site", site...), words("joint", joint...),
	}, o
}
