package report

import (
	"fmt"

	"jointledger/internal/report/figure"
)

// Part is a part of the quality report that holds figures.
type Part string

// Parts, named as in JSON.
const (
	PartLots      Part = "lots"
	PartHolds     Part = "holds"
	PartCoverage  Part = "coverage"
	PartSpares    Part = "spares"
	PartSites     Part = "sites"
	PartTrends    Part = "trends"
	PartProgress  Part = "progress"
	PartIncidents Part = "incidents"
)

// Parts are all parts in the order of acting: what can be decided this week (take a
// lot out of use, release what is held, send and lend tools, order hardware); where to
// look, and since when; whether the work will be done in time; what goes wrong.
func Parts() []Part {
	return []Part{PartLots, PartHolds, PartCoverage, PartSpares, PartSites, PartTrends, PartProgress, PartIncidents}
}

// heading is what stands above the first figure of a group of parts.
var headings = map[Part]string{
	PartLots: "To decide this week", PartHolds: "To decide this week", PartCoverage: "To decide this week", PartSpares: "To decide this week",
	PartSites: "Where to look, and since when", PartTrends: "Where to look, and since when",
	PartProgress: "Whether the work will be done in time", PartIncidents: "What goes wrong",
}

// PlacedFigure is a figure at its place in the document.
type PlacedFigure struct {
	Part Part
	// Field is its name in JSON: `trends[1]`.
	Field  string
	Figure figure.Figure
}

// Figures are all that are given, in the order of acting.
func (d *QualityDocument) Figures() []PlacedFigure {
	var all []PlacedFigure
	add := func(part Part, given bool, f figure.Figure) {
		if given {
			all = append(all, PlacedFigure{part, string(part), f})
		}
	}
	add(PartLots, d.Lots != nil, d.Lots)
	add(PartHolds, d.Holds != nil, d.Holds)
	add(PartCoverage, d.Coverage != nil, d.Coverage)
	add(PartSpares, d.Spares != nil, d.Spares)
	add(PartSites, d.Sites != nil, d.Sites)
	for i, t := range d.Trends {
		if t != nil {
			all = append(all, PlacedFigure{PartTrends, fmt.Sprintf("trends[%d]", i), t})
		}
	}
	add(PartProgress, d.Progress != nil, d.Progress)
	add(PartIncidents, d.Incidents != nil, d.Incidents)
	return all
}
