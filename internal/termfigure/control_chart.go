package termfigure

import (
	"fmt"
	"strings"

	"jointledger/internal/report/figure"
)

// ControlChart draws a control chart that is valid; where there are more points than
// columns, the newest, and it says so.
func ControlChart(f *figure.ControlChart, o Options) []string {
	lines := o.wrapped(f.Finding)
	if len(f.Points) == 0 {
		return append(lines, "There is nothing to draw.")
	}
	low, high := f.Range()
	if low == high {
		high = low + 1
	}
	labels := [3]string{o.shown(figure.Number(high)), o.shown(figure.Number(f.Centre)), o.shown(figure.Number(low))}
	margin := max(wide(labels[0]), wide(labels[1]), wide(labels[2])) + 1
	room := o.width() - margin - 1
	first := max(0, len(f.Points)-room)
	points := f.Points[first:]
	step := min(6, room/len(points))
	g, marks := newGrid(step*len(points), 13), o.glyphs()
	row := func(v float64) int { return g.height - 1 - scale(v, low, high, g.height, false) }
	for i := range g.width {
		g.put(i, row(f.Centre), marks.centre)
	}
	if at := f.ChangeAt() - first; f.Change != nil && at > 0 {
		for i := range g.height {
			g.put(at*step, i, marks.divider)
		}
	}
	drawPoints(g, points, step, row, low, high, marks)
	for i, cells := range g.cells {
		label := ""
		switch i {
		case 0:
			label = labels[0]
		case row(f.Centre):
			label = labels[1]
		case g.height - 1:
			label = labels[2]
		}
		lines = append(lines, right(label, margin)+string(marks.divider)+string(cells))
	}
	from, to := o.fitted(points[0].Label, g.width), ""
	if rest := g.width - wide(from) - 1; len(points) > 1 && rest >= 4 {
		to = o.fitted(points[len(points)-1].Label, rest)
	}
	lines = append(lines, strings.Repeat(" ", margin+1)+left(from, g.width-wide(to))+to)
	return trimmed(append(lines, chartWords(f, o, first, marks)...))
}

// drawPoints draws limits under the points, each in the columns of its point.
func drawPoints(g *grid, points []figure.ControlPoint, step int, row func(float64) int, low, high float64, marks glyphs) {
	for i, p := range points {
		for _, limit := range []*float64{p.Lower, p.Upper} {
			if limit == nil || *limit < low || *limit > high {
				continue
			}
			for k := range step {
				g.put(i*step+k, row(*limit), marks.limit)
			}
		}
	}
	for i, p := range points {
		mark := map[int]rune{-1: marks.below3, 0: marks.plain, 1: marks.above3}[p.Beyond]
		g.put(i*step+step/2, row(p.Value), mark)
	}
}

// chartWords lists the points beyond their limits and what marks mean.
func chartWords(f *figure.ControlChart, o Options, first int, marks glyphs) []string {
	lines := o.wrapped(fmt.Sprintf("%s of %s: %s.", f.Kind, f.Of, f.Measure))
	if first > 0 {
		lines = append(lines, o.wrapped(fmt.Sprintf("The last %s of %s points.", figure.Count(int64(len(f.Points)-first)), figure.Count(int64(len(f.Points)))))...)
	}
	if f.Change != nil {
		lines = append(lines, o.wrapped(fmt.Sprintf("%c likely change, first seen at %s: from %s to %s", marks.divider, f.Change.FirstAfter, figure.Number(f.Change.Before), figure.Number(f.Change.After)))...)
	}
	const most = 8
	beyond := 0
	for _, p := range f.Points {
		if p.Beyond == 0 {
			continue
		}
		if beyond++; beyond > most {
			continue
		}
		mark, limit := marks.above3, p.Upper
		if p.Beyond < 0 {
			mark, limit = marks.below3, p.Lower
		}
		rest := o.shown(fmt.Sprintf("%s, limit %s", figure.Number(p.Value), figure.Number(*limit)))
		lines = append(lines, string(mark)+" "+o.fitted(p.Label, o.width()-wide(rest)-3)+" "+rest)
	}
	if beyond > most {
		lines = append(lines, fmt.Sprintf("and %s more beyond their limits", figure.Count(int64(beyond-most))))
	}
	return append(lines, o.wrapped(fmt.Sprintf("%c within, %c above, %c below its limits; %c limit, %c centre", marks.plain, marks.above3, marks.below3, marks.limit, marks.centre))...)
}
