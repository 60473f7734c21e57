package termfigure

import (
	"fmt"
	"strings"

	"jointledger/internal/report/figure"
)

// Funnel draws a funnel plot that is valid, and lists below it what stands out.
func Funnel(f *figure.Funnel, o Options) []string {
	lines := o.wrapped(f.Finding)
	if len(f.Points) == 0 {
		return append(lines, "There is nothing to draw.")
	}
	top := f.Top()
	low, high, log := f.PrecisionRange()
	if !log {
		low = 0
	}
	labels := []string{o.shown(figure.Number(top)), o.shown(figure.Number(f.Target)), "0"}
	margin := max(wide(labels[0]), wide(labels[1])) + 1
	height := 12
	if o.width() >= 60 {
		height = 17
	}
	g, marks := newGrid(o.width()-margin-1, height), o.glyphs()
	column := func(v float64) int { return scale(v, low, high, g.width, log) }
	row := func(v float64) int { return height - 1 - scale(v, 0, top, height, false) }
	for i := range g.width {
		g.put(i, row(f.Target), marks.target)
	}
	limits(g, f, column, row, top, marks)
	for _, sigma := range []int{0, -2, 2, -3, 3} {
		for _, p := range f.Points {
			if p.Sigma == sigma {
				g.put(column(p.Precision), row(p.Value), marks.sigma(sigma))
			}
		}
	}
	for i, cells := range g.cells {
		label := ""
		switch i {
		case 0:
			label = labels[0]
		case row(f.Target):
			label = labels[1]
		case height - 1:
			label = labels[2]
		}
		lines = append(lines, right(label, margin)+string(marks.divider)+string(cells))
	}
	from, to := o.shown(figure.Number(low)), o.shown(figure.Number(high))
	lines = append(lines, strings.Repeat(" ", margin+1)+left(from, g.width-wide(to))+to)
	return trimmed(append(lines, legend(f, o, marks)...))
}

// limits draws the curves, each where it lies within the plot.
func limits(g *grid, f *figure.Funnel, column, row func(float64) int, top float64, marks glyphs) {
	for i := 1; i < len(f.Limits); i++ {
		a, b := f.Limits[i-1], f.Limits[i]
		from, to := column(a.Precision), column(b.Precision)
		for k := from; k <= to; k++ {
			share := 0.0
			if to > from {
				share = float64(k-from) / float64(to-from)
			}
			for _, c := range []struct {
				a, b float64
				r    rune
			}{{a.Lower2, b.Lower2, marks.sigma2}, {a.Upper2, b.Upper2, marks.sigma2}, {a.Lower3, b.Lower3, marks.sigma3}, {a.Upper3, b.Upper3, marks.sigma3}} {
				if v := c.a + share*(c.b-c.a); v > 0 && v <= top {
					g.put(k, row(v), c.r)
				}
			}
		}
	}
}

// sigma is the mark of a point beyond limits.
func (g glyphs) sigma(s int) rune {
	return map[int]rune{3: g.above3, 2: g.above2, 0: g.plain, -2: g.below2, -3: g.below3}[s]
}

// legend names what stands out, then what the marks mean.
func legend(f *figure.Funnel, o Options, marks glyphs) []string {
	lines := o.wrapped(fmt.Sprintf("%s upwards, %s to the right.", f.Measure, f.Precision))
	most, listed, out := f.Most, 0, 0
	if most <= 0 {
		most = 12
	}
	for _, sigma := range []int{3, -3, 2, -2} {
		for _, p := range f.Points {
			if p.Sigma != sigma {
				continue
			}
			if out++; listed >= most {
				continue
			}
			listed++
			value := o.shown(figure.Number(p.Value))
			if p.Lower != nil || p.Upper != nil {
				value = o.shown(figure.Estimate(&p.Value, p.Lower, p.Upper))
			}
			name := o.fitted(p.Name, o.width()-wide(value)-3)
			lines = append(lines, string(marks.sigma(sigma))+" "+name+" "+value)
		}
	}
	above, highest := 0, f.Top()
	for _, p := range f.Points {
		if p.Value > f.Top() {
			above, highest = above+1, max(highest, p.Value)
		}
	}
	if above > 0 {
		lines = append(lines, o.wrapped(fmt.Sprintf("%s beyond the upper edge, the highest at %s", figure.Count(int64(above)), figure.Number(highest)))...)
	}
	if out > listed {
		lines = append(lines, fmt.Sprintf("and %s more", figure.Count(int64(out-listed))))
	}
	return append(lines, o.wrapped(fmt.Sprintf("%c above 3 sigma, %c above 2, %c within, %c below 2, %c below 3; limits %c 2 sigma, %c 3 sigma",
		marks.above3, marks.above2, marks.plain, marks.below2, marks.below3, marks.sigma2, marks.sigma3))...)
}
