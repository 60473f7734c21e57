package termfigure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"unicode/utf8"

	"jointledger/internal/report/figure"
)

func ptr[T any](v T) *T { return &v }

var said = figure.Caption{Finding: "Lot B fails twice as often as the others."}

func forest() *figure.Forest {
	return &figure.Forest{Caption: said, Of: "lots", Measure: "ratio to the others", Ratio: true, Confidence: 0.95, Reference: ptr(1.0), ReferenceLabel: "as the others", Rows: []figure.ForestRow{
		{Name: "B", Value: ptr(4.0), Lower: ptr(2.0), Upper: ptr(8.0), StandsOut: true},
		{Name: "A", Value: ptr(0.5), Lower: ptr(0.25), Upper: ptr(2.0)},
		{Name: "C", Value: ptr(1.0), Lower: ptr(0.5)},
		{Name: "D"},
	}}
}

// On a logarithmic axis equal factors are equal distances, to the nearest column.
func TestForestStandsWhereItShould(t *testing.T) {
	for _, o := range []Options{{Width: 40}, {Width: 80}, {Width: 120, ASCII: true}} {
		var b, a string
		lines := Forest(forest(), o)
		for _, l := range lines {
			if strings.ContainsRune(l, o.glyphs().out) && b == "" {
				b = l
			} else if strings.ContainsRune(l, o.glyphs().plain) && strings.ContainsRune(l, o.glyphs().lower) && a == "" {
				a = l
			}
		}
		column := func(l string, r rune) int { return utf8.RuneCountInString(l[:strings.IndexRune(l, r)]) }
		g := o.glyphs()
		lower, mark, upper := column(b, g.lower), column(b, g.out), column(b, g.upper)
		if d := (mark - lower) - (upper - mark); d < -1 || d > 1 {
			t.Errorf("%d columns: 2, 4, 8 stand at %d, %d, %d", o.Width, lower, mark, upper)
		}
		// 2 is a limit of both rows.
		if at := column(a, g.upper); at != lower {
			t.Errorf("%d columns: 2 stands at %d and at %d", o.Width, lower, at)
		}
		if reference := column(a, g.crossing); reference-column(a, g.plain) < column(a, g.upper)-reference-1 || reference-column(a, g.plain) > column(a, g.upper)-reference+1 {
			t.Errorf("%d columns: 0.5, 1, 2 are not equally far apart: %s", o.Width, a)
		}
		all := strings.Join(lines, "\n")
		for _, want := range []string{"4 (2 to 8)", "1 (above 0.5)", "no estimate"} {
			if !strings.Contains(all, want) {
				t.Errorf("no %q in\n%s", want, all)
			}
		}
		if n := strings.Count(all, string(g.right)); n != 2 { // row C, and what it means
			t.Errorf("%d arrows to the right\n%s", n, all)
		}
	}
}

func TestParetoBars(t *testing.T) {
	f := &figure.Pareto{Caption: said, Of: "incidents", Kinds: []figure.ParetoKind{{Name: "a", Count: 5}, {Name: "b", Count: 20}, {Name: "c", Count: 10}, {Name: "d", Count: 0}}}
	lines := Pareto(f, Options{Width: 80, ASCII: true})
	n := make([]int, 3)
	for i, want := range []string{"b", "c", "a"} {
		l := lines[2+i]
		if !strings.HasPrefix(l, want+" ") {
			t.Errorf("line %d is %q", i, l)
		}
		n[i] = strings.Count(l, "#")
	}
	if math.Abs(float64(n[0])/2-float64(n[1])) > 1 || math.Abs(float64(n[0])/4-float64(n[2])) > 1 {
		t.Errorf("20, 10 and 5 are %v columns", n)
	}
	if !strings.HasSuffix(lines[2], "20     57 %") || !strings.HasSuffix(lines[4], "5    100 %") {
		t.Errorf("%q, %q", lines[2], lines[4])
	}
}

func TestControlChartRows(t *testing.T) {
	f := &figure.ControlChart{Caption: said, Of: "x", Kind: "p chart", Measure: "rate", Centre: 6, Points: []figure.ControlPoint{
		{Label: "one", Value: 0}, {Label: "two", Value: 12, Upper: ptr(9.0), Beyond: 1}, {Label: "three", Value: 3, Lower: ptr(4.0), Beyond: -1}}}
	lines := ControlChart(f, Options{Width: 60, ASCII: true})
	// 13 rows from 12 down to 0: a value stands in the row 12 less itself.
	plot := lines[1:14]
	for row, mark := range map[int]string{0: "A", 9: "V", 12: "o", 3: "------", 8: "------"} {
		if !strings.Contains(plot[row], mark) {
			t.Errorf("row %d is %q, without %q", row, plot[row], mark)
		}
	}
	if !strings.HasPrefix(strings.TrimSpace(plot[6]), "6|") {
		t.Errorf("the centre is not labelled: %q", plot[6])
	}
	if all := strings.Join(lines, "\n"); !strings.Contains(all, "A two 12, limit 9") || !strings.Contains(all, "V three 3, limit 4") {
		t.Errorf("what is beyond is not told:\n%s", all)
	}
}

func TestControlChartKeepsTheNewest(t *testing.T) {
	f := &figure.ControlChart{Caption: said, Of: "x", Kind: "p chart", Measure: "rate"}
	for i := range 500 {
		f.Points = append(f.Points, figure.ControlPoint{Label: fmt.Sprintf("day %d", i), Value: float64(i % 7)})
	}
	if all := strings.Join(ControlChart(f, Options{Width: 40}), "\n"); !strings.Contains(all, "day 499") || !strings.Contains(all, "of 500 points") || strings.Contains(all, "day 0") {
		t.Errorf("\n%s", all)
	}
}

func TestFunnelRows(t *testing.T) {
	f := &figure.Funnel{Caption: said, Of: "sites", Measure: "ratio", Precision: "expected", Target: 1, Points: []figure.FunnelPoint{
		{Name: "high", Precision: 100, Value: 4, Sigma: 3}, {Name: "low", Precision: 50, Value: 0, Sigma: -2}, {Name: "same", Precision: 100, Value: 1}}}
	lines := Funnel(f, Options{Width: 80, ASCII: true})
	plot := lines[1:18]
	column := func(l string, mark string) int { return strings.Index(l, mark) }
	high, same, low := "", "", plot[16]
	for i, l := range plot {
		if strings.Contains(l, "A") {
			high = l
			if i > 1 { // 4 of 4.2
				t.Errorf("4 stands in row %d", i)
			}
		}
		if strings.Contains(l, "_") {
			same = l
		}
	}
	if column(high, "A") < 0 || column(high, "A") != column(same, "o") {
		t.Errorf("equal precisions stand apart:\n%s\n%s", high, same)
	}
	if column(low, "v") < 0 || column(low, "v") >= column(high, "A") {
		t.Errorf("0 is not on the lowest row: %q", low)
	}
	if all := strings.Join(lines, "\n"); !strings.Contains(all, "A high 4") || !strings.Contains(all, "v low 0") {
		t.Errorf("\n%s", all)
	}
}

// Whatever the figures and names are, no line is wider than the terminal, and ASCII is
// all there is when that is asked for.
func TestAwkwardData(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 5))
	names := []string{"L-1", strings.Repeat("W", 300), "北部現場その二の非常に長い名前です", "אתר הצפון", "tab\tand\nline\x1b[31m", "\u202eturned", "x"}
	for _, n := range []int{0, 1, 2, 25, 500} {
		name := func(i int) string { return names[r.IntN(len(names))] + fmt.Sprint(i) }
		caption := figure.Caption{Finding: name(0) + " is worse."}
		a := &figure.Forest{Caption: caption, Of: "lots", Measure: "ratio", Confidence: 0.95, Ratio: n%2 == 0, Reference: ptr(1.0), ReferenceLabel: name(1)}
		b := &figure.Funnel{Caption: caption, Of: "sites", Measure: "ratio", Precision: "expected", Target: 1}
		c := &figure.ControlChart{Caption: caption, Of: name(2), Kind: "p′ chart", Measure: "rate", Centre: 1}
		d := &figure.Pareto{Caption: caption, Of: "incidents"}
		for i := range n {
			v := math.Exp(5 * r.NormFloat64())
			a.Rows = append(a.Rows, figure.ForestRow{Name: name(i), Value: ptr(v), Upper: ptr(3 * v)})
			b.Points = append(b.Points, figure.FunnelPoint{Name: name(i), Precision: v, Value: v, Sigma: []int{-3, -2, 0, 2, 3}[i%5]})
			c.Points = append(c.Points, figure.ControlPoint{Label: name(i), Value: v, Upper: ptr(v - 1), Beyond: 1})
			d.Kinds = append(d.Kinds, figure.ParetoKind{Name: name(i), Count: int64(v)})
		}
		for _, f := range []figure.Figure{a, b, c, d} {
			if err := f.Validate(); err != nil {
				t.Fatal(err)
			}
		}
		for _, o := range []Options{{}, {Width: 40}, {Width: 41}, {Width: 59}, {Width: 60}, {Width: 120}, {Width: 40, ASCII: true}, {Width: 80, ASCII: true}} {
			for kind, lines := range [][]string{Forest(a, o), Funnel(b, o), ControlChart(c, o), Pareto(d, o)} {
				if len(lines) < 2 || len(lines) > 80 {
					t.Errorf("%d groups, %+v, figure %d: %d lines", n, o, kind, len(lines))
				}
				for _, l := range lines {
					if wide(l) > o.width() || strings.ContainsAny(l, "\t\n\x1b") || strings.Contains(l, "NaN") || strings.Contains(l, "Inf") {
						t.Fatalf("%d groups, %+v, figure %d: %d columns: %q", n, o, kind, wide(l), l)
					}
					if o.ASCII && strings.ContainsFunc(l, func(r rune) bool { return r > '~' || r < ' ' }) {
						t.Fatalf("not ASCII: %q", l)
					}
				}
			}
		}
	}
}
