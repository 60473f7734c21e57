package figure

import (
	"strings"
	"testing"
)

func ptr[T any](v T) *T { return &v }

var said = Caption{Finding: "Something is the case."}

func TestForestStandsWhereItsAxisSays(t *testing.T) {
	for _, ratio := range []bool{true, false} {
		f := &Forest{Caption: said, Of: "lots", Measure: "ratio", Ratio: ratio, Confidence: 0.95, Reference: ptr(1.0), Rows: []ForestRow{
			{Name: "a", Value: ptr(4.9), Lower: ptr(2.8), Upper: ptr(8.4), StandsOut: true},
			{Name: "b", Value: ptr(0.93), Lower: ptr(0.56), Upper: ptr(1.5)},
			{Name: "c", Value: ptr(1.0), Lower: ptr(1.0), Upper: ptr(1.0)},
		}}
		all := checkPicture(t, f)
		at := scaleOf(t, all, "y", forestTop+3*forestRow+16, ratio)
		marks, spans := ofClass(all, "estimate"), ofClass(all, "interval")
		if len(marks) != 3 || len(spans) != 3 {
			t.Fatalf("%d marks, %d intervals", len(marks), len(spans))
		}
		for i, r := range f.Rows {
			near(t, r.Name, marks[i].place(t).x, at(*r.Value))
			near(t, r.Name+" lower", spans[i].number(t, "x1"), at(*r.Lower))
			near(t, r.Name+" upper", spans[i].number(t, "x2"), at(*r.Upper))
			near(t, r.Name+" height", marks[i].place(t).y, spans[i].number(t, "y1"))
		}
		near(t, "reference", ofClass(all, "reference")[0].number(t, "x1"), at(1))
		if marks[0].name != "path" || marks[0].attr["fill"] != ink || marks[1].name != "circle" || marks[1].attr["fill"] != "#fff" {
			t.Error("what stands out is not told by shape and filling")
		}
		if n := len(ofClass(all, "unbounded")); n != 0 {
			t.Errorf("%d arrows on bounded intervals", n)
		}
	}
}

func TestUnboundedLimitsAreArrows(t *testing.T) {
	f := &Forest{Caption: said, Of: "lots", Measure: "ratio", Ratio: true, Confidence: 0.95, Rows: []ForestRow{
		{Name: "both", Value: ptr(2.0)}, // no limits: an arrow at each end
		{Name: "upper", Value: ptr(1.0), Lower: ptr(0.5)},
		{Name: "zero", Value: ptr(0.0), Lower: ptr(0.0), Upper: ptr(3.0)}, // 0 is nowhere on a logarithmic axis
		{Name: "none"},
	}}
	all := checkPicture(t, f)
	if n := len(ofClass(all, "unbounded")); n != 4 { // none where there is no estimate
		t.Errorf("%d arrows; want 2, 1 and 1", n)
	}
	if n := len(ofClass(all, "estimate")); n != 2 {
		t.Errorf("%d estimates", n)
	}
	lines, _ := texts(t, all)
	for _, want := range []string{"2 (no limits)", "1 (above 0.5)", "0 (0 to 3)", "no estimate"} {
		if !strings.Contains(strings.Join(lines, "\n"), want) {
			t.Errorf("no %q", want)
		}
	}
}

func TestFunnelStandsWhereItsAxesSay(t *testing.T) {
	for _, least := range []float64{0.8, 30} { // a logarithmic and a linear axis
		limits, err := RatioLimits(least, 120, 1.3)
		if err != nil {
			t.Fatal(err)
		}
		f := &Funnel{Caption: said, Of: "sites", Measure: "ratio", Precision: "expected", Target: 1, Limits: limits, Points: []FunnelPoint{
			{Name: "a", Precision: 40, Value: 2.1, Sigma: 3}, {Name: "b", Precision: 100, Value: 0.4, Sigma: -3},
			{Name: "c", Precision: 61, Value: 1}, {Name: "d", Precision: 60.5, Value: 1.4, Sigma: 2},
		}}
		all := checkPicture(t, f)
		_, _, log := f.PrecisionRange()
		x, y := scaleOf(t, all, "y", funnelBottom+16, log), scaleOf(t, all, "x", funnelLeft-7, false)
		marks := map[string]drawn{}
		for _, m := range ofClass(all, "point") {
			marks[strings.SplitN(m.title, ":", 2)[0]] = m
		}
		for _, p := range f.Points {
			near(t, p.Name+" across", marks[p.Name].place(t).x, x(p.Precision))
			near(t, p.Name+" up", marks[p.Name].place(t).y, y(p.Value))
		}
		near(t, "target", ofClass(all, "target")[0].number(t, "y1"), y(1))
		upper := strings.Fields(ofClass(all, "sigma3")[1].attr["points"])
		for i, l := range limits {
			xy := strings.Split(upper[i], ",")
			near(t, "limit across", float(t, xy[0]), x(l.Precision))
			near(t, "limit up", float(t, xy[1]), y(l.Upper3))
		}
		// So few points are all named, those within the limits too, where there is room.
		if n := len(ofClass(all, "label")); n < 3 || n > len(f.Points) {
			t.Errorf("%d labels for %d points; three stand out", n, len(f.Points))
		}
	}
}

