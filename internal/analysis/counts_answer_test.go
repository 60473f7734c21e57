package analysis_test

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

func TestPeriods(t *testing.T) {
	// ISO 8601: 2026-01-01 is a Thursday, so its week is the first; 2027-01-01 is a
	// Friday, so its week is the 53rd of 2026.
	for name, monday := range map[string]string{"2026-W01": "2025-12-29", "2026-W53": "2026-12-28", "2027-W01": "2027-01-04", "2026-W14": "2026-03-30"} {
		day, err := analysis.PeriodStart(analysis.ByWeek, name)
		if err != nil || analysis.PeriodName(analysis.ByDay, day) != monday || analysis.PeriodName(analysis.ByWeek, day) != name {
			t.Errorf("%s: %d %v", name, day, err)
		}
	}
	for _, name := range []string{"2027-W53", "2026-W00", "2026-14", "2026-W1", "2026-W014", ""} {
		if _, err := analysis.PeriodStart(analysis.ByWeek, name); err == nil {
			t.Errorf("%q was taken for a week", name)
		}
	}
}

func tallied(tightened, galled int64, values ...string) analysis.Count {
	c := analysis.Count{Values: values, Tightened: tightened}
	c.Incidents[ledger.Galling] = galled
	return c
}

// Lot A galls at two sites; of lot C at KVR only the failures are on record.
func lots() []analysis.Count {
	return []analysis.Count{
		tallied(90, 10, "A", "RVB"), tallied(48, 2, "A", "KVR"),
		tallied(198, 2, "B", "RVB"), tallied(99, 1, "C", "RVB"), tallied(0, 5, "C", "KVR"), tallied(60, 0, "B", "KVR"),
	}
}

