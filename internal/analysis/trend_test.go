package analysis_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"jointledger/internal/analysis"
	"jointledger/internal/stats"
)

func trendOf(t *testing.T, rows []analysis.TrendRow, o analysis.TrendOptions) analysis.TrendAnswer {
	t.Helper()
	a, err := analysis.Trend(rows, o)
	if err != nil {
		t.Fatal(err)
	}
	trendIsFinite(t, reflect.ValueOf(a))
	if a.Headline == "" || a.Method == "" || a.Assumption == "" || a.KindReason == "" || a.Unit == "" {
		t.Errorf("an answer without words: %+v", a)
	}
	for _, text := range append(slices.Clone(a.Cautions), a.Headline, a.KindReason) {
		if strings.Contains(text, "%!") || !strings.HasSuffix(text, ".") {
			t.Errorf("no sentence: %q", text)
		}
	}
	return a
}

// trendIsFinite looks for NaN and infinity everywhere in an answer.
func trendIsFinite(t *testing.T, v reflect.Value) {
	t.Helper()
	switch v.Kind() {
	case reflect.Float64:
		if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
			t.Errorf("an answer holds %v", x)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			trendIsFinite(t, v.Elem())
		}
	case reflect.Slice:
		for i := range v.Len() {
			trendIsFinite(t, v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			trendIsFinite(t, v.Field(i))
		}
	}
}

func trendRowsOf(attempts int64, failures ...int64) []analysis.TrendRow {
	var rows []analysis.TrendRow
	for i, x := range failures {
		rows = append(rows, analysis.TrendRow{Label: fmt.Sprint(i + 1), Failures: x, Attempts: attempts})
	}
	return rows
}

var trendWafers = []int64{12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6}

// NIST/SEMATECH e-Handbook, section 6.3.3.2, and Montgomery, as in the reference
// statistics, P20; Laney's limits from P42.
func TestTrendGivesThePublishedCharts(t *testing.T) {
	p := trendOf(t, trendRowsOf(50, trendWafers...), analysis.TrendOptions{Kind: analysis.ChartP})
	if !near(&p.Centre, 231.333333333) ||
		!near(p.Points[0].Lower, 52.4275480719) || !near(p.Points[0].Upper, 410.239118595) {
		t.Errorf("p: %v, %v, %v", p.Centre, *p.Points[0].Lower, *p.Points[0].Upper)
	}
	var beyond []string
	for _, x := range p.Points {
		if x.Beyond != 0 {
			beyond = append(beyond, x.Label)
		}
	}
	if !slices.Equal(beyond, []string{"15", "23"}) || !strings.Contains(p.Headline, "15, 23") {
		t.Errorf("beyond %v; %s", beyond, p.Headline)
	}
	if !strings.Contains(strings.Join(p.Cautions, " "), "a Laney chart allows for it") {
		t.Errorf("over-dispersed, and not a word of it: %q", p.Cautions)
	}
	l := trendOf(t, trendRowsOf(50, trendWafers...), analysis.TrendOptions{})
	if l.Kind != analysis.ChartLaneyP || !near(l.Dispersion, 1.66086671974) || !near(l.Points[0].Upper, 528.471998044) || l.Points[0].Lower != nil {
		t.Errorf("chosen: %+v", l)
	}
	np := trendOf(t, trendRowsOf(50, trendWafers...), analysis.TrendOptions{Kind: analysis.ChartNP})
	if !near(np.Points[0].Upper, 20.5119559297) {
		t.Errorf("np upper %v", *np.Points[0].Upper)
	}
}

