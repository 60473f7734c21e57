package figure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// names are those that people and makers give, and worse.
var names = []string{
	"L-4471", "", "x", strings.Repeat("very long ", 40), strings.Repeat("W", 200), `"quoted" & <script>alert(1)</script>`, "]]> --> </svg></title>",
	"אתר הצפון 12", "موقع الشمال", "北部現場その二", "tab\tand\nline", "\u202eturned\u202c", "é̂ö", "' onload='x",
}

// figuresOf are one figure of each kind with n groups, by chance.
func figuresOf(r *rand.Rand, limits []FunnelLimit, n int) []Figure {
	name := func(i int) string {
		if s := names[r.IntN(len(names))]; s != "" {
			return s
		}
		return fmt.Sprintf("group %d", i)
	}
	said := Caption{Finding: name(0) + " is first.", Cautions: []string{name(1)}}
	maybe := func(v float64) *float64 {
		if r.IntN(5) == 0 {
			return nil
		}
		return &v
	}
	forest := &Forest{Caption: said, Of: "lots", Measure: "ratio", Ratio: r.IntN(2) == 0, Confidence: 0.95, Reference: ptr(1.0), ReferenceLabel: name(2)}
	funnel := &Funnel{Caption: said, Of: "sites", Measure: "failures over expected", Precision: "expected failures", Target: 1, Limits: limits}
	chart := &ControlChart{Caption: said, Of: name(3), Kind: "u chart", Measure: "failures per 1,000 attempts", Centre: math.Exp(8 * r.Float64())}
	pareto := &Pareto{Caption: said, Of: "incidents"}
	holds := &Holds{Caption: said, AgeBounds: []int{3, 14, 60}}
	coverage := &Coverage{Caption: said}
	for k := range 1 + r.IntN(40) {
		d := dayOf(20528 + 7*float64(k)) // Mondays from 2026-03-16
		coverage.Weeks = append(coverage.Weeks, CoverageWeek{fmt.Sprintf("2026-W%02d", k+12), d})
	}
	spares := &Spares{Caption: said, ServiceLevel: 0.95}
	progress := &Progress{Caption: said, Of: "joints tightened"}
	for i := range n {
		v := math.Exp(4 * r.NormFloat64())
		if r.IntN(4) == 0 {
			v = 0
		}
		forest.Rows = append(forest.Rows, ForestRow{Name: name(i), Failures: int64(r.IntN(1e6)), Attempts: int64(r.IntN(1e9)), Value: maybe(v), Lower: maybe(v / 3), Upper: maybe(v*3 + 0.1), StandsOut: r.IntN(3) == 0})
		funnel.Points = append(funnel.Points, FunnelPoint{Name: name(i), Precision: math.Exp(3 * r.NormFloat64()), Value: v, Sigma: []int{-3, -2, 0, 2, 3}[r.IntN(5)]})
		p := ControlPoint{Label: fmt.Sprintf("%d %s", i, name(i)), Value: v, Lower: maybe(v / 2), Upper: maybe(v + 1)}
		if r.IntN(10) == 0 {
			p.Upper, p.Lower, p.Beyond = ptr(v-1), nil, 1
		}
		chart.Points = append(chart.Points, p)
		pareto.Kinds = append(pareto.Kinds, ParetoKind{name(i), int64(v)})
		holds.Rules = append(holds.Rules, HoldsRule{Name: name(i), ByAge: []int64{int64(r.IntN(9)), int64(v), 0, int64(r.IntN(2))}, OldestDays: int64(r.IntN(9999)), OldestPlace: name(i)})
		site := CoverageSite{Name: name(i), Overdue: int64(r.IntN(3))}
		for range coverage.Weeks {
			joints := int64(r.IntN(3) * r.IntN(1000))
			site.Weeks = append(site.Weeks, CoverageCell{Due: int64(r.IntN(2) * r.IntN(30)), Joints: joints, Gap: r.IntN(4) == 0, Open: joints / 2})
		}
		coverage.Sites = append(coverage.Sites, site)
		spares.Items = append(spares.Items, awkwardItem(r, name(i), name(i)))
		progress.Sites = append(progress.Sites, awkwardSite(r, name(i)))
	}
	if n > 1 {
		chart.Change = &ControlChange{FirstAfter: chart.Points[r.IntN(n-1)+1].Label, Before: r.Float64(), After: 100 * r.Float64()}
	}
	return []Figure{forest, funnel, chart, pareto, holds, coverage, spares, progress}
}

func awkwardItem(r *rand.Rand, fastener, site string) SparesItem {
	s := SparesItem{Fastener: fastener, Site: site, Remaining: int64(r.IntN(4) * r.IntN(5000)), OnHand: int64(r.IntN(9000) - 500), Late: r.IntN(9) == 0}
	if r.IntN(4) > 0 {
		s.Need, s.MeanNeed, s.RunOut = ptr(s.Remaining+int64(r.IntN(9000))), ptr(float64(s.Remaining)+3), ptr(r.Float64())
		s.Order, s.OrderBy = ptr(int64(r.IntN(2)*r.IntN(100000))), ptr(Day("2026-05-04"))
	}
	return s
}

