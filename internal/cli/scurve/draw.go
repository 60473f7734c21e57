package scurve

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Point is how much was done in all by the end of a day.
type Point struct {
	Day   time.Time
	Total int64
}

// Mark is a day that is marked under the curve by a letter.
type Mark struct {
	Day    time.Time
	Letter byte
}

// Curve is what is drawn.
type Curve struct {
	// Whole is how much there is to do, at least 1.
	Whole int64
	// Done are the points of the work that was done, oldest first, at least one.
	Done []Point
	// Expected, when it is given, is the day on which all will be done; From is the
	// day from which that was reckoned.
	From, Expected time.Time
	Marks          []Mark
}

const (
	width  = 72
	height = 12
)

// Draw gives the lines of the curve, each at most 84 characters of ASCII wide: `*`
// for what was done, `.` for what is to come.
func Draw(c Curve) []string {
	first, last := c.span()
	days := math.Max(1, last.Sub(first).Hours()/24)
	column := func(day time.Time) int { return int(math.Round(day.Sub(first).Hours() / 24 / days * (width - 1))) }
	row := func(total float64) int { return int(math.Round(total / float64(c.Whole) * (height - 1))) }

	var grid [height][width]byte
	for i := range grid {
		for j := range grid[i] {
			grid[i][j] = ' '
		}
	}
	plot := func(from, to int, total func(int) float64, mark byte) {
		before := -1
		for j := max(from, 0); j <= to && j < width; j++ {
			r := min(max(row(total(j)), 0), height-1)
			if before < 0 || before > r {
				before = r
			}
			// A step up is drawn as one, so that the curve hangs together.
			for i := min(before+1, r); i <= r; i++ {
				if grid[i][j] == ' ' {
					grid[i][j] = mark
				}
			}
			before = r
		}
	}
	until := c.Done[len(c.Done)-1]
	end := until.Day
	if !c.From.IsZero() && c.From.After(end) {
		end = c.From
	}
	plot(0, column(end), func(j int) float64 { return float64(c.totalBy(first, days, j)) }, '*')
	if !c.Expected.IsZero() && c.Expected.After(end) {
		from, to := column(end), column(c.Expected)
		plot(from+1, to, func(j int) float64 {
			return float64(until.Total) + float64(c.Whole-until.Total)*float64(j-from)/float64(to-from)
		}, '.')
	}
	lines := make([]string, 0, height+3)
	label := len(fmt.Sprint(c.Whole))
	for i := height - 1; i >= 0; i-- {
		scale := ""
		if i%(height-1) == 0 || i == (height-1)/2+1 {
			scale = fmt.Sprint(int64(math.Round(float64(c.Whole) * float64(i) / (height - 1))))
		}
		lines = append(lines, strings.TrimRight(fmt.Sprintf("%*s |%s", label, scale, grid[i][:]), " "))
	}
	return append(lines, c.axis(label, column, first, last)...)
}

// span is the first and the last day that are drawn.
func (c Curve) span() (first, last time.Time) {
	first, last = c.Done[0].Day, c.Done[len(c.Done)-1].Day
	others := []time.Time{c.From, c.Expected}
	for _, m := range c.Marks {
		others = append(others, m.Day)
	}
	for _, d := range others {
		if !d.IsZero() && d.After(last) {
			last = d
		}
	}
	return first, last
}

// totalBy is what was done by the day that column j stands for.
func (c Curve) totalBy(first time.Time, days float64, j int) int64 {
	day := first.Add(time.Duration(float64(j) / (width - 1) * days * 24 * float64(time.Hour)))
	total := int64(0)
	for _, p := range c.Done {
		// Columns fall between days: a day belongs to the column that is nearest.
		if p.Day.Sub(day) > time.Duration(days*12/(width-1)*float64(time.Hour)) {
			break
		}
		total = p.Total
	}
	return total
}

// axis is the line below the curve, its marks and its dates.
func (c Curve) axis(label int, column func(time.Time) int, first, last time.Time) []string {
	indent := strings.Repeat(" ", label+2)
	lines := []string{indent[:label+1] + "+" + strings.Repeat("-", width)}
	marks := []byte(strings.Repeat(" ", width))
	for _, m := range c.Marks {
		if j := column(m.Day); !m.Day.IsZero() && j >= 0 && j < width {
			// Two marks on one column stand side by side.
			for j < width-1 && marks[j] != ' ' {
				j++
			}
			marks[j] = m.Letter
		}
	}
	if text := strings.TrimRight(string(marks), " "); text != "" {
		lines = append(lines, indent+text)
	}
	dates := first.Format(time.DateOnly)
	return append(lines, indent+dates+fmt.Sprintf("%*s", width-len(dates), last.Format(time.DateOnly)))
}
