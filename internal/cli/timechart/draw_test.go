package timechart

import (
	"math"
	"strings"
	"testing"
	"unicode/utf8"
)

func limit(v float64) *float64 { return &v }

// From 0 to 12 each row is one unit; four points stand six columns apart.
func TestDraw(t *testing.T) {
	lines := Draw(Chart{
		Points: []Point{{4, limit(1), limit(9), false}, {6, limit(1), limit(9), false}, {12, limit(1), limit(9), true}, {0, limit(2), limit(8), true}},
		Centre: limit(5), First: "mon", Last: "thu",
	})
	want := map[int]string{
		0:  "12 |            X",
		3:  "   |................",
		4:  "   |                ...",
		6:  "   |      o",
		7:  " 5 |-------------------",
		8:  "   |o",
		10: "   |                ...",
		11: "   |................",
		12: " 0 |                  X",
		13: "   +-------------------",
		14: "    mon             thu",
	}
	for i, w := range want {
		if lines[i] != w {
			t.Errorf("line %d: %q, want %q", i, lines[i], w)
		}
	}
	if len(lines) != height+2 {
		t.Errorf("%d lines", len(lines))
	}
}

// Of many points the one beyond a limit is never lost in its column.
func TestDrawShowsEveryAlarm(t *testing.T) {
	for beyond := range 1000 {
		c := Chart{Points: make([]Point, 1000), Centre: limit(0)}
		for i := range c.Points {
			c.Points[i] = Point{Value: 1 + float64(i%7)}
		}
		c.Points[beyond].Beyond = true
		if n := strings.Count(strings.Join(Draw(c), "\n"), "X"); n != 1 || c.PerColumn() != 15 {
			t.Fatalf("%d: %d alarms drawn, %d a column", beyond, n, c.PerColumn())
		}
	}
}

// Whatever the numbers are, the chart stays in its frame.
func TestDrawStaysInItsFrame(t *testing.T) {
	many := Chart{Centre: limit(3), First: strings.Repeat("ä", 99), Last: strings.Repeat("b", 99)}
	for i := range 5000 {
		many.Points = append(many.Points, Point{Value: math.Sin(float64(i)) * 1e9, Upper: limit(12345.678)})
	}
	for _, c := range []Chart{
		many, {Points: []Point{{Value: 0}}}, {Points: []Point{{Value: 7, Lower: limit(7)}, {Value: 7}}, Centre: limit(7)},
		{Points: []Point{{Value: 1e-300}, {Value: 1e300}}, First: "a", Last: "b"}, {Points: make([]Point, 68)}, {Points: make([]Point, 69)},
	} {
		lines := Draw(c)
		for _, l := range lines {
			if n := utf8.RuneCountInString(l); n > 80 {
				t.Errorf("%d characters: %q", n, l)
			}
		}
		if len(lines) != height+2 || !strings.Contains(strings.Join(lines, ""), "o") {
			t.Errorf("%d lines of %d points", len(lines), len(c.Points))
		}
	}
}

// Rates that are all alike are drawn from nought: a scale never goes below it.
func TestDrawOfRatesThatAreAlike(t *testing.T) {
	for value, want := range map[float64][2]string{0: {"1 |", "0 |o"}, 20: {"20 |o", " 0 |"}, 1000: {"1000 |o", "   0 |"}} {
		lines := Draw(Chart{Points: []Point{{Value: value}}, First: "a"})
		if lines[0] != want[0] || lines[height-1] != want[1] {
			t.Errorf("%v: from %q to %q, want %q", value, lines[0], lines[height-1], want)
		}
	}
}
