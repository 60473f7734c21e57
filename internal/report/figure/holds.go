package figure

import (
	"fmt"
	"slices"
)

// Holds is the open holds by the rule that placed them and by their age.
type Holds struct {
	Caption
	// AgeBounds are the ages in days, ascending, that part the classes of age: 7 and
	// 30 make under 7 days, 7 to 29 days, 30 days and more. One to three of them.
	AgeBounds []int `json:"age_bounds_days"`
	// Rules in the order of reading, the gravest first.
	Rules []HoldsRule `json:"rules"`
	// Most is how many rules are drawn; 16 when 0.
	Most int `json:"most"`
}

// HoldsRule is the open holds of one rule, or those that people placed.
type HoldsRule struct {
	Name string `json:"name"`
	// ByAge are the holds in each class of age, the youngest first: one more class
	// than there are bounds.
	ByAge []int64 `json:"by_age"`
	// OldestDays is the age of the oldest in days, OldestPlace where it is.
	OldestDays  int64  `json:"oldest_days"`
	OldestPlace string `json:"oldest_place"`
}

// Name of the figure.
func (f *Holds) Name() string { return "Open holds by rule and age" }

// Validate finds what cannot be drawn.
func (f *Holds) Validate() error {
	c := checks{err: f.validate()}
	c.require(len(f.AgeBounds) >= 1 && len(f.AgeBounds) <= 3 && slices.IsSorted(f.AgeBounds) && f.AgeBounds[0] > 0, "must be one to three numbers of days, ascending", "age_bounds_days")
	for i, r := range f.Rules {
		c.name(r.Name, "rules[%d].name", i)
		c.require(len(r.ByAge) == len(f.AgeBounds)+1, "must be one number for each class of age", "rules[%d].by_age", i)
		c.count(r.OldestDays, "rules[%d].oldest_days", i)
		for k, n := range r.ByAge {
			c.count(n, "rules[%d].by_age[%d]", i, k)
		}
	}
	return c.err
}

// classes names the classes of age.
func (f *Holds) classes() []string {
	names := []string{fmt.Sprintf("under %d days", f.AgeBounds[0])}
	for i, b := range f.AgeBounds {
		if i+1 < len(f.AgeBounds) {
			names = append(names, fmt.Sprintf("%d to %d days", b, f.AgeBounds[i+1]-1))
		} else {
			names = append(names, fmt.Sprintf("%d days and more", b))
		}
	}
	return names
}

func (r HoldsRule) total() int64 {
	sum := int64(0)
	for _, n := range r.ByAge {
		sum += n
	}
	return sum
}

func (f *Holds) drawn() []HoldsRule { return f.Rules[:most(f.Most, 16, len(f.Rules))] }

const (
	holdsFrom, holdsTo = 170.0, 430.0
	holdsTop, holdsRow = 28.0, 22.0
)

// SVG draws the figure.
func (f *Holds) SVG(id string) string {
	c := &canvas{id: id}
	rules := f.drawn()
	if len(rules) == 0 {
		return c.nothing(f)
	}
	longest := int64(1)
	for _, r := range rules {
		longest = max(longest, r.total())
	}
	a := linear(0, float64(longest), holdsFrom, holdsTo, int(min(longest, 5)))
	bottom := holdsTop + holdsRow*float64(len(rules))
	c.bold(4, 16, start, "Rule")
	c.bold(holdsTo+52, 16, end, "open")
	c.bold(holdsTo+64, 16, start, "oldest")
	c.ruler(a, holdsTop, bottom, int(min(longest, 5)), Number, "open holds")
	fills := f.fills(c)
	for i, r := range rules {
		f.rule(c, a, r, holdsTop+holdsRow*float64(i), fills)
	}
	if m := more(len(f.Rules), len(rules)); m != "" {
		c.text(4, bottom+16, start, m)
	}
	entries := make([]legendEntry, len(fills))
	for i, name := range f.classes() {
		entries[i] = c.fillSample(fills[i], name)
	}
	c.height = c.legend(bottom+56, entries)
	return c.finish(f.Name(), f.Description())
}

// fills go from white to black with age.
func (f *Holds) fills(c *canvas) []string {
	fills := []string{"#fff"}
	for i := range len(f.AgeBounds) - 1 {
		fills = append(fills, c.hatch(fmt.Sprintf("age%d", i+1), 6-2*float64(i), 1+0.4*float64(i)))
	}
	return append(fills, ink)
}

func (f *Holds) rule(c *canvas, a axis, r HoldsRule, y float64, fills []string) {
	c.text(4, y+15, start, fitted(r.Name, holdsFrom-12))
	sum := int64(0)
	for i, n := range r.ByAge {
		if n == 0 {
			continue
		}
		from := a.at(float64(sum))
		sum += n
		c.box("holds", from, y+3, a.at(float64(sum))-from, holdsRow-6, fills[i], fmt.Sprintf("%s, %s: %s", r.Name, f.classes()[i], Count(n)))
	}
	c.text(holdsTo+52, y+15, end, Count(sum))
	if sum > 0 {
		c.text(holdsTo+64, y+15, start, fitted(fmt.Sprintf("%s d  %s", Count(r.OldestDays), r.OldestPlace), pageWidth-holdsTo-66))
	}
}

// Description says what the picture shows.
func (f *Holds) Description() string {
	open := int64(0)
	for _, r := range f.Rules {
		open += r.total()
	}
	return fmt.Sprintf("%s %s open holds of %d rules as bars, parted by age. The figures are in the table.", f.Finding, Count(open), len(f.Rules))
}

// Table holds the figures.
func (f *Holds) Table() Table {
	t := Table{Head: append([]string{"rule", "oldest at"}, f.classes()...), TextColumns: 2, More: more(len(f.Rules), len(f.drawn()))}
	t.Head = append(t.Head, "oldest, days")
	for _, r := range f.drawn() {
		row := []string{r.Name, r.OldestPlace}
		for _, n := range r.ByAge {
			row = append(row, Count(n))
		}
		t.Rows = append(t.Rows, append(row, Count(r.OldestDays)))
	}
	return t
}
