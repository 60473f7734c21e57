package timechart

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Point is one point with its limits, nil where there is none.
type Point struct {
	Value        float64
	Lower, Upper *float64
	// Beyond says that it is marked as beyond a limit.
	Beyond bool
}

// Chart is what is drawn.
type Chart struct {
	// Points are oldest first, at least one.
	Points []Point
	// Centre is a level that is drawn across; nil for none.
	Centre *float64
	// First and Last stand under the first and the last point.
	First, Last string
}

const (
	width  = 68
	height = 13
	// widest keeps few points from being torn apart.
	widest = 6
)

// PerColumn is how many points share a column: one unless there are many. Of those
// that share one, the one furthest from the centre is drawn, and one that is beyond a
// limit before all others.
func (c Chart) PerColumn() int { return (len(c.Points) + width - 1) / width }

// Draw gives the lines of the chart, each at most 80 characters wide: `o` for a point,
// `X` for one beyond a limit, `-` for the centre, `.` for the limits.
func Draw(c Chart) []string {
	drawn := c.drawn()
	low, high := c.span(drawn)
	step := max(1, min(widest, width/len(drawn)))
	columns := step*(len(drawn)-1) + 1
	row := func(v float64) int {
		return min(max(int(math.Round((v-low)/(high-low)*(height-1))), 0), height-1)
	}
	grid := make([][]byte, height)
	for i := range grid {
		grid[i] = []byte(strings.Repeat(" ", columns))
	}
	if c.Centre != nil {
		for j := range columns {
			grid[row(*c.Centre)][j] = '-'
		}
	}
	for i, p := range drawn {
		for _, limit := range []*float64{p.Lower, p.Upper} {
			// A limit holds for its own point, and is drawn half-way to its neighbours.
			for j := max(0, i*step-(step-1)/2); limit != nil && j <= min(columns-1, i*step+step/2); j++ {
				grid[row(*limit)][j] = '.'
			}
		}
	}
	for i, p := range drawn {
		mark := byte('o')
		if p.Beyond {
			mark = 'X'
		}
		grid[row(p.Value)][i*step] = mark
	}
	return c.frame(grid, low, high, row)
}

// drawn picks a point for each column.
func (c Chart) drawn() []Point {
	per := c.PerColumn()
	if per <= 1 {
		return c.Points
	}
	centre := 0.0
	if c.Centre != nil {
		centre = *c.Centre
	}
	var picked []Point
	for i := 0; i < len(c.Points); i += per {
		best := c.Points[i]
		for _, p := range c.Points[i:min(i+per, len(c.Points))] {
			if p.Beyond == best.Beyond && math.Abs(p.Value-centre) > math.Abs(best.Value-centre) || p.Beyond && !best.Beyond {
				best = p
			}
		}
		picked = append(picked, best)
	}
	return picked
}

// span is the range of values that is drawn.
func (c Chart) span(drawn []Point) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	take := func(v *float64) {
		if v != nil {
			low, high = math.Min(low, *v), math.Max(high, *v)
		}
	}
	take(c.Centre)
	for _, p := range drawn {
		take(&p.Value)
		take(p.Lower)
		take(p.Upper)
	}
	switch {
	case high > low:
		return low, high
	case low > 0: // all alike: drawn from nought, for no rate is below that
		return 0, low
	}
	return low, low + 1
}

// frame puts the scale beside the grid and the names under it.
func (c Chart) frame(grid [][]byte, low, high float64, row func(float64) int) []string {
	labels := map[int]string{0: number(low), height - 1: number(high)}
	if c.Centre != nil {
		labels[row(*c.Centre)] = number(*c.Centre)
	}
	wide := 0
	for _, l := range labels {
		wide = max(wide, len(l))
	}
	var lines []string
	for i := height - 1; i >= 0; i-- {
		lines = append(lines, strings.TrimRight(fmt.Sprintf("%*s |%s", wide, labels[i], grid[i]), " "))
	}
	columns := len(grid[0])
	lines = append(lines, strings.Repeat(" ", wide+1)+"+"+strings.Repeat("-", columns))
	return append(lines, strings.TrimRight(strings.Repeat(" ", wide+2)+c.names(columns), " "))
}

// names are those of the first and the last point, as far as there is room.
func (c Chart) names(columns int) string {
	first, last := cut(c.First, width/2-1), cut(c.Last, width/2-1)
	if len(c.Points) == 1 {
		return first
	}
	gap := max(2, columns-utf8.RuneCountInString(first)-utf8.RuneCountInString(last))
	return first + strings.Repeat(" ", gap) + last
}

func cut(s string, most int) string {
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most-1]) + "…"
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }
