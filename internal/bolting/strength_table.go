package bolting

import (
	"sync"

	"jointledger/internal/metrology"
)

// strengths is every row of the strength tables: metric classes, stainless
// property classes, inch grades.
var strengths = sync.OnceValue(func() []Strength {
	return concat(iso898Rows(), iso3506Rows(), j429Rows(), astmRows(), f593Rows())
})

func concat(groups ...[]Strength) []Strength {
	var all []Strength
	for _, g := range groups {
		all = append(all, g...)
	}
	return all
}

func metricSizes(from, to float64, text string) SizeRange {
	return SizeRange{From: Millimetres(from), To: Millimetres(to), text: text}
}

func inchSizes(from, to float64, text string) SizeRange {
	return SizeRange{From: Inches(from), To: Inches(to), text: text}
}

// iso898Rows holds carbon and alloy steel classes. A class x.y means nominally
// 100·x MPa tensile and 10·x·y MPa yield; the table goes above that in places.
func iso898Rows() []Strength {
	source := metrology.Source{Title: "ISO 898-1", Edition: "2013", Place: "table 3, in reprints", Mark: metrology.Seen}
	const steel = "carbon or alloy steel"
	return []Strength{
		{
			Class: "8.8", System: Metric, Material: steel, Sizes: metricSizes(1.6, 16, "d <= 16 mm"),
			Proof: 580, Yield: 640, Tensile: 800, Source: source,
			Note: "structural bolting above M12 takes the values of d > 16 mm (from memory)",
		},
		{
			Class: "8.8", System: Metric, Material: steel, Sizes: metricSizes(16.001, 39, "16 mm < d <= 39 mm"),
			Proof: 600, Yield: 660, Tensile: 830, Source: source,
		},
		{
			Class: "10.9", System: Metric, Material: steel, Sizes: metricSizes(5, 39, "M5 to M39"),
			Proof: 830, Yield: 940, Tensile: 1040, Source: source,
		},
	}
}

// iso3506Rows holds stainless property classes. The standard gives no proof
// load.
func iso3506Rows() []Strength {
	source := metrology.Source{Title: "ISO 3506-1", Edition: "2009", Place: "mechanical properties, in reprints", Mark: metrology.Seen}
	const note = "the upper size depends on the edition: M20 or M24 in the 1990s, later M39 (from memory); no proof load in the standard"
	var rows []Strength
	for _, group := range []struct{ name, material string }{{"A2", "stainless steel, 304 family"}, {"A4", "stainless steel, 316 family"}} {
		for _, c := range []struct {
			suffix         string
			yield, tensile Megapascals
		}{{"50", 210, 500}, {"70", 450, 700}, {"80", 600, 800}} {
			rows = append(rows, Strength{
				Class: group.name + "-" + c.suffix, System: Metric, Material: group.material,
				Sizes: metricSizes(1.6, 39, "up to M39"),
				Yield: c.yield, Tensile: c.tensile, Source: source, Note: note,
			})
		}
	}
	return rows
}

// j429Rows holds SAE grades of carbon and alloy steel.
func j429Rows() []Strength {
	source := metrology.Source{Title: "SAE J429", Place: "as cited in Shigley & Mischke, 5th ed., p. 341", Mark: metrology.Seen}
	row := func(grade string, sizes SizeRange, proof, yield, tensile float64) Strength {
		return Strength{
			Class: "Grade " + grade, System: Inch, Material: "carbon or alloy steel", Sizes: sizes,
			Proof: Ksi(proof), Yield: Ksi(yield), Tensile: Ksi(tensile), Source: source,
		}
	}
	short := row("2", inchSizes(0.25, 0.75, "1/4 to 3/4 in"), 55, 57, 74)
	short.Note = "up to 6 in long; longer bolts take the values of the larger sizes"
	return []Strength{
		short,
		row("2", inchSizes(0.7501, 1.5, "over 3/4 to 1-1/2 in"), 33, 36, 60),
		row("5", inchSizes(0.25, 1, "1/4 to 1 in"), 85, 92, 120),
		row("5", inchSizes(1.0001, 1.5, "over 1 to 1-1/2 in"), 74, 81, 105),
		row("8", inchSizes(0.25, 1.5, "1/4 to 1-1/2 in"), 120, 130, 150),
	}
}

