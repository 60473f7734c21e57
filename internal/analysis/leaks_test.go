package analysis_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"jointledger/internal/analysis"
)

func surface(v float64) *float64 { return &v }

// An outcome belongs to the last sealing before it; at the moment of a sealing, to
// that sealing.
func TestLeakRows(t *testing.T) {
	at := func(h int) time.Time { return time.Date(2026, 3, 2, h, 0, 0, 0, time.UTC) }
	seal := func(joint, h int, c float64) analysis.SealedJoint {
		return analysis.SealedJoint{Joint: joint, Site: "RVB", Day: 20514, At: at(h), SurfaceCelsius: surface(c), CleanTime: at(h + 1), Counts: c < 9}
	}
	sealings := []analysis.SealedJoint{seal(7, 10, 3), seal(7, 2, 1), seal(7, 6, 2), seal(9, 2, 4), seal(8, 2, 9)}
	outcomes := []analysis.SealOutcome{
		{Joint: 7, At: at(1), Failed: true},              // before the first
		{Joint: 7, At: at(6), Failed: true},              // at the second
		{Joint: 7, At: at(11), Test: true},               // a test passed
		{Joint: 9, At: at(20), Test: true, Failed: true}, // a test not passed
		{Joint: 8, At: at(3), Failed: true},              // not asked about
		{Joint: 5, At: at(3), Failed: true},              // of no sealing
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		r.Shuffle(len(sealings), func(i, j int) { sealings[i], sealings[j] = sealings[j], sealings[i] })
		r.Shuffle(len(outcomes), func(i, j int) { outcomes[i], outcomes[j] = outcomes[j], outcomes[i] })
		rows := analysis.LeakRows(sealings, outcomes)
		if len(rows) != 4 {
			t.Fatalf("%d rows", len(rows))
		}
		for i, want := range []struct {
			surface        float64
			failed, tested bool
		}{{1, false, false}, {2, true, false}, {3, false, true}, {4, true, true}} {
			if *rows[i].SurfaceCelsius != want.surface || rows[i].Failed != want.failed || rows[i].Tested != want.tested {
				t.Errorf("row %d: %+v", i, rows[i])
			}
			if rows[i].HoursSinceCleaning != nil { // cleaned after sealing
				t.Errorf("row %d was cleaned %v h before", i, *rows[i].HoursSinceCleaning)
			}
		}
		if rows[0].Cluster != "RVB 2026-03-02" {
			t.Errorf("cluster %q", rows[0].Cluster)
		}
	}
}

// The margin of a surface of 11 °C in air of 10 °C and 90 %: the dew point by WMO-No.
// 8 (Sonntag 1990) is 8.44 °C, see the reckoner's table in the trade reference.
func TestDewMargin(t *testing.T) {
	m := analysis.DewMargin(10, 11, 90)
	gamma := math.Log(0.9) + 17.62*10/(243.12+10)
	if want := 11 - 243.12*gamma/(17.62-gamma); m == nil || math.Abs(*m-want) > 1e-9 || math.Abs(want-2.56) > 0.01 {
		t.Errorf("%v, expected %v", m, want)
	}
	if analysis.DewMargin(10, 11, 0) != nil || analysis.DewMargin(100, 11, 50) != nil {
		t.Error("a margin of what cannot be")
	}
}

// drawn makes sealings whose odds to fail are multiplied by exp(slope) for each °C.
func drawn(r *rand.Rand, n int, slope float64) []analysis.LeakRow {
	var rows []analysis.LeakRow
	for i := range n {
		c, margin, hours := 30*r.Float64(), 2+10*r.Float64(), 4*r.Float64()
		p := 1 / (1 + math.Exp(-(-1.5 + slope*c)))
		rows = append(rows, analysis.LeakRow{
			Cluster: string(rune('A' + i%26)), SurfaceCelsius: &c, DewMarginCelsius: &margin, HoursSinceCleaning: &hours,
			Splice: []string{"none", "corner"}[r.IntN(2)], Solvent: "acetone", Failed: r.Float64() < p, Tested: true,
		})
	}
	return rows
}

