package main

import (
	"fmt"
	"time"
	_ "time/tzdata" // the zones' rules go with the program
)

// seed starts every stream. It was looked for among some thirty thousand: its
// draws leave the small site Tarn Vesper at the head of the crude ranking by
// chance alone, the other realised rates near the planted ones, and wrench
// HRQ-W01 just short of its cycles. Nothing in the program favours any of that.
const seed = 26469

// The planted truth. Rates are probabilities per fastener attempt.
const (
	gallingRate     = 0.006 // stainless with anti-seize, good lot
	badLot          = "SX10-133"
	badLotFactor    = 5.0 // galling of the bad lot against the others
	untreatedFactor = 3.0 // galling without anti-seize against with it

	seizedRate   = 0.0008 // stainless
	strippedRate = 0.0024 // thread-forming screws in seams
	crossedRate  = 0.0006 // all
	brokenRate   = 0.0003 // all
)

// The spell without anti-seize: between these dates (both included, local) the
// crews of untreatedSite fitted this share of their stainless joints dry.
const (
	untreatedSite  = "GWT"
	untreatedFrom  = "2026-06-08"
	untreatedUntil = "2026-07-17"
	untreatedShare = 0.8
)

// lastDay is the last day with records at every site but Tarn Vesper.
const lastDay = "2026-08-14"

// site is one place of work.
type site struct {
	code, name, region, zone string
	employer                 string
	climate                  climate
	altitude                 float64 // °C against the region's climate
	crews                    int
	pace                     [2]int // joints a crew begins in a day, least and most
	spare                    float64
	last                     string // last working day with records
	swap                     string // day on which the holders of the tools change over
	towers                   []tower
	cells                    []*cell // in order of start

	loc *time.Location
}

// tower is one tower and the dates on its programme.
type tower struct{ tag, material, start, finish string }

// cell is one cell: who builds it, from when, and out of how many joints.
type cell struct {
	tower, tag string
	crew       int
	start      string
	size       int
	material   string

	joints []*joint
}

const (
	stainless  = "304"
	galvanised = "galvanized-steel" // the import format's word
)

// scenarioSites lists the sites. Sizes of cells, starts and crews are the
// programme; nothing here makes one site worse than another.
func scenarioSites() []*site {
	const north, south = "America/Anchorage", "Australia/Adelaide"
	return []*site{
		{code: "QLM", name: "Quillmere Data Halls", region: "northern", zone: north, employer: "Pellwether Erection",
			climate: northern, crews: 2, pace: [2]int{4, 7}, spare: 0.06, last: lastDay, swap: "2026-06-15",
			towers: []tower{
				{"CT1", stainless, "2026-04-06", "2026-06-12"}, {"CT2", stainless, "2026-04-06", "2026-06-19"},
				{"CT3", galvanised, "2026-06-15", "2026-08-28"}},
			cells: []*cell{
				{tower: "CT1", tag: "C1", crew: 1, start: "2026-04-07", size: 31},
				{tower: "CT2", tag: "C1", crew: 2, start: "2026-04-13", size: 32},
				{tower: "CT1", tag: "C2", crew: 1, start: "2026-04-27", size: 30},
				{tower: "CT2", tag: "C2", crew: 2, start: "2026-05-04", size: 32},
				{tower: "CT1", tag: "C3", crew: 1, start: "2026-05-18", size: 31},
				{tower: "CT2", tag: "C3", crew: 2, start: "2026-05-26", size: 32},
				{tower: "CT3", tag: "C1", crew: 1, start: "2026-06-15", size: 30},
				{tower: "CT3", tag: "C2", crew: 2, start: "2026-07-06", size: 30},
				{tower: "CT3", tag: "C3", crew: 1, start: "2026-08-12", size: 30}}},
		{code: "HRQ", name: "Harrowquay Cold Store", region: "northern", zone: north, employer: "Pellwether Erection",
			climate: northern, altitude: 0.5, crews: 2, pace: [2]int{4, 7}, spare: 0.05, last: lastDay, swap: "2026-06-12",
			towers: []tower{
				{"CT1", stainless, "2026-04-06", "2026-07-03"}, {"CT2", stainless, "2026-05-04", "2026-08-21"}},
			cells: []*cell{
				{tower: "CT1", tag: "C1", crew: 1, start: "2026-04-08", size: 33},
				{tower: "CT1", tag: "C2", crew: 1, start: "2026-04-28", size: 32},
				{tower: "CT2", tag: "C1", crew: 2, start: "2026-05-06", size: 33},
				{tower: "CT1", tag: "C3", crew: 1, start: "2026-05-19", size: 32},
				{tower: "CT1", tag: "C4", crew: 1, start: "2026-06-16", size: 33},
				{tower: "CT2", tag: "C2", crew: 2, start: "2026-06-23", size: 32},
				{tower: "CT2", tag: "C3", crew: 2, start: "2026-08-11", size: 32}}},
		{code: "NBF", name: "Ninebark Flat Hospital", region: "northern", zone: north, employer: "Pellwether Erection",
			climate: northern, altitude: -1, crews: 1, pace: [2]int{3, 6}, spare: 0.03, last: lastDay, swap: "2026-06-19",
			towers: []tower{
				{"CT1", stainless, "2026-04-20", "2026-06-12"}, {"CT2", galvanised, "2026-06-22", "2026-08-28"}},
			cells: []*cell{
				{tower: "CT1", tag: "C1", crew: 1, start: "2026-04-20", size: 32},
				{tower: "CT1", tag: "C2", crew: 1, start: "2026-05-25", size: 31},
				{tower: "CT2", tag: "C1", crew: 1, start: "2026-06-22", size: 30},
				{tower: "CT2", tag: "C2", crew: 1, start: "2026-07-13", size: 30},
				{tower: "CT2", tag: "C3", crew: 1, start: "2026-08-07", size: 30}}},
		{code: "GWT", name: "Gullwether Process Park", region: "southern", zone: south, employer: "Dunnock Steelwork",
			climate: southern, crews: 2, pace: [2]int{4, 7}, spare: 0.05, last: lastDay, swap: "2026-06-05",
			towers: []tower{
				{"CT1", stainless, "2026-04-06", "2026-06-26"}, {"CT2", stainless, "2026-06-15", "2026-08-14"}},
			cells: []*cell{
				{tower: "CT1", tag: "C1", crew: 1, start: "2026-04-09", size: 32},
				{tower: "CT1", tag: "C2", crew: 2, start: "2026-04-30", size: 33},
				{tower: "CT1", tag: "C3", crew: 1, start: "2026-05-21", size: 32},
				{tower: "CT1", tag: "C4", crew: 2, start: "2026-06-09", size: 33},
				{tower: "CT2", tag: "C1", crew: 1, start: "2026-06-18", size: 32},
				{tower: "CT2", tag: "C2", crew: 2, start: "2026-07-02", size: 33},
				{tower: "CT2", tag: "C3", crew: 1, start: "2026-07-30", size: 32}}},
		{code: "TVS", name: "Tarn Vesper Clinic", region: "southern", zone: south, employer: "Dunnock Steelwork",
			climate: southern, altitude: 0.5, crews: 1, pace: [2]int{2, 4}, spare: 0.08, last: "2026-08-11", swap: "2026-06-26",
			towers: []tower{{"CT1", stainless, "2026-05-11", "2026-08-21"}},
			cells: []*cell{
				{tower: "CT1", tag: "C1", crew: 1, start: "2026-05-11", size: 13},
				{tower: "CT1", tag: "C2", crew: 1, start: "2026-08-06", size: 16}}},
	}
}

