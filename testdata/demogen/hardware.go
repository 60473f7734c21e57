package main

// spec is one joint specification. Torques follow from the short form
// T = K·d·F with the nut factor given and a preload of 0.65 to 0.70 of the 0.2 %
// proof stress for stainless A2-70 (450 MPa) and 0.60 to 0.65 of the proof force
// for galvanised 8.8, rounded to what a wrench can be set to.
type spec struct {
	code, thread, length, material, class, coating, head string
	treatment, locking                                   string
	torque, tolerance, basis, nutFactor                  string
	sealant, sealWidth, minSurface                       string

	newtonMetres float64
	band         string // which wrench: S 8 to 40, M 20 to 100, L 40 to 200 N·m
	kind         string // of the joints made to it
	critical     bool
	// impactShare is the share of joints run down with an impact wrench before
	// the torque wrench clicks; those get a final pass by hand.
	impactShare float64
}

var specs = []*spec{
	{code: "X-M10-STR", thread: "M10", length: "30", material: stainless, class: "A2-70", coating: "plain", head: "flange",
		treatment: "anti-seize", locking: "prevailing-torque-nut",
		torque: "26", tolerance: "10", basis: "lubricated", nutFactor: "0.15",
		newtonMetres: 26, band: "M", kind: "structural", critical: true, impactShare: 0.5},
	{code: "X-M8-SEAM", thread: "M8", length: "20", material: stainless, class: "A2-70", coating: "plain", head: "flange",
		treatment: "anti-seize", locking: "none",
		torque: "14", tolerance: "15", basis: "lubricated", nutFactor: "0.15",
		sealant: "strip", sealWidth: "25.4", minSurface: "4.4",
		newtonMetres: 14, band: "S", kind: "seam"},
	{code: "G-M12-STR", thread: "M12", length: "35", material: galvanised, class: "8.8", coating: "hot-dip", head: "flange",
		treatment: "none", locking: "thread-locking-compound",
		torque: "80", tolerance: "10", basis: "dry", nutFactor: "0.21",
		newtonMetres: 80, band: "M", kind: "structural", critical: true, impactShare: 0.5},
	{code: "G-M8-SEAM", thread: "M8", length: "20", material: galvanised, class: "8.8", coating: "hot-dip", head: "flange",
		treatment: "none", locking: "none",
		torque: "21", tolerance: "15", basis: "dry", nutFactor: "0.21",
		sealant: "gun-grade", sealWidth: "6", minSurface: "4.4",
		newtonMetres: 21, band: "S", kind: "seam"},
	{code: "G-M16-MEC", thread: "M16", length: "55", material: galvanised, class: "8.8", coating: "hot-dip", head: "hex",
		treatment: "none", locking: "thread-locking-compound",
		torque: "180", tolerance: "10", basis: "dry", nutFactor: "0.21",
		newtonMetres: 180, band: "L", kind: "mechanical", critical: true, impactShare: 0.4},
}

// lot is one lot of fasteners and where it is unpacked: for each site, from
// which of the site's cells (counted in order of start, from 0) it is used for
// joints of its specification, until the next lot takes over.
type lot struct {
	code, supplier, heat, spec string
	from                       map[string]int
}

