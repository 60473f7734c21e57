package analysis

import (
	"cmp"
	"fmt"
	"slices"
)

// kitPlace is one of the places that a kit line asks to fill.
type kitPlace struct {
	line int
	tool int // index into the tools by size; -1 while empty
}

// kitMatching fills places with tools, each at most once.
type kitMatching struct {
	kit    []KitLine
	tools  []TrackedTool
	places []kitPlace
	suits  [][]bool // by tool, by line
	seen   []bool   // places looked at in this search
}

// assignKit gives for each line the serials that fill it. It is a matching in
// the bipartite graph of tools and places: tools are taken up from the smallest,
// each by an augmenting path (Kuhn 1955; Berge 1957). What is filled once stays
// filled, so the number of places filled is the greatest possible, and since the
// sets of tools that can be matched together form a matroid (Edmonds and
// Fulkerson 1965), taking the smallest first gives the smallest tools that can
// fill so many. Which of them serves which line is then set so that smaller
// tools serve smaller needs wherever both suit.
func assignKit(kit []KitLine, fit []TrackedTool) [][]string {
	m := &kitMatching{kit: kit, tools: slices.Clone(fit)}
	slices.SortFunc(m.tools, bySize)
	for i, l := range kit {
		for range l.Quantity {
			m.places = append(m.places, kitPlace{line: i, tool: -1})
		}
	}
	m.suits = make([][]bool, len(m.tools))
	for i, t := range m.tools {
		m.suits[i] = make([]bool, len(kit))
		for j, l := range kit {
			m.suits[i][j] = t.Due.Tool.Kind == l.Kind && t.unsuited(l) == nil
		}
	}
	// What one tool failed to find, its like fails to find too, then and later.
	failed, filled := map[string]bool{}, 0
	for i := range m.tools {
		if filled == len(m.places) {
			break
		}
		like := fmt.Sprint(m.suits[i])
		if failed[like] || !slices.Contains(m.suits[i], true) {
			continue
		}
		m.seen = make([]bool, len(m.places))
		if m.fill(i) {
			filled++
		} else {
			failed[like] = true
		}
	}
	m.straighten()
	return m.serials()
}

// bySize puts the smaller tool first: by its greatest torque, its capacity, then
// its serial.
func bySize(a, b TrackedTool) int {
	return cmp.Or(
		cmp.Compare(a.Due.Tool.MaximumNewtonMetres, b.Due.Tool.MaximumNewtonMetres),
		cmp.Compare(a.CapacityKilograms, b.CapacityKilograms),
		cmp.Compare(a.Due.Tool.Serial, b.Due.Tool.Serial),
	)
}

// fill finds the tool a place, moving others on where they suit elsewhere.
func (m *kitMatching) fill(tool int) bool {
	// An empty place first: no search through those that are filled.
	for i, p := range m.places {
		if p.tool < 0 && m.suits[tool][p.line] {
			m.places[i].tool = tool
			return true
		}
	}
	for i, p := range m.places {
		if m.seen[i] || !m.suits[tool][p.line] {
			continue
		}
		m.seen[i] = true
		if m.fill(p.tool) {
			m.places[i].tool = tool
			return true
		}
	}
	return false
}

// straighten swaps tools until of two places a smaller tool serves the smaller need wherever both could serve both.
func (m *kitMatching) straighten() {
	order := make([]int, len(m.places))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return byNeed(m.kit[m.places[a].line], m.kit[m.places[b].line]) })
	for changed := true; changed; {
		changed = false
		for x := range order {
			for y := x + 1; y < len(order); y++ {
				small, large := &m.places[order[x]], &m.places[order[y]]
				if small.line == large.line || small.tool < 0 || large.tool < 0 || small.tool < large.tool {
					continue
				}
				if m.suits[small.tool][large.line] && m.suits[large.tool][small.line] {
					small.tool, large.tool = large.tool, small.tool
					changed = true
				}
			}
		}
	}
}

func byNeed(a, b KitLine) int {
	return cmp.Or(cmp.Compare(a.HighestNewtonMetres, b.HighestNewtonMetres), cmp.Compare(a.CapacityKilograms, b.CapacityKilograms))
}

func (m *kitMatching) serials() [][]string {
	byLine := make([][]int, len(m.kit))
	for _, p := range m.places {
		if p.tool >= 0 {
			byLine[p.line] = append(byLine[p.line], p.tool)
		}
	}
	serials := make([][]string, len(m.kit))
	for i, tools := range byLine {
		slices.Sort(tools)
		for _, t := range tools {
			serials[i] = append(serials[i], m.tools[t].Due.Tool.Serial)
		}
	}
	return serials
}