// astmRows holds ASTM grades of carbon steel.
func astmRows() []Strength {
	const steel = "carbon steel"
	seen := func(title, edition string) metrology.Source {
		return metrology.Source{Title: title, Edition: edition, Mark: metrology.Seen}
	}
	return []Strength{
		{
			Class: "A307 Grade A", System: Inch, Material: steel, Sizes: inchSizes(0.25, 4, "1/4 to 4 in"),
			Tensile: Ksi(60), Source: seen("ASTM A307", ""),
			Note: "no proof or yield stress in the standard; charts assume 36 ksi yield; the size range is from memory",
		},
		{
			Class: "A325", System: Inch, Material: steel, Sizes: inchSizes(0.5, 1, "1/2 to 1 in"),
			Proof: Ksi(85), Yield: Ksi(92), Tensile: Ksi(120), Source: seen("ASTM A325", "before 2015"),
			Note: "structural: install by a pretensioning method of the code, not from a torque table",
		},
		{
			Class: "A325", System: Inch, Material: steel, Sizes: inchSizes(1.0001, 1.5, "over 1 to 1-1/2 in"),
			Proof: Ksi(74), Yield: Ksi(81), Tensile: Ksi(105), Source: seen("ASTM A325", "before 2015"),
			Note: "structural; ASTM F3125 of 2015 raised this size to 120 ksi: use class F3125 A325",
		},
		{
			Class: "F3125 A325", System: Inch, Material: steel, Sizes: inchSizes(0.5, 1.5, "1/2 to 1-1/2 in"),
			Proof: Ksi(85), Yield: Ksi(92), Tensile: Ksi(120), Source: seen("ASTM F3125", "2015"),
			Note: "structural; 120 ksi at all sizes is seen, proof and yield above 1 in are from memory",
		},
	}
}

// f593Rows holds stainless bolts by condition. Group 1 is the 304 family, group
// 2 the 316 family; head marks A to D and E to H. Cold-worked (CW) is supplied
// unless ordered otherwise, and its yield falls by 31 % between 5/8 and 3/4.
func f593Rows() []Strength {
	reprint := metrology.Source{Title: "ASTM F593", Place: "table 2, in three distributors' reprints", Mark: metrology.Seen}
	recalled := metrology.Source{Title: "ASTM F593", Place: "table 2", Mark: metrology.Memory}
	all := inchSizes(0.25, 1.5, "1/4 to 1-1/2 in")
	small := inchSizes(0.25, 0.625, "1/4 to 5/8 in")
	large := inchSizes(0.75, 1.5, "3/4 to 1-1/2 in")
	conditions := []struct {
		note            string
		marks           [2]string
		sizes           SizeRange
		yield, min, max float64
		source          metrology.Source
	}{
		{"condition AF: headed and annealed", [2]string{"F593A", "F593E"}, all, 20, 65, 85, reprint},
		{"condition A: machined, annealed", [2]string{"F593B", "F593F"}, all, 30, 75, 100, reprint},
		{"condition CW1: cold-worked", [2]string{"F593C", "F593G"}, small, 65, 100, 150, reprint},
		{"condition CW2: cold-worked", [2]string{"F593D", "F593H"}, large, 45, 85, 140, reprint},
	}
	var rows []Strength
	for _, c := range conditions {
		for i, material := range []string{"stainless steel, 304 family", "stainless steel, 316 family"} {
			rows = append(rows, Strength{
				Class: c.marks[i], System: Inch, Material: material, Sizes: c.sizes,
				Yield: Ksi(c.yield), Tensile: Ksi(c.min), TensileMax: Ksi(c.max),
				Source: c.source, Note: c.note + "; no proof load for bolts",
			})
		}
	}
	for _, c := range []struct {
		class          string
		sizes          SizeRange
		yield, tensile float64
	}{
		{"F593 SH1", small, 95, 120},
		{"F593 SH2", inchSizes(0.75, 1, "3/4 to 1 in"), 75, 110},
		{"F593 SH3", inchSizes(1.125, 1.25, "1-1/8 to 1-1/4 in"), 60, 100},
		{"F593 SH4", inchSizes(1.375, 1.5, "1-3/8 to 1-1/2 in"), 45, 95},
	} {
		rows = append(rows, Strength{
			Class: c.class, System: Inch, Material: "stainless steel, 304 or 316 family", Sizes: c.sizes,
			Yield: Ksi(c.yield), Tensile: Ksi(c.tensile), Source: recalled,
			Note: "strain-hardened, supplied only when ordered; no proof load for bolts",
		})
	}
	return rows
}
