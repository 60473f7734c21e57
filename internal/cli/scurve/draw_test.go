package scurve

import (
	"strings"
	"testing"
	"time"
)

func day(n int) time.Time { return time.Date(2026, 3, 1+n, 0, 0, 0, 0, time.UTC) }

// 71 days fill the 72 columns, one each; 11 joints the 12 rows, one each.
func TestDraw(t *testing.T) {
	lines := Draw(Curve{
		Whole: 11,
		Done:  []Point{{day(0), 1}, {day(10), 4}, {day(20), 5}},
		From:  day(30), Expected: day(60),
		Marks: []Mark{{day(50), '['}, {day(60), 'E'}, {day(71), 'P'}},
	})
	want := []string{
		"11 |" + strings.Repeat(" ", 58) + "...",
		"   |" + strings.Repeat(" ", 53) + ".....",
		"   |" + strings.Repeat(" ", 48) + ".....",
	}
	for i, w := range want {
		if lines[i] != w {
			t.Errorf("line %d: %q, want %q", i, lines[i], w)
		}
	}
	// Five are done on day 20 and until day 30, from which on the rest climbs by one
	// in five days.
	if l := lines[6]; l != "   |"+strings.Repeat(" ", 20)+strings.Repeat("*", 11)+".." {
		t.Errorf("line of 5: %q", l)
	}
	if l := lines[5]; l != " 6 |"+strings.Repeat(" ", 33)+"....." {
		t.Errorf("line of 6: %q", l)
	}
	// The step from 1 to 4 on day 10 is drawn through; 4 holds until day 20.
	if l := lines[7]; l != "   |"+strings.Repeat(" ", 10)+strings.Repeat("*", 10) {
		t.Errorf("line of 4: %q", l)
	}
	if l := lines[8]; l != "   |"+strings.Repeat(" ", 10)+"*" {
		t.Errorf("line of 3: %q", l)
	}
	if l := lines[11]; l != " 0 |" {
		t.Errorf("line of 0: %q", l)
	}
	if l := lines[12]; l != "   +"+strings.Repeat("-", 72) {
		t.Errorf("axis: %q", l)
	}
	if l := lines[13]; l != "    "+strings.Repeat(" ", 50)+"["+strings.Repeat(" ", 9)+"E"+strings.Repeat(" ", 10)+"P" {
		t.Errorf("marks: %q", l)
	}
	if l := lines[14]; l != "    2026-03-01"+strings.Repeat(" ", 52)+"2026-05-11" {
		t.Errorf("dates: %q", l)
	}
}

// Whatever the numbers are, the picture stays in its frame.
func TestDrawStaysInItsFrame(t *testing.T) {
	for _, c := range []Curve{
		{Whole: 1, Done: []Point{{day(0), 1}}},
		{Whole: 3, Done: []Point{{day(0), 5}}}, // more than there is
		{Whole: 1_000_000, Done: []Point{{day(0), 1}, {day(2000), 999_999}}, Expected: day(2001), Marks: []Mark{{day(-5), 'P'}, {time.Time{}, ']'}}},
		{Whole: 10, Done: []Point{{day(0), 2}}, From: day(1), Expected: day(1), Marks: []Mark{{day(1), 'E'}, {day(1), ']'}}},
	} {
		lines := Draw(c)
		if n := len(lines); n < 14 || n > 15 {
			t.Errorf("%+v: %d lines", c, n)
		}
		for _, l := range lines {
			if len(l) > 84 {
				t.Errorf("%d characters: %q", len(l), l)
			}
		}
		if !strings.Contains(strings.Join(lines, ""), "*") {
			t.Errorf("%+v: nothing done is drawn", c)
		}
	}
}