// P21, P22 (b) and P25 of the reference statistics.
func TestTrendPerExposure(t *testing.T) {
	var cloth, wafers, valves []analysis.TrendRow
	sizes := []float64{10, 8, 13, 10, 9.5, 10, 12, 10.5, 12, 12.5}
	for i, x := range []int64{14, 12, 20, 11, 7, 10, 21, 16, 19, 23} {
		cloth = append(cloth, analysis.TrendRow{Failures: x, Exposure: sizes[i]})
	}
	u := trendOf(t, cloth, analysis.TrendOptions{PerExposure: true, ExposureUnit: "piece"})
	if u.Kind != analysis.ChartU || !near(u.Points[0].Upper, 2.55503769778) || !near(u.Points[9].Lower, 0.410959322778) || u.Points[2].Label != "row 3" {
		t.Errorf("u: %+v", u)
	}
	for _, x := range []int64{16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13} {
		wafers = append(wafers, analysis.TrendRow{Failures: x, Exposure: 2})
	}
	c := trendOf(t, wafers, analysis.TrendOptions{PerExposure: true, Kind: analysis.ChartC})
	if c.Centre != 16 || *c.Points[0].Upper != 28 || c.Points[2].Beyond != 0 || c.Points[23].Beyond != 1 {
		t.Errorf("c: %+v", c)
	}
	// One failure at the end of each time: the middle of a row of no length is its end.
	for _, hours := range []float64{286, 948, 536, 124, 816, 729, 4, 143, 431, 8, 2837, 596, 81, 227, 603, 492, 1199, 1214, 2831, 96} {
		valves = append(valves, analysis.TrendRow{Exposure: hours - 1e-9}, analysis.TrendRow{Exposure: 1e-9, Failures: 1})
	}
	v := trendOf(t, valves, analysis.TrendOptions{PerExposure: true, ExposureUnit: "hour"})
	if v.Kind != analysis.ChartT || len(v.Points) != 20 || v.Points[0].Lower != nil {
		t.Fatalf("t: %+v", v)
	}
	if upper := math.Pow(*v.Points[0].Upper, 0.2777); math.Abs(upper-11.6611175569) > 1e-6 {
		t.Errorf("t: upper %v to the power", upper)
	}
}

// P25: the gaps between failures, in rows of one attempt so that places are known.
func TestTrendOfRareEvents(t *testing.T) {
	var rows []analysis.TrendRow
	for _, gap := range []int{13, 37, 8, 22, 91, 4, 17, 56, 3, 30} {
		for range gap {
			rows = append(rows, analysis.TrendRow{Attempts: 1})
		}
		rows = append(rows, analysis.TrendRow{Attempts: 1, Failures: 1, Label: fmt.Sprint("after ", gap)})
	}
	rows = append(rows, analysis.TrendRow{Attempts: 5})
	g := trendOf(t, rows, analysis.TrendOptions{})
	if g.Kind != analysis.ChartG || math.Abs(g.Centre-28.1) > 1e-9 || !near(g.Points[0].Upper, 113.88688711) || g.Points[4].Value != 91 || g.Points[4].Label != "after 91" {
		t.Errorf("g: %+v", g)
	}
	if text := strings.Join(g.Cautions, " "); !strings.Contains(text, "5 attempts so far") {
		t.Errorf("the open gap is not told: %s", text)
	}
}

func TestTrendFindsWhenItChanged(t *testing.T) {
	var rows []analysis.TrendRow
	for i := range 40 {
		// 10 per 1,000 with little spread, then 30 from row 26 on.
		x := int64(2 + i%3 - 1)
		if i >= 25 {
			x = int64(6 + i%3 - 1)
		}
		rows = append(rows, analysis.TrendRow{Label: fmt.Sprint("W", i+1), At: int64(i) * 7, Failures: x, Attempts: 200})
	}
	a := trendOf(t, rows, analysis.TrendOptions{})
	if c := a.Change; c == nil || c.LastBefore != "W25" || c.FirstAfter != "W26" || !c.BeyondChance || c.PValue > 0.001 ||
		math.Abs(c.Before-10) > 0.5 || math.Abs(c.After-30) > 0.7 {
		t.Fatalf("change %+v", a.Change)
	}
	if !strings.Contains(a.Headline, "rose from") || !strings.Contains(a.Headline, "between W25 and W26 (p < 0.001)") {
		t.Error(a.Headline)
	}
	slices.Reverse(rows)
	for i := range rows {
		rows[i].At = int64(i)
	}
	if b := trendOf(t, rows, analysis.TrendOptions{}); b.Change.LastBefore != "W26" || !strings.Contains(b.Headline, "fell from") {
		t.Error(b.Headline)
	}
	steady := trendOf(t, trendRowsOf(200, 2, 4, 3, 5, 2, 3, 4, 3, 2, 4, 3, 4, 2, 3, 5, 3, 2, 4, 3, 3, 4), analysis.TrendOptions{})
	if steady.Change.BeyondChance || !strings.HasPrefix(steady.Headline, "No change is shown") {
		t.Error(steady.Headline)
	}
}

