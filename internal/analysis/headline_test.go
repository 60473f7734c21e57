package analysis_test

import (
	"fmt"
	"strings"
	"testing"

	"jointledger/internal/analysis"
)

// A lot of one failure in few attempts has the highest ratio and proves nothing: the
// lot with the record to show for it is called the worst, and the other is named as
// what rests on too little.
func TestStandingCallsNobodyWorstOnOneFailure(t *testing.T) {
	cells := []analysis.StandingCell{standingCell("tiny", 1, 12, "x"), standingCell("bad", 60, 1000, "x")}
	for n := range 10 {
		cells = append(cells, standingCell(fmt.Sprintf("lot%d", n), 10, 1000, "x"))
	}
	a := mustStand(t, cells, analysis.StandingOptions{Unit: "lot"})
	if a.Units[0].Unit != "tiny" {
		t.Fatalf("the first in the order is %s", a.Units[0].Unit)
	}
	first := a.Headlines[0]
	if !strings.Contains(first, "bad is worst at equal mix") || strings.Contains(first, "tiny is worst") || !strings.Contains(first, "too little to tell: tiny (1 failure)") {
		t.Error(first)
	}
}

// Where no difference is more than chance nobody is worst, whoever is first.
func TestStandingCallsNobodyWorstByChance(t *testing.T) {
	a := mustStand(t, []analysis.StandingCell{standingCell("A", 11, 1000, "x"), standingCell("B", 9, 1000, "x"), standingCell("C", 10, 1000, "x")}, analysis.StandingOptions{Unit: "site"})
	all := strings.Join(a.Headlines, " ")
	if strings.Contains(all, "is worst") || !strings.Contains(all, "A has the highest crude rate") || !strings.Contains(all, "That any site is worse than the others is not shown") {
		t.Error(all)
	}
}

// Nobody reads a difference into a ratio of 1.001.
func TestCompareSaysAboutAsOften(t *testing.T) {
	a := mustCompare(t, unstratified("A", "B", [4]int64{1001, 100_000, 1000, 100_000}), analysis.CompareOptions{})
	if !strings.Contains(a.Headline, "A fails about as often, but the 95 % interval") {
		t.Error(a.Headline)
	}
	// Ratios are written with no more digits than can be meant.
	a = mustCompare(t, unstratified("A", "B", [4]int64{500, 1000, 2, 1000}), analysis.CompareOptions{})
	if !strings.Contains(a.Headline, "A fails 250 times as often as B") {
		t.Error(a.Headline)
	}
}

// Laney's limits are narrower than those of chance where rows vary less than chance:
// a reader must know it.
func TestTrendCautionsAgainstNarrowLaneyLimits(t *testing.T) {
	even := trendRowsOf(200, 10, 11, 10, 11, 10, 11, 10, 11, 10, 11, 10, 11)
	a := trendOf(t, even, analysis.TrendOptions{Kind: analysis.ChartLaneyP})
	if a.Dispersion == nil || *a.Dispersion >= 1 {
		t.Fatalf("dispersion %v", a.Dispersion)
	}
	if !mentions(a.Cautions, "Laney's σz, below 1", "A p chart keeps the limits of chance") {
		t.Errorf("%q", a.Cautions)
	}
	var exposed []analysis.TrendRow
	for _, r := range even {
		exposed = append(exposed, analysis.TrendRow{Label: r.Label, Failures: r.Failures, Exposure: 20})
	}
	u := trendOf(t, exposed, analysis.TrendOptions{Kind: analysis.ChartLaneyU, PerExposure: true})
	if !mentions(u.Cautions, "A u chart keeps the limits of chance") {
		t.Errorf("%q", u.Cautions)
	}
	// Rows that are all alike leave no spread at all: nothing lies beyond such limits.
	same := trendOf(t, trendRowsOf(300, 7, 7, 7, 7, 7), analysis.TrendOptions{Kind: analysis.ChartLaneyP})
	for _, p := range same.Points {
		if p.Beyond != 0 {
			t.Errorf("%+v", p)
		}
	}
	plain := trendOf(t, even, analysis.TrendOptions{Kind: analysis.ChartP})
	if mentions(plain.Cautions, "below 1") {
		t.Errorf("a p chart has no such limits: %q", plain.Cautions)
	}
}
