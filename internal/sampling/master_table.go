package sampling

// The master table for single sampling, normal inspection (MIL-STD-105E, 10 May
// 1989, Table II-A; public domain, seen in two copies). A cell holds the
// acceptance number, or an arrow to the first plan below or above it; the
// rejection number is one more. The letters I and O do not exist.

// Arrows of the master table.
const (
	dn = -1 // use the first plan below
	up = -2 // use the first plan above
)

// letterPlan is a row of the master table: a code letter, its sample size and
// its cells, one for each AQL.
type letterPlan struct {
	letter string
	size   int
	cells  [26]int8
}

// aqlColumns are the preferred AQLs as the table prints them, in percent
// nonconforming up to 10 and in nonconformities per 100 units at any value.
var aqlColumns = [26]struct {
	text  string
	value AQL
}{
	{"0.010", 0.010}, {"0.015", 0.015}, {"0.025", 0.025}, {"0.040", 0.040},
	{"0.065", 0.065}, {"0.10", 0.10}, {"0.15", 0.15}, {"0.25", 0.25},
	{"0.40", 0.40}, {"0.65", 0.65}, {"1.0", 1.0}, {"1.5", 1.5},
	{"2.5", 2.5}, {"4.0", 4.0}, {"6.5", 6.5}, {"10", 10},
	{"15", 15}, {"25", 25}, {"40", 40}, {"65", 65},
	{"100", 100}, {"150", 150}, {"250", 250}, {"400", 400},
	{"650", 650}, {"1000", 1000},
}

var masterTable = [16]letterPlan{
	{"A", 2, [26]int8{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 7, 10, 14, 21, 30}},
	{"B", 3, [26]int8{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, 30, 44}},
	{"C", 5, [26]int8{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, 30, 44, up}},
	{"D", 8, [26]int8{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, 30, 44, up, up}},
	{"E", 13, [26]int8{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, 30, 44, up, up, up}},
	{"F", 20, [26]int8{dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up}},
	{"G", 32, [26]int8{dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up}},
	{"H", 50, [26]int8{dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up}},
	{"J", 80, [26]int8{dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up}},
	{"K", 125, [26]int8{dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up}},
	{"L", 200, [26]int8{dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up}},
	{"M", 315, [26]int8{dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up, up}},
	{"N", 500, [26]int8{dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up, up, up}},
	{"P", 800, [26]int8{dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up, up, up, up}},
	{"Q", 1250, [26]int8{0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up}},
	{"R", 2000, [26]int8{up, up, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up}},
}