func TestTrendEWMA(t *testing.T) {
	a := trendOf(t, trendRowsOf(100, 4, 6, 5, 9, 10, 12, 11), analysis.TrendOptions{Kind: analysis.ChartEWMA, Centre: ptr(0.05), Weight: 0.5})
	// Worked by hand: z1 = (40 + 50)/2; sigma of the first is half that of a row,
	// √(0.05·0.95/100).
	if !near(&a.Points[0].Value, 45) || !near(a.Points[0].Upper, 1000*(0.05+1.5*math.Sqrt(0.05*0.95/100))) || a.Points[6].Beyond != 1 {
		t.Errorf("ewma %+v", a.Points)
	}
}

func ptr(x float64) *float64 { return &x }

func TestTrendOfLittle(t *testing.T) {
	for name, c := range map[string]struct {
		rows []analysis.TrendRow
		o    analysis.TrendOptions
		want string
	}{
		"one row":         {trendRowsOf(50, 3), analysis.TrendOptions{}, "A single row shows no trend"},
		"one row, ewma":   {trendRowsOf(50, 3), analysis.TrendOptions{Kind: analysis.ChartEWMA}, "A single row"},
		"nothing failed":  {trendRowsOf(50, 0, 0, 0), analysis.TrendOptions{}, "Nothing failed"},
		"nothing, u":      {[]analysis.TrendRow{{Exposure: 2}, {Exposure: 3}}, analysis.TrendOptions{PerExposure: true}, "Nothing failed"},
		"everything":      {trendRowsOf(5, 5, 5, 5), analysis.TrendOptions{}, "No change can be shown: 15 failures in 15 attempts over 3 rows"},
		"an empty row":    {[]analysis.TrendRow{{Failures: 1, Attempts: 9}, {Label: "W2"}, {Failures: 1, Attempts: 8}}, analysis.TrendOptions{}, "No change can be shown: 2 failures in 17 attempts over 2 rows"},
		"rare and few":    {trendRowsOf(50, 0, 1, 0, 0, 1, 0), analysis.TrendOptions{}, "No change is shown"},
		"laney, all same": {trendRowsOf(50, 2, 2, 2), analysis.TrendOptions{Kind: analysis.ChartLaneyP}, "No change can be shown"},
		"all in one gap":  {trendRowsOf(3, 3, 0, 0, 0, 0, 0, 0, 2), analysis.TrendOptions{Kind: analysis.ChartG}, ""},
	} {
		if a := trendOf(t, c.rows, c.o); !strings.HasPrefix(a.Headline, c.want) {
			t.Errorf("%s: %s", name, a.Headline)
		}
	}
	if a := trendOf(t, trendRowsOf(50, 0, 0, 0), analysis.TrendOptions{}); !strings.Contains(a.Cautions[0], "below 19.8 per 1,000") {
		// 1 − 0.05^(1/150) = 0.019774: Clopper and Pearson (1934), closed form.
		t.Error(a.Cautions)
	}
}