// Spiegelhalter (2005): the funnel closes on its target as precision grows, and
// over-dispersion widens it by the root of the factor.
func TestRatioLimits(t *testing.T) {
	plain, err := RatioLimits(2, 500, 1)
	if err != nil {
		t.Fatal(err)
	}
	wide, err := RatioLimits(2, 500, 4)
	if err != nil {
		t.Fatal(err)
	}
	for i, l := range plain {
		if !(l.Lower3 <= l.Lower2 && l.Lower2 < 1 && 1 < l.Upper2 && l.Upper2 < l.Upper3) {
			t.Errorf("%+v are out of order", l)
		}
		if i > 0 && l.Upper3-l.Lower3 > 1.02*(plain[i-1].Upper3-plain[i-1].Lower3) {
			t.Errorf("the funnel opens at %g", l.Precision)
		}
		if got, want := wide[i].Upper3-1, 2*(l.Upper3-1); got < want-1e-9 || got > want+1e-9 {
			t.Errorf("at %g over-dispersion 4 gives %g, want %g", l.Precision, got, want)
		}
	}
	for _, bad := range [][3]float64{{0, 1, 1}, {5, 2, 1}} {
		if _, err := RatioLimits(bad[0], bad[1], bad[2]); err == nil {
			t.Errorf("%v was taken", bad)
		}
	}
}

func TestControlChartStandsWhereItsAxisSays(t *testing.T) {
	f := &ControlChart{Caption: said, Of: "x", Kind: "p chart", Measure: "rate", Centre: 8, Points: []ControlPoint{
		{Label: "1", Value: 7, Lower: ptr(2.0), Upper: ptr(14.0)}, {Label: "2", Value: 16, Lower: ptr(3.0), Upper: ptr(13.0), Beyond: 1},
		{Label: "3", Value: 1, Lower: ptr(2.0), Upper: ptr(14.0), Beyond: -1}, {Label: "4", Value: 9},
	}, Change: &ControlChange{FirstAfter: "3", Before: 11.5, After: 5}}
	all := checkPicture(t, f)
	y := scaleOf(t, all, "x", chartLeft-7, false)
	marks := ofClass(all, "point")
	step := marks[1].place(t).x - marks[0].place(t).x
	for i, p := range f.Points {
		near(t, p.Label, marks[i].place(t).y, y(p.Value))
		near(t, p.Label+" across", marks[i].place(t).x, marks[0].place(t).x+step*float64(i))
	}
	for i, shape := range []string{"circle", "path", "path", "circle"} {
		if marks[i].name != shape || (marks[i].attr["fill"] == ink) != (shape == "path") {
			t.Errorf("point %d is a %s filled %s", i+1, marks[i].name, marks[i].attr["fill"])
		}
	}
	near(t, "change", ofClass(all, "change")[0].number(t, "x1"), marks[2].place(t).x-step/2)
	means := ofClass(all, "mean")
	near(t, "before", means[0].number(t, "y1"), y(11.5))
	near(t, "after", means[1].number(t, "y1"), y(5))
	// A limit is a line of steps; where a point has none, it stops.
	upper := ofClass(all, "upper")
	if len(upper) != 1 || len(strings.Fields(upper[0].attr["points"])) != 6 {
		t.Fatalf("%d upper limits", len(upper))
	}
	for i, xy := range strings.Fields(upper[0].attr["points"]) {
		near(t, "upper limit", float(t, strings.Split(xy, ",")[1]), y(*f.Points[i/2].Upper))
	}
}

func TestParetoStandsWhereItsAxisSays(t *testing.T) {
	f := &Pareto{Caption: said, Of: "incidents", Most: 4, Kinds: []ParetoKind{{"e", 1}, {"a", 10}, {"c", 4}, {"none", 0}, {"b", 4}, {"d", 1}}}
	all := checkPicture(t, f)
	x := scaleOf(t, all, "y", paretoTop-6, false) // percent
	bars, sums := ofClass(all, "bar"), ofClass(all, "sum")
	sum := 0.0
	for i, want := range []struct {
		name  string
		count float64
	}{{"a", 10}, {"b", 4}, {"c", 4}, {"2 other kinds", 2}} {
		sum += want.count
		if !strings.HasPrefix(bars[i].title, want.name+": ") {
			t.Errorf("bar %d is of %q", i+1, bars[i].title)
		}
		near(t, want.name, bars[i].number(t, "x")+bars[i].number(t, "width"), x(100*want.count/20))
		near(t, want.name+" and above", sums[i].place(t).x, x(100*sum/20))
	}
}