// person is one person and how the device in their pocket writes times.
type person struct {
	name, employer, site, roles   string
	qualification, qualifiedUntil string
	zulu                          bool
}

// names are the technicians' invented names, site by site; two to a crew, and
// at Ninebark Flat a third who helps out.
var names = map[string][]string{
	"QLM": {"I. Thornby", "J. Ashmoor", "K. Wendle", "L. Farrowby"},
	"HRQ": {"M. Castleton", "N. Brackwater", "P. Oldacre", "R. Sedgewell"},
	"NBF": {"S. Larkmoor", "T. Hollowby", "V. Pennywell"},
	"GWT": {"W. Eastbrook", "A. Millrace", "B. Kestleby", "C. Dunmore"},
	"TVS": {"D. Riddlestone", "E. Fernhaugh"},
}

// staff are the people who are not technicians: site, letter of the identifier,
// name, roles.
var staff = [][4]string{
	{"QLM", "lead", "F. Marchbank", "site-lead"}, {"QLM", "crib", "G. Tolley", "crib"},
	{"HRQ", "lead", "H. Umberleigh", "site-lead"}, {"HRQ", "crib", "I. Quarrie", "crib"},
	{"NBF", "lead", "J. Wintergill", "site-lead"}, {"NBF", "crib", "K. Stellwood", "crib"},
	{"GWT", "lead", "L. Harbottle", "site-lead"}, {"GWT", "crib", "M. Yarwell", "crib"},
	{"TVS", "lead", "N. Ottershaw", "site-lead;crib"},
	{"QLM", "qe", "O. Brindlay", "quality"}, {"GWT", "qe", "P. Calloway", "quality"},
}

// technician names the nth technician of a site, from 1; crew c is technicians
// 2c-1 and 2c.
func technician(code string, n int) string { return fmt.Sprintf("%s%d", lower(code), n) }

// attendant is who minds the tools of a site.
func attendant(code string) string {
	if code == "TVS" {
		return "tvslead"
	}
	return lower(code) + "crib"
}

// inspector is who audits at a site: its lead, or the region's quality engineer.
func inspector(s *site, engineer bool) string {
	switch {
	case !engineer:
		return lower(s.code) + "lead"
	case s.region == "northern":
		return "qlmqe"
	default:
		return "gwtqe"
	}
}