var lots = []*lot{
	{"SX10-114", "Vellamy Stainless", "V40917", "X-M10-STR", map[string]int{"QLM": 0, "GWT": 0}},
	{"SX10-127", "Ostrell Bolt Works", "R22380", "X-M10-STR", map[string]int{"QLM": 2, "NBF": 0}},
	{"SX10-133", "Tannick Supply", "T71846", "X-M10-STR", map[string]int{"HRQ": 0, "QLM": 4}},
	{"SX10-140", "Tannick Supply", "T71902", "X-M10-STR", map[string]int{"QLM": 5, "NBF": 1, "TVS": 0}},
	{"SX10-152", "Vellamy Stainless", "V41350", "X-M10-STR", map[string]int{"HRQ": 5, "GWT": 4}},
	{"SX8-208", "Ostrell Bolt Works", "R22415", "X-M8-SEAM", map[string]int{"QLM": 0, "NBF": 0}},
	{"SX8-215", "Vellamy Stainless", "V40933", "X-M8-SEAM", map[string]int{"HRQ": 0}},
	{"SX8-221", "Tannick Supply", "T71810", "X-M8-SEAM", map[string]int{"QLM": 3, "HRQ": 4}},
	{"SX8-236", "Brindlecote Fasteners", "B50274", "X-M8-SEAM", map[string]int{"GWT": 0, "TVS": 0}},
	{"SX8-244", "Ostrell Bolt Works", "R22566", "X-M8-SEAM", map[string]int{"GWT": 4}},
	{"GX12-310", "Brindlecote Fasteners", "B50119", "G-M12-STR", map[string]int{"QLM": 6}},
	{"GX12-318", "Ostrell Bolt Works", "R22490", "G-M12-STR", map[string]int{"NBF": 2}},
	{"GX12-325", "Brindlecote Fasteners", "B50388", "G-M12-STR", map[string]int{"QLM": 8, "NBF": 4}},
	{"GX8-406", "Brindlecote Fasteners", "B50126", "G-M8-SEAM", map[string]int{"QLM": 6}},
	{"GX8-411", "Tannick Supply", "T71877", "G-M8-SEAM", map[string]int{"NBF": 2}},
	{"GX16-502", "Brindlecote Fasteners", "B50133", "G-M16-MEC", map[string]int{"QLM": 0, "HRQ": 0}},
	{"GX16-509", "Ostrell Bolt Works", "R22431", "G-M16-MEC", map[string]int{"NBF": 0, "QLM": 5}},
	{"GX16-517", "Brindlecote Fasteners", "B50201", "G-M16-MEC", map[string]int{"GWT": 0, "TVS": 0}},
}

// batches are the consumables: batch, kind, product, expiry.
var batches = [][4]string{
	{"AS-N41", "anti-seize", "nickel paste", "2027-09-30"},
	{"AS-S17", "anti-seize", "nickel paste", "2027-03-31"},
	{"AS-S23", "anti-seize", "nickel paste", "2028-01-31"},
	{"TL-N08", "thread-locking-compound", "medium strength", "2027-04-30"},
	{"TL-S05", "thread-locking-compound", "medium strength", "2026-07-31"},
	{"ST-N12", "strip-sealant", "25 mm strip", "2026-06-15"},
	{"ST-N15", "strip-sealant", "25 mm strip", "2027-02-28"},
	{"ST-S09", "strip-sealant", "25 mm strip", "2027-05-31"},
	{"GG-N03", "gun-grade-sealant", "one part", "2027-01-31"},
	{"AC-20", "solvent", "acetone", "2028-06-30"},
}

// compoundBatch is the tin that a region's crews carry on a day (local date).
func compoundBatch(region, treatment, day string) string {
	switch {
	case treatment == "anti-seize" && region == "northern":
		return "AS-N41"
	case treatment == "anti-seize" && day < untreatedUntil:
		return "AS-S17"
	case treatment == "anti-seize":
		return "AS-S23"
	case treatment == "thread-locking-compound" && region == "northern":
		return "TL-N08"
	case treatment == "thread-locking-compound":
		return "TL-S05"
	default:
		return ""
	}
}

// sealantBatch is the roll or cartridge used on a day. late tells that the crew
// finishes an open roll although its shelf life has run out.
func sealantBatch(region, sealant, day string, late bool) string {
	switch {
	case sealant == "gun-grade":
		return "GG-N03"
	case region == "southern":
		return "ST-S09"
	case day <= "2026-06-15" || late && day <= "2026-07-05":
		return "ST-N12"
	default:
		return "ST-N15"
	}
}