func TestSparesStandWhereTheirAxisSays(t *testing.T) {
	f := &Spares{Caption: said, ServiceLevel: 0.95, Items: []SparesItem{
		{Fastener: "a", Remaining: 200, OnHand: 150, Need: ptr(int64(230)), MeanNeed: ptr(210.0)}, {Fastener: "b", Remaining: 1000, OnHand: 1100, Need: ptr(int64(1050)), MeanNeed: ptr(1010.0)},
	}}
	all := checkPicture(t, f)
	x := scaleOf(t, all, "y", sparesTop+2*sparesRow+16, false)
	stock, need := ofClass(all, "stock"), ofClass(all, "need")
	for i, want := range [][3]float64{{75, 100, 115}, {110, 100, 105}} { // percent of what remains
		near(t, "stock", stock[i].place(t).x, x(want[0]))
		near(t, "least need", need[i].number(t, "x1"), x(want[1]))
		near(t, "greatest need", need[i].number(t, "x2"), x(want[2]))
	}
	if stock[0].attr["fill"] != ink || stock[1].attr["fill"] == ink {
		t.Error("too little is not told from enough")
	}
}

func TestProgressStandsWhereItsAxesSay(t *testing.T) {
	f := &Progress{Caption: said, Of: "joints", Sites: []ProgressSite{{Name: "RVB", Whole: 100,
		Planned: []ProgressPoint{{"2026-01-01", 0}, {"2026-01-31", 100}}, Done: []ProgressPoint{{"2026-01-01", 0}, {"2026-01-11", 40}},
		Forecast: &ProgressForecast{From: "2026-01-11", Earliest: "2026-01-21", Expected: "2026-01-31", Latest: ptr(Day("2026-02-10")), Confidence: 0.9}}}}
	all := checkPicture(t, f)
	// The panel is labelled with its first and last day, 40 days apart, and with 0 to 100.
	lines, _ := texts(t, all)
	if s := strings.Join(lines, "\n"); !strings.Contains(s, "2026-01-01") || !strings.Contains(s, "2026-02-10") {
		t.Errorf("days are missing: %q", lines)
	}
	x := func(days float64) float64 { return panelLeft + (panelRight-panelLeft)*days/40 }
	y := scaleOf(t, all, "x", panelLeft-5, false)
	done := strings.Fields(ofClass(all, "done")[0].attr["points"])
	last := strings.Split(done[len(done)-1], ",")
	near(t, "done across", float(t, last[0]), x(10))
	near(t, "done up", float(t, last[1]), y(40))
	expected := strings.Fields(ofClass(all, "expected")[0].attr["points"])
	near(t, "expected", float(t, strings.Split(expected[1], ",")[0]), x(30))
	fan := strings.Split(strings.Trim(ofClass(all, "fan")[0].attr["d"], "MZ"), "L")
	for i, want := range []float64{10, 20, 40} {
		near(t, "fan", float(t, strings.Fields(fan[i])[0]), x(want))
	}
}

func TestHoldsStandWhereTheirAxisSays(t *testing.T) {
	f := &Holds{Caption: said, AgeBounds: []int{7, 30}, Rules: []HoldsRule{{Name: "a", ByAge: []int64{12, 0, 5}, OldestDays: 40}, {Name: "b", ByAge: []int64{0, 3, 0}, OldestDays: 9}}}
	all := checkPicture(t, f)
	x := scaleOf(t, all, "y", holdsTop+2*holdsRow+16, false)
	boxes := ofClass(all, "holds")
	for i, want := range [][2]float64{{0, 12}, {12, 17}, {0, 3}} {
		near(t, "from", boxes[i].number(t, "x"), x(want[0]))
		near(t, "to", boxes[i].number(t, "x")+boxes[i].number(t, "width"), x(want[1]))
	}
	if boxes[0].attr["fill"] == boxes[1].attr["fill"] {
		t.Error("the young are filled like the old")
	}
}

func TestCoverageCells(t *testing.T) {
	f := &Coverage{Caption: said, Weeks: []CoverageWeek{{"2026-W12", "2026-03-16"}, {"2026-W13", "2026-03-23"}}, Sites: []CoverageSite{
		{Name: "RVB", Weeks: []CoverageCell{{Due: 2, Joints: 9}, {Joints: 9, Gap: true, Open: 4}}}, {Name: "MRW", Overdue: 1, Weeks: []CoverageCell{{}, {Due: 1}}}}}
	all := checkPicture(t, f)
	gap, covered := ofClass(all, "gap"), ofClass(all, "covered")
	if len(gap) != 1 || len(covered) != 1 || len(ofClass(all, "idle")) != 2 {
		t.Fatalf("%d gaps, %d covered", len(gap), len(covered))
	}
	if gap[0].attr["fill"] != "url(#f-gap)" || gap[0].title != "RVB, 2026-W13: 9 joints planned, 4 of them without a tool, 0 tools due" {
		t.Errorf("%v %q", gap[0].attr, gap[0].title)
	}
	near(t, "second week", gap[0].number(t, "x"), covered[0].number(t, "x")+covered[0].number(t, "width"))
}
