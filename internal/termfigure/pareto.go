package termfigure

import (
	"fmt"
	"math"
	"strings"

	"jointledger/internal/report/figure"
)

// Pareto draws a Pareto chart that is valid: bars with count, and what they add up to.
func Pareto(f *figure.Pareto, o Options) []string {
	lines := o.wrapped(f.Finding)
	bars := f.Bars()
	if len(bars) == 0 {
		return append(lines, "There is nothing to draw.")
	}
	names, counts := 0, len("count")
	for _, k := range bars {
		names = max(names, wide(o.shown(k.Name)))
		counts = max(counts, len(figure.Count(k.Count)))
	}
	names = min(names, o.width()/3)
	const sums = len("added up")
	plot := max(o.width()-names-counts-sums-3, 1)
	total, sum := float64(f.Total()), int64(0)
	lines = append(lines, strings.Repeat(" ", names+1)+left("", plot)+" "+right("count", counts)+" added up")
	for _, k := range bars {
		sum += k.Count
		// A bar is as long as its share of the greatest: a terminal has few columns.
		n := max(1, int(math.Round(float64(k.Count)/float64(bars[0].Count)*float64(plot))))
		if k.Count > bars[0].Count {
			n = plot // all others together may outweigh the first
		}
		lines = append(lines, left(o.fitted(k.Name, names), names)+" "+left(strings.Repeat(string(o.glyphs().bar), n), plot)+" "+
			right(figure.Count(k.Count), counts)+" "+right(o.shown(figure.Percent(float64(sum)/total)), sums))
	}
	return trimmed(append(lines, o.wrapped(fmt.Sprintf("%s %s in all.", figure.Count(f.Total()), f.Of))...))
}