// The model finds the effect that the data were made with, and covers it; without one
// it is seldom claimed.
func TestLeaksFindTheColdAndNothingElse(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 3))
	const rounds = 60
	covered, found, false1 := 0, 0, 0
	for range rounds {
		a, err := analysis.Leaks(drawn(r, 500, -0.12), analysis.LeakOptions{})
		if err != nil || a.Model == nil {
			t.Fatal(err, a.Cautions)
		}
		c := a.Model.Terms[0].Coefficients[0]
		if w := c.Wald; w.Lower <= math.Exp(-0.12) && math.Exp(-0.12) <= w.Upper {
			covered++
		}
		if strings.Contains(a.Headline, "failures go with surface temperature") {
			found++
		}
		if a, err = analysis.Leaks(drawn(r, 500, 0), analysis.LeakOptions{}); err != nil {
			t.Fatal(err)
		}
		if strings.Contains(a.Headline, "failures go with") {
			false1++
		}
	}
	if covered < rounds*85/100 || found < rounds*9/10 || false1 > rounds*20/100 {
		t.Errorf("of %d rounds the effect was covered in %d and found in %d; claimed without one in %d", rounds, covered, found, false1)
	}
}

// Figures do not depend on the order of the rows, and add up.
func TestLeaksDoNotKnowOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 8))
	rows := drawn(r, 200, -0.1)
	rows[3].SurfaceCelsius, rows[3].DewMarginCelsius, rows[9].Splice = nil, nil, ""
	one, err := analysis.Leaks(rows, analysis.LeakOptions{})
	if err != nil {
		t.Fatal(err)
	}
	r.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	again, err := analysis.Leaks(rows, analysis.LeakOptions{})
	if err != nil || one.Headline != again.Headline || !slices.Equal(one.Cautions, again.Cautions) {
		t.Errorf("%q\n%q %v", one.Headline, again.Headline, err)
	}
	for _, c := range one.Conditions {
		var sealings, failed int64
		for _, b := range c.Bands {
			sealings, failed = sealings+b.Sealings, failed+b.Failed
		}
		if sealings != one.Sealings || failed != one.Failed {
			t.Errorf("%s: %d of %d, in all %d of %d", c.Name, failed, sealings, one.Failed, one.Sealings)
		}
	}
	if last := one.Conditions[0].Bands[len(one.Conditions[0].Bands)-1]; !last.NotRecorded || last.Sealings != 1 {
		t.Errorf("%+v", last)
	}
	if !mentions(one.Cautions, "Not in the model: 2 sealings") {
		t.Errorf("%q", one.Cautions)
	}
}

// Whatever is empty, an answer with a caution and no number that is none.
func TestLeaksOfLittle(t *testing.T) {
	failed := analysis.LeakRow{Failed: true}
	for name, c := range map[string]struct {
		rows []analysis.LeakRow
		says string
	}{
		"nothing":        {nil, ""},
		"one":            {[]analysis.LeakRow{{}}, "No seal failed"},
		"all failed":     {[]analysis.LeakRow{failed, failed}, "There is no model"},
		"unmeasured":     {[]analysis.LeakRow{failed, {}, {}}, "no condition that varies"},
		"all the same":   {[]analysis.LeakRow{{Failed: true, SurfaceCelsius: surface(3)}, {SurfaceCelsius: surface(3)}}, "the same in all sealings that take part: surface temperature"},
		"seldom on file": {[]analysis.LeakRow{{Failed: true, SurfaceCelsius: surface(3)}, {}, {}}, "fewer than half of the sealings: surface temperature"},
		"separated":      {[]analysis.LeakRow{{Failed: true, SurfaceCelsius: surface(3)}, {Failed: true, SurfaceCelsius: surface(4)}, {SurfaceCelsius: surface(5)}, {SurfaceCelsius: surface(6)}}, "separate"},
	} {
		a, err := analysis.Leaks(c.rows, analysis.LeakOptions{ByPerson: true})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if text, err := json.Marshal(a); err != nil || strings.Contains(string(text), "NaN") || strings.Contains(string(text), "%!") {
			t.Errorf("%s: %s %v", name, text, err)
		}
		if c.says != "" && !mentions(a.Cautions, c.says) || a.Headline == "" {
			t.Errorf("%s: %q %q", name, a.Headline, a.Cautions)
		}
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1)} {
		if _, err := analysis.Leaks([]analysis.LeakRow{{SurfaceCelsius: &bad}}, analysis.LeakOptions{}); err == nil || !strings.Contains(err.Error(), "surface_c of row 1") {
			t.Errorf("%v", err)
		}
	}
	if _, err := analysis.Leaks(nil, analysis.LeakOptions{Confidence: 1}); err == nil {
		t.Error("confidence 1 was taken")
	}
}
