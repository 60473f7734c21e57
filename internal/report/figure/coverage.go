package figure

import (
	"fmt"
	"strings"
)

// Coverage is a calendar strip of the weeks ahead: the tools that come due at each
// site, and the weeks in which planned work has no tool that may do it.
type Coverage struct {
	Caption
	// Weeks ahead, oldest first; at most 26 are drawn.
	Weeks []CoverageWeek `json:"weeks"`
	// Sites in the order of reading, the most pressing first.
	Sites []CoverageSite `json:"sites"`
	// Most is how many sites are drawn; 24 when 0.
	Most int `json:"most"`
}

// CoverageWeek is one ISO week.
type CoverageWeek struct {
	// Name such as `2026-W12`; Monday is its first day.
	Name   string `json:"week"`
	Monday Day    `json:"monday"`
}

// CoverageSite is one row of the strip.
type CoverageSite struct {
	Name string `json:"name"`
	// Overdue is how many of its tools are past due already.
	Overdue int64 `json:"tools_overdue"`
	// Weeks has a cell for each week of the strip.
	Weeks []CoverageCell `json:"weeks"`
}

// CoverageCell is one site in one week.
type CoverageCell struct {
	// Due is how many tools come due in the week.
	Due int64 `json:"tools_due"`
	// Joints planned in the week.
	Joints int64 `json:"joints"`
	// Gap says that some of these have no tool that may do them; Open is how many.
	Gap  bool  `json:"gap"`
	Open int64 `json:"joints_open"`
}

// Name of the figure.
func (f *Coverage) Name() string { return "Tools due and work covered, by week" }

// Validate finds what cannot be drawn.
func (f *Coverage) Validate() error {
	c := checks{err: f.validate()}
	for i, w := range f.Weeks {
		c.name(w.Name, "weeks[%d].week", i)
		c.day(w.Monday, "weeks[%d].monday", i)
		c.require(i == 0 || c.err != nil || w.Monday > f.Weeks[i-1].Monday, "must be after the one before", "weeks[%d].monday", i)
	}
	for i, s := range f.Sites {
		c.name(s.Name, "sites[%d].name", i)
		c.count(s.Overdue, "sites[%d].tools_overdue", i)
		c.require(len(s.Weeks) == len(f.Weeks), "must have one cell for each week", "sites[%d].weeks", i)
		for k, w := range s.Weeks {
			c.count(w.Due, "sites[%d].weeks[%d].tools_due", i, k)
			c.count(w.Joints, "sites[%d].weeks[%d].joints", i, k)
			c.require(w.Open >= 0 && w.Open <= w.Joints, "must be from 0 to the joints", "sites[%d].weeks[%d].joints_open", i, k)
		}
	}
	return c.err
}

const (
	stripFrom, stripTo = 190.0, 676.0
	stripTop, stripRow = 54.0, 22.0
	stripWeeks         = 26
)

func (f *Coverage) drawn() ([]CoverageSite, []CoverageWeek) {
	return f.Sites[:most(f.Most, 24, len(f.Sites))], f.Weeks[:min(stripWeeks, len(f.Weeks))]
}

// SVG draws the figure.
func (f *Coverage) SVG(id string) string {
	c := &canvas{id: id}
	sites, weeks := f.drawn()
	if len(sites) == 0 || len(weeks) == 0 {
		return c.nothing(f)
	}
	wide := min((stripTo-stripFrom)/float64(len(weeks)), 60)
	gap := c.hatch("gap", 6, 1.1)
	c.bold(4, stripTop-8, start, "Site")
	c.bold(stripFrom-10, stripTop-8, end, "overdue")
	f.calendar(c, weeks, wide)
	for i, s := range sites {
		y := stripTop + stripRow*float64(i)
		c.text(4, y+15, start, fitted(s.Name, 120))
		if s.Overdue > 0 {
			c.bold(stripFrom-10, y+15, end, Count(s.Overdue))
		} else {
			c.text(stripFrom-10, y+15, end, "–")
		}
		for k, w := range weeks {
			cell := s.Weeks[k]
			f.cell(c, cell, stripFrom+wide*float64(k), y, wide, gap, fmt.Sprintf("%s, %s: %s", s.Name, w.Name, cell.words()))
		}
	}
	bottom := stripTop + stripRow*float64(len(sites))
	for _, m := range []string{more(len(f.Sites), len(sites)), strings.Replace(more(len(f.Weeks), len(weeks)), "more", "more weeks", 1)} {
		if m != "" {
			c.text(4, bottom+15, start, m)
			bottom += 17
		}
	}
	c.height = c.legend(bottom+22, []legendEntry{
		{24, func(x, y float64) { c.box("", x, y-5, 18, 10, "#fff", "") }, "planned work covered"},
		c.fillSample(gap, "planned work without a tool for it"),
		{24, func(x, y float64) { c.stroke("", x+2, y, x+16, y, 0.8, line, solid) }, "no work planned"},
		{14, func(x, y float64) { c.bold(x, y+4, start, "2") }, "tools due"},
	})
	return c.finish(f.Name(), f.Description())
}