func awkwardSite(r *rand.Rand, name string) ProgressSite {
	s := ProgressSite{Name: name, Whole: 1 + int64(r.IntN(2)*r.IntN(1e7))}
	day, total := 20500.0, int64(0)
	for range 1 + r.IntN(5) {
		s.Done = append(s.Done, ProgressPoint{dayOf(day), total})
		day, total = day+1+float64(r.IntN(50)), total+int64(r.IntN(1000))
	}
	if r.IntN(2) == 0 {
		s.Planned = s.Done
	}
	if r.IntN(3) > 0 {
		s.Forecast = &ProgressForecast{From: dayOf(day), Earliest: dayOf(day + 3), Expected: dayOf(day + 10), Confidence: 0.95}
		if r.IntN(2) == 0 {
			s.Forecast.Latest = ptr(dayOf(day + 10 + float64(r.IntN(9000))))
		}
	}
	return s
}

func TestAwkwardData(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 3))
	limits, err := RatioLimits(0.05, 4000, 1.7)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ n, times int }{{0, 1}, {1, 12}, {2, 12}, {3, 12}, {7, 12}, {25, 6}, {500, 2}} {
		n, times := c.n, c.times
		for k := range times {
			for _, f := range figuresOf(r, limits, n) {
				t.Run(fmt.Sprintf("%d/%d/%T", n, k, f), func(t *testing.T) {
					checkPicture(t, f)
					if svg := f.SVG("f"); strings.Contains(svg, "<script") || strings.Contains(svg, "\u202e") || len(svg) > 400_000 {
						t.Errorf("a picture of %d bytes with what was typed", len(svg))
					}
					table := f.Table()
					for _, row := range table.Rows {
						if len(row) != len(table.Head) {
							t.Fatalf("%d fields under %d heads", len(row), len(table.Head))
						}
					}
					if n == 500 && table.More == "" && len(table.Rows) < 12 {
						t.Errorf("%d rows of the table, and no more", len(table.Rows))
					}
				})
			}
		}
	}
}

// The worst are drawn, and how many more there are is said.
func TestMoreThanFits(t *testing.T) {
	f := &Forest{Caption: said, Of: "lots", Measure: "rate", Confidence: 0.9}
	for i := range 500 {
		f.Rows = append(f.Rows, ForestRow{Name: fmt.Sprintf("lot %d", i), Value: ptr(float64(500 - i))})
	}
	lines, _ := texts(t, checkPicture(t, f))
	all := strings.Join(lines, "\n")
	if !strings.Contains(all, "and 476 more") || !strings.Contains(all, "lot 23") || strings.Contains(all, "lot 24") {
		t.Errorf("%q", lines)
	}
	if more := f.Table().More; more != "and 476 more" {
		t.Errorf("the table says %q", more)
	}
}

// No failure at all is an answer: everything at 0, no number that is none.
func TestZeroFailures(t *testing.T) {
	forest := &Forest{Caption: said, Of: "lots", Measure: "failures per 1,000", Confidence: 0.95, Reference: ptr(0.0), Rows: []ForestRow{{Name: "a", Attempts: 300, Value: ptr(0.0), Lower: ptr(0.0), Upper: ptr(12.0)}}}
	chart := &ControlChart{Caption: said, Of: "a", Kind: "p chart", Measure: "rate", Points: []ControlPoint{{Label: "1"}, {Label: "2"}}}
	funnel := &Funnel{Caption: said, Of: "sites", Measure: "rate", Precision: "attempts", Points: []FunnelPoint{{Name: "a", Precision: 10}}}
	for _, f := range []Figure{forest, chart, funnel, &Pareto{Caption: said, Of: "incidents", Kinds: []ParetoKind{{"a", 0}}}} {
		checkPicture(t, f)
	}
	if n := len(ofClass(picture(t, forest), "unbounded")); n != 0 {
		t.Errorf("%d arrows on an interval from 0 to 12", n)
	}
}

// Incidents in another order give the same picture: the figure sorts them.
func TestParetoDoesNotMindTheOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	f := &Pareto{Caption: said, Of: "incidents"}
	for i := range 30 {
		f.Kinds = append(f.Kinds, ParetoKind{fmt.Sprintf("kind %d", i), int64(r.IntN(6))})
	}
	want := f.SVG("f")
	for range 5 {
		r.Shuffle(len(f.Kinds), func(i, k int) { f.Kinds[i], f.Kinds[k] = f.Kinds[k], f.Kinds[i] })
		if f.SVG("f") != want {
			t.Fatal("the order matters")
		}
	}
}
