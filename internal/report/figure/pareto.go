package figure

import (
	"cmp"
	"fmt"
	"slices"
)

// Pareto is a Pareto chart (Juran 1951): kinds by how often, with what they add up
// to. Bars lie, so that names need not stand on their heads.
type Pareto struct {
	Caption
	// Of is what is counted, in the plural: `incidents`.
	Of    string       `json:"of"`
	Kinds []ParetoKind `json:"kinds"`
	// Most is how many bars are drawn, one of them for all others together; 12 when 0.
	Most int `json:"most"`
}

// ParetoKind is one kind. The figure sorts them.
type ParetoKind struct {
	Name  string `json:"name"`
	Count int64  `json:"count"`
}

// Name of the figure.
func (f *Pareto) Name() string { return "Pareto chart of " + f.Of }

// Validate finds what cannot be drawn.
func (f *Pareto) Validate() error {
	c := checks{err: f.validate()}
	c.name(f.Of, "of")
	for i, k := range f.Kinds {
		c.name(k.Name, "kinds[%d].name", i)
		c.count(k.Count, "kinds[%d].count", i)
	}
	c.require(float64(f.Total()) <= greatest, "must add up to at most 1e15", "kinds")
	return c.err
}

// Total is how many there are of all kinds.
func (f *Pareto) Total() int64 {
	total := int64(0)
	for _, k := range f.Kinds {
		total += k.Count
	}
	return total
}

// Bars are the kinds in the order drawn: by count, then by name, without those of
// which there is none; the rarest together as the last when there are too many.
func (f *Pareto) Bars() []ParetoKind {
	bars := slices.DeleteFunc(slices.Clone(f.Kinds), func(k ParetoKind) bool { return k.Count == 0 })
	slices.SortFunc(bars, func(a, b ParetoKind) int {
		return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Name, b.Name))
	})
	if n := most(f.Most, 12, len(bars)); n < len(bars) {
		rest := ParetoKind{Name: fmt.Sprintf("%d other kinds", len(bars)-n+1)}
		for _, k := range bars[n-1:] {
			rest.Count += k.Count
		}
		bars = append(bars[:n-1], rest)
	}
	return bars
}

const (
	paretoFrom, paretoTo = 170.0, 548.0
	paretoTop, paretoRow = 40.0, 22.0
)

// SVG draws the figure.
func (f *Pareto) SVG(id string) string {
	c := &canvas{id: id}
	bars := f.Bars()
	if len(bars) == 0 {
		return c.nothing(f)
	}
	total := float64(f.Total())
	a := axis{low: 0, high: total, from: paretoFrom, to: paretoTo}
	bottom := paretoTop + paretoRow*float64(len(bars))
	for share := 0; share <= 100; share += 20 {
		x := a.at(total * float64(share) / 100)
		c.stroke("grid", x, paretoTop, x, bottom, 0.6, faint, solid)
		c.text(x, paretoTop-6, middle, fmt.Sprintf("%d %%", share))
	}
	c.stroke("axis", paretoFrom, paretoTop, paretoTo, paretoTop, 0.8, ink, solid)
	c.stroke("axis", paretoFrom, paretoTop, paretoFrom, bottom, 0.8, ink, solid)
	c.text((paretoFrom+paretoTo)/2, 14, middle, fmt.Sprintf("share of all %s %s", Count(f.Total()), f.Of))
	c.bold(pageWidth-68, paretoTop-6, end, "count")
	c.bold(pageWidth-2, paretoTop-6, end, "added up")
	fill := c.hatch("bar", 5, 1.3)
	curve := make([]point, len(bars))
	sum := int64(0)
	for i, k := range bars {
		y := paretoTop + paretoRow*float64(i)
		sum += k.Count
		share := Percent(float64(k.Count) / total)
		c.text(paretoFrom-8, y+15, end, fitted(k.Name, paretoFrom-14))
		c.box("bar", paretoFrom, y+3, a.at(float64(k.Count))-paretoFrom, paretoRow-6, fill, fmt.Sprintf("%s: %s, %s", k.Name, Count(k.Count), share))
		c.text(pageWidth-68, y+15, end, Count(k.Count))
		c.text(pageWidth-2, y+15, end, Percent(float64(sum)/total))
		curve[i] = point{a.at(float64(sum)), y + paretoRow/2}
	}
	c.path("cumulative", curve, 1.6, ink, solid, "")
	for i, p := range curve {
		c.mark("sum", diamond, p.x, p.y, 4, false, bars[i].Name+" and all above")
	}
	c.height = c.legend(bottom+20, []legendEntry{c.fillSample(fill, "this kind"), c.sample(diamond, false, "this kind and all above it")})
	return c.finish(f.Name(), f.Description())
}

// Description says what the picture shows.
func (f *Pareto) Description() string {
	bars := f.Bars()
	if len(bars) == 0 {
		return f.Finding
	}
	return fmt.Sprintf("%s %s %s of %d kinds as bars, the most frequent first, with a line that adds them up; the first is %s with %s. The figures are in the table.",
		f.Finding, Count(f.Total()), f.Of, len(bars), bars[0].Name, Count(bars[0].Count))
}

// Table holds the figures.
func (f *Pareto) Table() Table {
	t := Table{Head: []string{f.Of, "count", "share", "added up"}, TextColumns: 1}
	sum, total := int64(0), float64(f.Total())
	for _, k := range f.Bars() {
		sum += k.Count
		t.Rows = append(t.Rows, []string{k.Name, Count(k.Count), Percent(float64(k.Count) / total), Percent(float64(sum) / total)})
	}
	return t
}