// calendar names the weeks: each number where there is room, the Monday of the first
// and of each that begins a month.
func (f *Coverage) calendar(c *canvas, weeks []CoverageWeek, wide float64) {
	month, until := "", 0.0
	for k, w := range weeks {
		x := stripFrom + wide*float64(k)
		if m := string(w.Monday[:7]); m != month && x > until && x+textWidth(string(w.Monday)) < pageWidth-3 {
			month = m
			c.stroke("", x, stripTop-40, x, stripTop, 0.7, line, solid)
			c.text(x+3, stripTop-27, start, string(w.Monday))
			until = x + textWidth(string(w.Monday)) + 10
		}
		name := w.Name
		if i := strings.LastIndex(name, "-"); i >= 0 {
			name = name[i+1:]
		}
		if wide < 26 {
			name = strings.TrimPrefix(name, "W")
		}
		if textWidth(name) < wide {
			c.text(x+wide/2, stripTop-8, middle, name)
		}
	}
}

func (f *Coverage) cell(c *canvas, cell CoverageCell, x, y, wide float64, gap, tip string) {
	switch {
	case cell.Gap:
		c.box("gap", x, y+1, wide, stripRow-2, gap, tip)
	case cell.Joints > 0:
		c.box("covered", x, y+1, wide, stripRow-2, "#fff", tip)
	default:
		c.stroke("idle", x+2, y+stripRow/2, x+wide-2, y+stripRow/2, 0.8, line, solid)
	}
	if cell.Due > 0 {
		number := Count(cell.Due)
		if half := textWidth(number)/2*1.1 + 2; cell.Gap || cell.Joints == 0 {
			c.printf(`<rect x="%v" y="%v" width="%v" height="%v" fill="#fff"/>`+"\n", x+wide/2-half, y+4, 2*half, stripRow-8)
		}
		c.bold(x+wide/2, y+15, middle, number)
	}
}

func (c CoverageCell) words() string {
	s := "no work planned"
	if c.Joints > 0 {
		s = Count(c.Joints) + " joints planned"
	}
	if c.Gap {
		s += ", " + Count(c.Open) + " of them without a tool"
	}
	return s + ", " + Count(c.Due) + " tools due"
}

// Description says what the picture shows.
func (f *Coverage) Description() string {
	gaps, due, overdue := 0, int64(0), int64(0)
	for _, s := range f.Sites {
		overdue += s.Overdue
		for _, w := range s.Weeks {
			due += w.Due
			if w.Gap {
				gaps++
			}
		}
	}
	return fmt.Sprintf("%s %d sites over %d weeks: %d weeks of a site have work without a tool; %s tools come due, %s are overdue. The figures are in the table.",
		f.Finding, len(f.Sites), len(f.Weeks), gaps, Count(due), Count(overdue))
}

// Table holds the weeks in which something is due or open.
func (f *Coverage) Table() Table {
	sites, weeks := f.drawn()
	t := Table{Head: []string{"site", "week", "tools due", "joints planned", "of them without a tool"}, TextColumns: 2, More: more(len(f.Sites), len(sites))}
	for _, s := range sites {
		if s.Overdue > 0 {
			t.Rows = append(t.Rows, []string{s.Name, "overdue", Count(s.Overdue), "", ""})
		}
		for k, w := range weeks {
			if cell := s.Weeks[k]; cell.Due > 0 || cell.Gap {
				t.Rows = append(t.Rows, []string{s.Name, w.Name, Count(cell.Due), Count(cell.Joints), Count(cell.Open)})
			}
		}
	}
	return t
}