func TestTrendRefuses(t *testing.T) {
	rows := trendRowsOf(50, 3, 4, 5)
	change := func(f func([]analysis.TrendRow)) []analysis.TrendRow { r := slices.Clone(rows); f(r); return r }
	for name, c := range map[string]struct {
		rows []analysis.TrendRow
		o    analysis.TrendOptions
		want string
	}{
		"no rows":       {nil, analysis.TrendOptions{}, "rows"},
		"x above n":     {change(func(r []analysis.TrendRow) { r[1].Failures = 51 }), analysis.TrendOptions{}, "failures of 2 is 51, but must be at most its attempts, 50"},
		"negative":      {change(func(r []analysis.TrendRow) { r[1].Failures = -1 }), analysis.TrendOptions{}, "failures of 2"},
		"failures of 0": {change(func(r []analysis.TrendRow) { r[1].Attempts = 0 }), analysis.TrendOptions{}, "attempts of 2"},
		"order":         {change(func(r []analysis.TrendRow) { r[0].At, r[1].At, r[2].At = 1, 3, 3 }), analysis.TrendOptions{}, "place in time of 3"},
		"all empty":     {[]analysis.TrendRow{{}, {}}, analysis.TrendOptions{}, "attempts"},
		"exposure NaN":  {[]analysis.TrendRow{{Exposure: math.NaN()}}, analysis.TrendOptions{PerExposure: true}, "exposure of row 1"},
		"p of exposure": {[]analysis.TrendRow{{Exposure: 1}}, analysis.TrendOptions{PerExposure: true, Kind: analysis.ChartP}, "chart"},
		"u of attempts": {rows, analysis.TrendOptions{Kind: analysis.ChartU}, "chart"},
		"unknown":       {rows, analysis.TrendOptions{Kind: 77}, "chart"},
		"np":            {change(func(r []analysis.TrendRow) { r[1].Attempts = 51 }), analysis.TrendOptions{Kind: analysis.ChartNP}, "size"},
		"c":             {[]analysis.TrendRow{{Exposure: 1, Failures: 1}, {Exposure: 2}}, analysis.TrendOptions{PerExposure: true, Kind: analysis.ChartC}, "chart"},
		"g of one":      {trendRowsOf(50, 0, 1), analysis.TrendOptions{Kind: analysis.ChartG}, "chart"},
		"g of millions": {trendRowsOf(1<<40, 1<<30), analysis.TrendOptions{Kind: analysis.ChartG}, "chart"},
		"g, standard":   {rows, analysis.TrendOptions{Kind: analysis.ChartG, Centre: ptr(0.1)}, "chart"},
		"centre":        {rows, analysis.TrendOptions{Centre: ptr(1.5)}, "centre"},
		"centre NaN":    {rows, analysis.TrendOptions{Centre: ptr(math.NaN()), Kind: analysis.ChartEWMA}, "centre"},
		"weight":        {rows, analysis.TrendOptions{Kind: analysis.ChartEWMA, Weight: 2}, "weight"},
	} {
		_, err := analysis.Trend(c.rows, c.o)
		var argument *stats.ArgumentError
		if !errors.As(err, &argument) || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A geometric count passes its mean by three standard deviations with probability
// near e⁻⁴ = 0.0183 (tail of the exponential distribution): the words about a gap
// beyond the limit of a g chart must not say that chance does not give it.
func TestTrendSaysWhatAGLimitIsWorth(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	var failures []int64
	for range 8000 {
		failures = append(failures, int64(one(r.Float64() < 0.2)))
	}
	a, err := analysis.Trend(trendRowsOf(20, failures...), analysis.TrendOptions{Kind: analysis.ChartG})
	if err != nil {
		t.Fatal(err)
	}
	beyond := 0
	for _, p := range a.Points {
		beyond += one(p.Beyond == 1)
	}
	if share := float64(beyond) / float64(len(a.Points)); share < 0.008 || share > 0.03 {
		t.Errorf("%d of %d gaps are beyond", beyond, len(a.Points))
	}
	if strings.Contains(a.Headline, "than chance") || !strings.Contains(a.Headline, "longer gap without failure than the upper limit") {
		t.Error(a.Headline)
	}
	if !strings.Contains(strings.Join(a.Cautions, " "), "about 1 gap in 55 passes by chance alone") {
		t.Errorf("%q", a.Cautions)
	}
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}
