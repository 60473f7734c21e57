package pack

import (
	"slices"
	"strings"

	"jointledger/internal/carry/section"
	"jointledger/internal/ledger"
)

// Site is the site.
func (p *Pack) Site() ledger.Site { return p.plan.Site }

// Towers are those of the site.
func (p *Pack) Towers() []ledger.Tower { return p.plan.Towers }

// Cells are the cells of the site, in the order of their names.
func (p *Pack) Cells() []ledger.Place {
	var cells []ledger.Place
	for _, s := range p.sections {
		if cell, ok := section.CellPlace(p.head.Site, s.Name); ok {
			cells = append(cells, cell)
		}
	}
	return cells
}

// named are the rests of the names of the sections of one kind.
func (p *Pack) named(kind string) []string {
	var names []string
	for _, s := range p.sections {
		if rest, ok := strings.CutPrefix(s.Name, kind); ok {
			names = append(names, rest)
		}
	}
	return names
}

// Specifications are the codes of those that joints of the site name, sorted.
func (p *Pack) Specifications() []string { return p.named(section.Specifications) }

// Lots are the numbers of the lots that are carried, sorted.
func (p *Pack) Lots() []string { return p.named(section.Lots) }

// Tools are the serials of the tools that are carried, sorted.
func (p *Pack) Tools() []string { return p.named(section.Tools) }

// People are those that are carried, sorted by their ids.
func (p *Pack) People() []ledger.Person {
	people, _ := part(p, section.People, func(_ string, content []byte) ([]ledger.Person, error) { return section.ReadPeople(content) })
	return people
}

// Batches are all batches that are carried, sorted by their numbers.
func (p *Pack) Batches() []ledger.Batch {
	batches, _ := part(p, section.Batches, func(_ string, content []byte) ([]ledger.Batch, error) { return section.ReadBatches(content) })
	return batches
}

// within says whether a place is another one or lies in it; everything lies in no
// place.
func within(place, in ledger.Place) bool {
	return (in.Site == "" || in.Site == place.Site) && (in.Tower == "" || in.Tower == place.Tower) &&
		(in.Cell == "" || in.Cell == place.Cell) && (in.Joint == "" || in.Joint == place.Joint)
}

// Places calls f for the site and every tower, cell and joint in a place, down to a
// depth: 1 for sites to 4 for joints. Joints cost the reading of their cells.
func (p *Pack) Places(in ledger.Place, depth int, f func(ledger.Place)) {
	if in.Site != "" && in.Site != p.head.Site {
		return
	}
	give := func(place ledger.Place) {
		if place.Depth() <= depth && place.Depth() >= in.Depth() && within(place, in) {
			f(place)
		}
	}
	give(ledger.Place{Site: p.head.Site})
	for _, t := range p.plan.Towers {
		give(t.Place)
	}
	for _, cell := range p.Cells() {
		give(cell)
		if depth < 4 || !within(cell, ledger.Place{Site: in.Site, Tower: in.Tower, Cell: in.Cell}) {
			continue
		}
		past, _ := p.Cell(cell)
		for i := range past.Joints {
			give(past.Joints[i].Joint.Place)
		}
	}
}

// Find gives the places at or within another that end in a tail, such as `J014` or
// `c3/j014`: the one or several that somebody standing there may mean. Only places of
// the given depths, of any when none is given.
func (p *Pack) Find(in ledger.Place, tail string, depths ...int) []ledger.Place {
	parts := strings.Split(strings.ToUpper(tail), "/")
	deepest := 4
	if len(depths) > 0 {
		deepest = slices.Max(depths)
	}
	var found []ledger.Place
	p.Places(in, deepest, func(place ledger.Place) {
		if endsIn(place, parts) && (len(depths) == 0 || slices.Contains(depths, place.Depth())) {
			found = append(found, place)
		}
	})
	return found
}

// Has says whether there is such a place.
func (p *Pack) Has(place ledger.Place) bool {
	switch place.Depth() {
	case 1:
		return place.Site == p.head.Site
	case 2:
		return slices.ContainsFunc(p.plan.Towers, func(t ledger.Tower) bool { return t.Place == place })
	case 3:
		_, found := p.find(section.CellName(place))
		return found && place.Site == p.head.Site
	}
	_, found := p.JointWork(place)
	return found
}

// Children gives the places directly in another: the towers of a site, the cells of a
// tower, the joints of a cell. Of no place it is the site.
func (p *Pack) Children(in ledger.Place) []ledger.Place {
	var children []ledger.Place
	p.Places(in, in.Depth()+1, func(place ledger.Place) {
		if place.Depth() == in.Depth()+1 {
			children = append(children, place)
		}
	})
	return children
}

func endsIn(place ledger.Place, parts []string) bool {
	all := [4]string{place.Site, place.Tower, place.Cell, place.Joint}
	depth := place.Depth()
	return len(parts) <= depth && slices.Equal(all[depth-len(parts):depth], parts)
}
