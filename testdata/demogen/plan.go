package main

import (
	"fmt"
	"strings"
	"time"
)

// world is the scenario while it is being drawn.
type world struct {
	seed   uint64
	sites  []*site
	specs  map[string]*spec
	people map[string]person
	staff  []string // people in the order of their file
	tools  []*tool
	tables map[string]*table
	ids    *stream

	fittings []*fitting // first passes, in the order they were made
	built    []*cell    // cells with nothing left to do, in order of completion
	finished map[*cell]time.Time
	failed   map[stockKey]int // fasteners lost, by site and lot
}

// stockKey is a lot at a site.
type stockKey struct{ site, lot string }

// joint is one joint and what it will be made of.
type joint struct {
	site       *site
	cell       *cell
	tag        string
	spec       *spec
	fasteners  int
	parts      []part
	sealed     reading
	sealedLate bool
	splice     string
	started    bool
}

// part is the share of a joint's fasteners that comes from one lot.
type part struct {
	lot       string
	fasteners int
}

// fitting is the first pass over one part of a joint.
type fitting struct {
	joint             *joint
	part              part
	treatment, batch  string
	tool              *tool
	person, method    string
	at                time.Time
	needsFinal, audit bool
}

func lower(s string) string { return strings.ToLower(s) }

// newWorld sets up the things that do not depend on a draw.
func newWorld(seed uint64) (*world, error) {
	w := &world{
		seed: seed, sites: scenarioSites(), specs: map[string]*spec{}, people: map[string]person{},
		tables: map[string]*table{}, ids: newStream(seed, "ids"),
		finished: map[*cell]time.Time{}, failed: map[stockKey]int{},
	}
	for _, h := range headers {
		w.tables[h.name] = &table{name: h.name, header: h.header}
	}
	for _, s := range specs {
		w.specs[s.code] = s
	}
	for _, s := range w.sites {
		loc, err := time.LoadLocation(s.zone)
		if err != nil {
			return nil, fmt.Errorf("zone of site %s: %w", s.code, err)
		}
		s.loc = loc
		for _, c := range s.cells {
			for _, t := range s.towers {
				if t.tag == c.tower {
					c.material = t.material
				}
			}
		}
	}
	w.engage()
	return w, nil
}

// engage fills the list of people. One technician's qualification runs out in
// the middle of the season, unnoticed.
func (w *world) engage() {
	add := func(id string, p person) {
		w.people[id] = p
		w.staff = append(w.staff, id)
	}
	for _, s := range w.sites {
		for i, name := range names[s.code] {
			until := "2027-02-28"
			if s.code == "NBF" && i == 1 {
				until = "2026-06-30"
			}
			add(technician(s.code, i+1), person{name: name, employer: s.employer, site: s.code, roles: "technician",
				qualification: "bolting", qualifiedUntil: until, zulu: i%2 == 0})
		}
		for _, p := range staff {
			if p[0] == s.code {
				add(lower(p[0])+p[1], person{name: p[2], employer: s.employer, site: s.code, roles: p[3], zulu: p[1] == "qe"})
			}
		}
	}
}

// sizes of joints in fasteners, as often as they stand here.
var sizes = []int{8, 10, 10, 12, 12, 16, 16, 16, 20, 20, 24}

// planJoints makes the joints of every cell and gives them their lots.
func (w *world) planJoints() {
	for _, s := range w.sites {
		d := newStream(w.seed, "joints/"+s.code)
		for i, c := range s.cells {
			for n := 1; n <= c.size; n++ {
				sp := w.specFor(c.material, d.float())
				j := &joint{site: s, cell: c, tag: fmt.Sprintf("J%03d", n), spec: sp, fasteners: sizes[d.intn(len(sizes))]}
				j.parts = splitLots(d, s.code, i, j)
				c.joints = append(c.joints, j)
			}
		}
	}
}

// specFor turns a uniform draw into a specification: 46 % structural joints,
// 42 % sheet-metal seams, 12 % mechanical ones.
func (w *world) specFor(material string, u float64) *spec {
	code := "G-M16-MEC"
	switch {
	case u < 0.46 && material == stainless:
		code = "X-M10-STR"
	case u < 0.46:
		code = "G-M12-STR"
	case u < 0.88 && material == stainless:
		code = "X-M8-SEAM"
	case u < 0.88:
		code = "G-M8-SEAM"
	}
	return w.specs[code]
}

// splitLots gives a joint of a site's nth cell the lot in use there. In the cell
// where a site changes over to a new lot, one joint in five uses up the tail of
// the old one for a few of its fasteners.
func splitLots(d *stream, code string, nth int, j *joint) []part {
	now, before, changed := lotsInUse(code, j.spec.code, nth)
	if !changed || before == "" || !d.chance(0.2) {
		return []part{{now, j.fasteners}}
	}
	tail := 2 + d.intn(3)
	return []part{{before, tail}, {now, j.fasteners - tail}}
}

// lotsInUse names the lot that a site's nth cell uses for a specification, the
// one it used before ("" if none), and whether this cell is the first with it.
func lotsInUse(code, specCode string, nth int) (now, before string, changed bool) {
	best, second := -1, -1
	for _, l := range lots {
		from, here := l.from[code]
		if l.spec != specCode || !here || from > nth {
			continue
		}
		switch {
		case from > best:
			second, before = best, now
			best, now = from, l.code
		case from > second:
			second, before = from, l.code
		}
	}
	return now, before, best == nth
}