func TestCompareCounts(t *testing.T) {
	q := analysis.ComparisonQuery{A: analysis.GroupValue{Grouping: analysis.ByLot, Value: "A"}, StratifyBy: []analysis.Grouping{analysis.BySite}}
	kinds := []ledger.IncidentKind{ledger.Galling}
	a, err := analysis.CompareCounts(q, analysis.ComparisonCounts{Counts: lots()}, kinds, analysis.CompareOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if a.A.Failures != 12 || a.A.Attempts != 150 || a.B.Failures != 3 || a.B.Attempts != 360 || a.B.Name != "the others" || a.Stratified.BothArms != 2 || a.ByJoint != nil {
		t.Errorf("%+v %+v %+v", a.A, a.B, a.Stratified)
	}
	if !strings.HasPrefix(a.Headline, "A galls ") || !strings.Contains(a.Headline, "as often as the others at the same sites") || !mentions(a.Cautions, "Left out of the others", "C (KVR), with 5 failures") {
		t.Errorf("%q %q", a.Headline, a.Cautions)
	}
	// Named, the arm without a denominator is left out by the comparison itself.
	q.B = &analysis.GroupValue{Grouping: analysis.ByLot, Value: "C"}
	counts := []analysis.Count{lots()[0], lots()[1], lots()[3], lots()[4]}
	if a, err = analysis.CompareCounts(q, analysis.ComparisonCounts{Counts: counts}, kinds, analysis.CompareOptions{}); err != nil || a.B.Failures != 1 || !mentions(a.Cautions, "C (KVR) with 5 failures") {
		t.Errorf("%+v %q %v", a.B, a.Cautions, err)
	}
	q.ByJoint = true
	if a, err = analysis.CompareCounts(q, analysis.ComparisonCounts{Counts: counts, TooManyRecords: true}, kinds, analysis.CompareOptions{}); err != nil || !mentions(a.Cautions, "more than 200,000 records match") {
		t.Errorf("%q %v", a.Cautions, err)
	}
}

// Joints add up to the crude comparison whatever their order; what names no joint, or
// has no denominator, is left out.
func TestCompareCountsByJoint(t *testing.T) {
	q := analysis.ComparisonQuery{A: analysis.GroupValue{Grouping: analysis.ByLot, Value: "A"}, StratifyBy: []analysis.Grouping{analysis.BySite}, ByJoint: true}
	row := func(joint int, c analysis.Count) analysis.CountRow { return analysis.CountRow{Count: c, Joint: joint} }
	rows := []analysis.CountRow{
		row(1, tallied(60, 0, "A", "RVB")), row(2, tallied(30, 9, "A", "RVB")), row(2, tallied(0, 1, "A", "RVB")), // a joint may have lost before any went well
		row(3, tallied(48, 2, "A", "KVR")), row(1, tallied(100, 1, "B", "RVB")), row(4, tallied(98, 1, "B", "RVB")),
		row(5, tallied(0, 5, "C", "KVR")), row(0, tallied(99, 1, "C", "RVB")), row(6, tallied(60, 0, "B", "KVR")),
	}
	r := rand.New(rand.NewPCG(3, 3))
	var first string
	for range 10 {
		r.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
		a, err := analysis.CompareCounts(q, analysis.ComparisonCounts{Counts: lots(), Joints: rows}, nil, analysis.CompareOptions{})
		if err != nil {
			t.Fatal(err)
		}
		j := a.ByJoint
		if j == nil || j.ClustersA != 3 || j.ClustersB != 3 || j.A.Failures != 12 || j.A.Attempts != 150 || j.B.Failures != 2 || j.B.Attempts != 260 {
			t.Fatalf("%+v %q", j, a.Cautions)
		}
		if !mentions(j.Cautions, "100 attempts name no joint") || !mentions(j.Cautions, "all attempts are compared together, whatever the stratum") {
			t.Errorf("%q", j.Cautions)
		}
		if first == "" {
			first = j.Headline
		}
		if j.Headline != first {
			t.Errorf("%q, before %q", j.Headline, first)
		}
	}
}

func TestTrendOfCounts(t *testing.T) {
	counts := []analysis.Count{tallied(0, 3, "2026-W12"), tallied(99, 1, "2026-W10"), tallied(95, 5, "2025-W52"), tallied(100, 0, "2026-W02")}
	a, rows, err := analysis.TrendOfCounts(counts, analysis.ByWeek, nil, analysis.TrendOptions{Kind: analysis.ChartP})
	if err != nil || len(rows) != 3 || rows[0].Label != "2025-W52" || rows[2].Label != "2026-W10" || a.Failures != 6 || a.Attempts != 300 {
		t.Errorf("%+v %v", rows, err)
	}
	if !mentions(a.Cautions, "2026-W12", "3 failures") {
		t.Errorf("%q", a.Cautions)
	}
	if _, _, err = analysis.TrendOfCounts(counts[:1], analysis.ByWeek, nil, analysis.TrendOptions{}); err == nil || !strings.Contains(err.Error(), "2026-W12") {
		t.Errorf("%v", err)
	}
}

// Remaining 90 over the 30 days to the plan's end, today counted, and 10 without a
// plan at the pace of the last 28 days for their tenth of the work.
func TestSparesOfRecord(t *testing.T) {
	f := ledger.Fastener{Thread: "M10", LengthMillimetres: 40, Material: ledger.Stainless316, Head: "hex"}
	asOf := time.Date(2026, 4, 1, 12, 0, 0, 0, time.UTC)
	records := []analysis.SparesRecord{
		{Fastener: f, Site: "RVB", Tightened: 190, Lost: 10, Recent: 56, OnHand: 20, HeldBack: 30, Overdrawn: []string{"L-7"},
			Remaining: []analysis.SparesRemaining{{PlannedFinish: "2026-04-30", Fasteners: 90}, {PlannedFinish: "2026-03-31", Fasteners: 10}}},
		{Fastener: f, Site: "KVR", Tightened: 300},
		{Fastener: f, Site: "PCL", Lost: 4}, // how many went well is not known
	}
	a, err := analysis.SparesOfRecord(records, analysis.SparesQuery{AsOf: asOf, LeadTimeDays: 7, PackSize: 50})
	if err != nil || len(a.Items) != 1 || a.Groups != 2 {
		t.Fatalf("%+v %v", a, err)
	}
	i := a.Items[0]
	if i.Line.Fastener != "M10 x 40 mm 316 hex" || i.Line.Remaining != 100 || i.Line.Attempts != 200 || i.Line.Failures != 10 || i.Line.InstallsPerDay != 3+2*0.1 || *i.Order%50 != 0 || *i.Order < 80 {
		t.Errorf("%+v", i)
	}
	if !mentions(a.Cautions, "30 pieces of M10 x 40 mm 316 hex at RVB") || !mentions(a.Cautions, "L-7 at RVB") || !mentions(a.Cautions, "mean of the last 28 days") || !strings.HasPrefix(a.Headline, "1 of 1 need an order.") {
		t.Errorf("%q %q", a.Headline, a.Cautions)
	}
	if none, err := analysis.SparesOfRecord(records, analysis.SparesQuery{Sites: []string{"KVR"}, AsOf: asOf}); err != nil || len(none.Items) != 0 || none.Headline != "Nothing remains to be installed." {
		t.Errorf("%+v %v", none, err)
	}
}

// A model of one factor gives the odds of the table; combinations without a
// denominator and attempts without the covariate are named.
func TestModelOfCounts(t *testing.T) {
	row := func(day, length float64, c analysis.Count) analysis.CountRow {
		return analysis.CountRow{Count: c, Numbers: []float64{day, length}}
	}
	rows := []analysis.CountRow{
		row(20514, 40, tallied(90, 10, "A")), row(20524, 60, tallied(80, 4, "A")), row(20514, 40, tallied(198, 2, "B")), row(20530, 60, tallied(95, 5, "B")),
		row(20514, 40, tallied(0, 7, "C")), row(20515, 0, tallied(11, 1, "B")),
	}
	q := analysis.ModelQuery{Terms: []analysis.CountTerm{{Factor: analysis.ByLot, Reference: "B"}, {Covariate: analysis.CovariateDay, Per: 7}, {Covariate: analysis.CovariateLength}}}
	a, err := analysis.ModelOfCounts(q, rows, []ledger.IncidentKind{ledger.Galling}, analysis.ModelOptions{})
	if err != nil || a.Failures != 21 || a.Size != 484 || a.Rows != 4 {
		t.Fatalf("%+v %v", a, err)
	}
	if !mentions(a.Cautions, "the failures of C", "7 failures") || !mentions(a.Cautions, "12 attempts name no length mm") || !mentions(a.Cautions, "Day 0 is 2026-03-02") {
		t.Errorf("%q", a.Cautions)
	}
	if top := a.Terms[1].Rates[len(a.Terms[1].Rates)-1]; top.Value != 16 {
		t.Errorf("days reach to %v, expected 16 after the first", top.Value)
	}
}
