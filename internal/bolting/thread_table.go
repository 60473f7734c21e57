package bolting

import (
	"fmt"
	"strconv"
	"sync"

	"jointledger/internal/metrology"
)

var (
	isoAreaSource  = metrology.Source{Title: "ISO 898-1", Edition: "2013", Place: "tables 4 and 6, in a reprint", Mark: metrology.Seen}
	fineAreaSource = metrology.Source{Title: "ISO 898-1", Edition: "2013", Place: "table 6, fine pitch", Mark: metrology.Memory}
	uncSeenSource  = metrology.Source{Title: "ASME B1.1", Place: "tensile stress areas", Mark: metrology.Seen}
	uncSource      = metrology.Source{Title: "ASME B1.1", Place: "tensile stress areas", Mark: metrology.Memory}
)

// metricRow is one metric thread: nominal diameter and pitch in mm, stress area
// in mm² as printed.
type metricRow struct {
	nominal, pitch, area float64
}

var metricCoarseRows = []metricRow{
	{5, 0.8, 14.2},
	{6, 1, 20.1},
	{8, 1.25, 36.6},
	{10, 1.5, 58.0},
	{12, 1.75, 84.3},
	{14, 2, 115},
	{16, 2, 157},
	{18, 2.5, 192},
	{20, 2.5, 245},
	{22, 2.5, 303},
	{24, 3, 353},
	{27, 3, 459},
	{30, 3.5, 561},
	{33, 3.5, 694},
	{36, 4, 817},
}

var metricFineRows = []metricRow{
	{8, 1, 39.2},
	{12, 1.25, 92.1},
	{16, 1.5, 167},
	{24, 2, 384},
}

// uncRow is one UNC thread: size as written, threads per inch, stress area in
// in² as printed.
type uncRow struct {
	size   string
	inches float64
	tpi    float64
	area   float64
	source metrology.Source
}

var uncRows = []uncRow{
	{"1/4", 0.25, 20, 0.0318, uncSeenSource},
	{"5/16", 0.3125, 18, 0.0524, uncSeenSource},
	{"3/8", 0.375, 16, 0.0775, uncSeenSource},
	{"7/16", 0.4375, 14, 0.1063, uncSource},
	{"1/2", 0.5, 13, 0.1419, uncSource},
	{"9/16", 0.5625, 12, 0.182, uncSource},
	{"5/8", 0.625, 11, 0.226, uncSource},
	{"3/4", 0.75, 10, 0.334, uncSource},
	{"7/8", 0.875, 9, 0.462, uncSource},
	{"1", 1, 8, 0.606, uncSource},
	{"1-1/8", 1.125, 7, 0.763, uncSource},
	{"1-1/4", 1.25, 7, 0.969, uncSource},
}

// threads is every thread of the tables: metric coarse, metric fine, UNC, each
// by rising diameter.
var threads = sync.OnceValue(buildThreads)

func buildThreads() []Thread {
	var list []Thread
	for _, r := range metricCoarseRows {
		list = append(list, metricThread(r, MetricCoarse, "M"+number(r.nominal), isoAreaSource))
	}
	for _, r := range metricFineRows {
		list = append(list, metricThread(r, MetricFine, "M"+number(r.nominal)+"x"+number(r.pitch), fineAreaSource))
	}
	for _, r := range uncRows {
		list = append(list, Thread{
			Designation: fmt.Sprintf("%s-%s UNC", r.size, number(r.tpi)),
			Series:      UNC,
			Nominal:     Inches(r.inches),
			Pitch:       Inches(1 / r.tpi),
			AreaSource:  r.source,
			tabulated:   SquareInches(r.area),
		})
	}
	return list
}

func metricThread(r metricRow, series Series, designation string, source metrology.Source) Thread {
	return Thread{
		Designation: designation,
		Series:      series,
		Nominal:     Millimetres(r.nominal),
		Pitch:       Millimetres(r.pitch),
		AreaSource:  source,
		tabulated:   SquareMillimetres(r.area),
	}
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Threads returns every thread of the tables: metric coarse, metric fine, UNC,
// each by rising diameter.
func Threads() []Thread { return append([]Thread(nil), threads()...) }
