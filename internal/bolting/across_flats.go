package bolting

import (
	"math"
	"sort"
	"sync"

	"jointledger/internal/metrology"
)

// FlatsRow is a width across flats of a hexagon and the thread it belongs to
// under one standard. A wrench size is no thread: ISO 272:1982 changed four
// sizes, old stock is still sold, and some inch and metric sizes fit each other.
type FlatsRow struct {
	Thread   string // canonical designation
	Width    Millimetres
	Standard string // head or nut standard the width is from
	Source   metrology.Source
}

// FlatsMatch is a candidate for a measured width across flats.
type FlatsMatch struct {
	FlatsRow
	Clearance Millimetres // measured width minus nominal width
}

// wrenchTolerance is how far two widths may differ for one wrench to fit both: a
// 19 mm wrench fits 3/4 in, 19.05 mm.
const wrenchTolerance = 0.1

// ThreadsForFlats lists every thread whose hexagon has the width across flats,
// nearest first; it is empty when none has. It fails with a
// *metrology.RangeError for a width not above zero.
func ThreadsForFlats(width Millimetres) ([]FlatsMatch, error) {
	if err := metrology.CheckPositive("width across flats", float64(width), "mm"); err != nil {
		return nil, err
	}
	var list []FlatsMatch
	for _, r := range flatsRows() {
		if clearance := width - r.Width; math.Abs(float64(clearance)) <= wrenchTolerance {
			list = append(list, FlatsMatch{FlatsRow: r, Clearance: clearance})
		}
	}
	sort.SliceStable(list, func(i, j int) bool {
		return math.Abs(float64(list[i].Clearance)) < math.Abs(float64(list[j].Clearance))
	})
	return list, nil
}

// FlatsRows returns the table of widths across flats.
func FlatsRows() []FlatsRow { return append([]FlatsRow(nil), flatsRows()...) }

var flatsRows = sync.OnceValue(buildFlatsRows)

func buildFlatsRows() []FlatsRow {
	seen := metrology.Source{Title: "reprints of the hexagon product standards", Mark: metrology.Seen}
	recalled := metrology.Source{Title: "hexagon product standards", Mark: metrology.Memory}
	var list []FlatsRow
	add := func(standard string, source metrology.Source, threads []string, widths []Millimetres) {
		for i, name := range threads {
			list = append(list, FlatsRow{Thread: name, Width: widths[i], Standard: standard, Source: source})
		}
	}
	const hexagon = "ISO 4014/4017/4032"
	add(hexagon, seen,
		[]string{"M5", "M6", "M8", "M10", "M12", "M14", "M16", "M18", "M20", "M22", "M24"},
		[]Millimetres{8, 10, 13, 16, 18, 21, 24, 27, 30, 34, 36})
	add(hexagon, recalled, []string{"M27", "M30", "M33", "M36"}, []Millimetres{41, 46, 50, 55})
	add("before ISO 272:1982 (DIN 931/933/934)", seen, []string{"M10", "M12", "M14", "M22"}, []Millimetres{17, 19, 22, 32})
	add("structural high-strength hexagon", seen, []string{"M20"}, []Millimetres{32})
	add("flange bolt EN 1665 (heavy series)", seen, []string{"M10"}, []Millimetres{16})
	add("flange bolt ISO 4161/4162", seen, []string{"M10"}, []Millimetres{15})
	add("flange bolt, small series", recalled, []string{"M10"}, []Millimetres{13})

	const regular = "ASME B18.2.1 regular hexagon"
	add(regular, seen,
		[]string{"1/4-20 UNC", "5/16-18 UNC", "3/8-16 UNC", "7/16-14 UNC", "1/2-13 UNC", "9/16-12 UNC", "5/8-11 UNC", "3/4-10 UNC", "7/8-9 UNC", "1-8 UNC"},
		[]Millimetres{Inches(7. / 16), Inches(1. / 2), Inches(9. / 16), Inches(5. / 8), Inches(3. / 4), Inches(13. / 16), Inches(15. / 16), Inches(1 + 1./8), Inches(1 + 5./16), Inches(1.5)})
	add(regular, recalled, []string{"1-1/8-7 UNC", "1-1/4-7 UNC"}, []Millimetres{Inches(1 + 11./16), Inches(1 + 7./8)})
	add("ASME B18.2.6 heavy or structural hexagon", recalled,
		[]string{"1/2-13 UNC", "5/8-11 UNC", "3/4-10 UNC", "7/8-9 UNC", "1-8 UNC", "1-1/8-7 UNC", "1-1/4-7 UNC"},
		[]Millimetres{Inches(7. / 8), Inches(1 + 1./16), Inches(1.25), Inches(1 + 7./16), Inches(1 + 5./8), Inches(1 + 13./16), Inches(2)})
	return list
}
