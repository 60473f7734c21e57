package termfigure

import (
	"fmt"
	"strings"

	"jointledger/internal/report/figure"
)

// Forest draws a forest plot that is valid: a line for each group, or two where the
// terminal is narrower than 60 columns.
func Forest(f *figure.Forest, o Options) []string {
	lines := o.wrapped(f.Finding)
	rows := f.Drawn()
	if len(rows) == 0 {
		return append(lines, "There is nothing to draw.")
	}
	p := newForestPlot(f, o, rows)
	lines = append(lines, p.above()...)
	for _, r := range rows {
		lines = append(lines, p.row(r)...)
	}
	lines = append(lines, p.axis())
	if n := len(f.Rows) - len(rows); n > 0 {
		lines = append(lines, fmt.Sprintf("and %s more", figure.Count(int64(n))))
	}
	g := p.glyphs
	lines = append(lines, o.wrapped(fmt.Sprintf("%s; %s interval.", f.Measure, figure.Percent(f.Confidence)))...)
	return trimmed(append(lines, o.wrapped(fmt.Sprintf("%c stands out beyond chance, %c does not, %c %c go on or have no limit", g.out, g.plain, g.left, g.right))...))
}

// forestPlot is where things stand in a line.
type forestPlot struct {
	f                     *figure.Forest
	o                     Options
	glyphs                glyphs
	low, high             float64
	names, plot, estimate int
	narrow                bool
}

func newForestPlot(f *figure.Forest, o Options, rows []figure.ForestRow) *forestPlot {
	p := &forestPlot{f: f, o: o, glyphs: o.glyphs(), narrow: o.width() < 60}
	p.low, p.high = f.Range(rows)
	for _, r := range rows {
		p.names = max(p.names, wide(o.shown(r.Name)))
		p.estimate = max(p.estimate, wide(o.shown(figure.Estimate(r.Value, r.Lower, r.Upper))))
	}
	if p.narrow {
		p.plot, p.names = o.width(), o.width()-p.estimate-1
		return p
	}
	p.names = min(p.names, o.width()/4)
	p.plot = o.width() - p.names - p.estimate - 2
	return p
}

func (p *forestPlot) indent() int {
	if p.narrow {
		return 0
	}
	return p.names + 1
}

func (p *forestPlot) at(v float64) int { return scale(v, p.low, p.high, p.plot, p.f.Ratio) }

// above names the reference over its line.
func (p *forestPlot) above() []string {
	if p.f.Reference == nil || p.f.ReferenceLabel == "" {
		return nil
	}
	label := p.o.fitted(p.f.ReferenceLabel, p.plot)
	from := min(max(p.at(*p.f.Reference)-wide(label)/2, 0), p.plot-wide(label))
	return []string{strings.Repeat(" ", p.indent()+from) + label}
}

func (p *forestPlot) row(r figure.ForestRow) []string {
	g := newGrid(p.plot, 1)
	if p.f.Reference != nil {
		g.put(p.at(*p.f.Reference), 0, p.glyphs.reference)
	}
	if r.Value != nil || r.Lower != nil || r.Upper != nil {
		p.interval(g, r)
	}
	name := p.o.fitted(r.Name, p.names)
	estimate := p.o.shown(figure.Estimate(r.Value, r.Lower, r.Upper))
	if p.narrow {
		return []string{left(name, p.names) + " " + right(estimate, p.estimate), string(g.cells[0])}
	}
	return []string{left(name, p.names) + " " + string(g.cells[0]) + " " + right(estimate, p.estimate)}
}

func (p *forestPlot) interval(g *grid, r figure.ForestRow) {
	from, to := 0, p.plot-1
	lower, upper := p.glyphs.left, p.glyphs.right
	if r.Lower != nil && *r.Lower >= p.low {
		from, lower = p.at(*r.Lower), p.glyphs.lower
	}
	if r.Upper != nil && *r.Upper <= p.high {
		to, upper = p.at(*r.Upper), p.glyphs.upper
	}
	for i := from + 1; i < to; i++ {
		g.put(i, 0, p.glyphs.dash)
		if p.f.Reference != nil && i == p.at(*p.f.Reference) {
			g.put(i, 0, p.glyphs.crossing)
		}
	}
	if r.Lower != nil && *r.Lower > p.high {
		lower = p.glyphs.right
	}
	if r.Upper != nil && *r.Upper < p.low {
		upper = p.glyphs.left
	}
	g.put(from, 0, lower)
	g.put(to, 0, upper)
	if r.Value == nil || *r.Value < p.low || *r.Value > p.high {
		return
	}
	mark := p.glyphs.plain
	if r.StandsOut {
		mark = p.glyphs.out
	}
	g.put(p.at(*r.Value), 0, mark)
}

// axis says what the ends and the reference stand for.
func (p *forestPlot) axis() string {
	line := []rune(strings.Repeat(" ", p.plot))
	write := func(from int, s string) {
		runes := []rune(p.o.shown(s))
		from = min(max(from, 0), p.plot-len(runes))
		if from < 0 {
			return
		}
		for i := max(from-1, 0); i < min(from+len(runes)+1, p.plot); i++ {
			if line[i] != ' ' {
				return
			}
		}
		copy(line[from:], runes)
	}
	if p.f.Reference != nil {
		s := figure.Number(*p.f.Reference)
		write(p.at(*p.f.Reference)-len(s)/2, s)
	}
	write(0, figure.Number(p.low))
	write(p.plot, figure.Number(p.high))
	return strings.Repeat(" ", p.indent()) + string(line)
}
