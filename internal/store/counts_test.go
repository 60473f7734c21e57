package store_test

import (
	"context"
	"math/bits"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// tallied are the groupings that the tallies can answer by.
var tallied = []analysis.Grouping{
	analysis.BySite, analysis.ByRegion, analysis.ByLot, analysis.BySupplier, analysis.ByTreatment,
	analysis.ByMaterial, analysis.ByThread, analysis.ByDrivingMethod, analysis.ByMonth,
}

// testCountsByEveryGrouping asks for every pair of the groupings, from the
// tallies and from the records.
func testCountsByEveryGrouping(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	fleet, records := storetest.NewFleet(), countedRecords(t)
	storetest.Record(t, s, records...)
	for subset := range 1 << len(tallied) {
		// None, one, two and all of them: more together join nothing anew.
		if n := bits.OnesCount(uint(subset)); n > 2 && n < len(tallied) {
			continue
		}
		var q analysis.CountQuery
		for i, g := range tallied {
			if subset&(1<<i) != 0 {
				q.GroupBy = append(q.GroupBy, g)
			}
		}
		want := referenceCounts(records, q, fleet)
		for _, fromRecords := range []bool{false, true} {
			got, err := s.CountsFrom(ctx, q, fromRecords)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got, given); diff != "" {
				t.Fatalf("by %v, from records %t (-reference +got):\n%s", mapped(q.GroupBy, analysis.Groupings.Name), fromRecords, diff)
			}
		}
	}
	soundReport(t, s)
}

func testCountsOfPeopleAndTools(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	fleet, records := storetest.NewFleet(), countedRecords(t)
	storetest.Record(t, s, records...)
	for _, q := range []analysis.CountQuery{
		{GroupBy: []analysis.Grouping{analysis.ByPerson}},
		{GroupBy: []analysis.Grouping{analysis.ByTool}},
		{GroupBy: []analysis.Grouping{analysis.ByTool, analysis.ByPerson, analysis.ByMonth}},
		{GroupBy: []analysis.Grouping{analysis.ByMonth, analysis.BySupplier, analysis.ByTool}},
		{GroupBy: []analysis.Grouping{analysis.BySite}, Filters: []analysis.GroupValue{{Grouping: analysis.ByPerson, Value: storetest.Visitor}}},
		{Filters: []analysis.GroupValue{{Grouping: analysis.ByTool, Value: ""}}},
		{GroupBy: []analysis.Grouping{analysis.ByTool}, Filters: []analysis.GroupValue{
			{Grouping: analysis.ByTool, Value: storetest.DenverWrench}, {Grouping: analysis.ByTool, Value: storetest.KolkataWrench}, {Grouping: analysis.BySite, Value: storetest.Denver}}},
	} {
		got, err := s.Counts(ctx, q)
		if err != nil {
			t.Fatal(err)
		}
		want := referenceCounts(records, q, fleet)
		if diff := cmp.Diff(want, got, given); diff != "" || len(want) == 0 {
			t.Errorf("%+v (-reference +got):\n%s", q, diff)
		}
	}
	for _, f := range []analysis.GroupValue{{Grouping: analysis.ByPerson, Value: "p.nairr"}, {Grouping: analysis.ByTool, Value: "TW-0108"}} {
		_, err := s.Counts(ctx, analysis.CountQuery{Filters: []analysis.GroupValue{f}})
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource, f.Value, "nearest")
	}
}

// testCountsOfPasses checks what adds attempts and what does not, by figures
// worked out by hand.
func testCountsOfPasses(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	pass := func(p ledger.Pass, n int) ledger.Record {
		return storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Pass, r.Fasteners = p, n })
	}
	incident := func(k ledger.IncidentKind, n int) ledger.Record {
		return storetest.NewIncident(k, storetest.DenverJoint, func(r *ledger.Incident) { r.Fasteners = n })
	}
	total := func() analysis.Count {
		counts, err := s.Counts(ctx, analysis.CountQuery{})
		if err != nil || len(counts) > 1 {
			t.Fatalf("%v, %v; expected one count of everything", counts, err)
		}
		if len(counts) == 0 {
			return analysis.Count{}
		}
		return counts[0]
	}
	if c := total(); c.Attempts() != 0 {
		t.Errorf("%d attempts in an empty store", c.Attempts())
	}
	storetest.Record(t, s, pass(ledger.PassFinal, 20), pass(ledger.PassRetightening, 30))
	if c := total(); c.Attempts() != 0 {
		t.Errorf("final and re-tightening passes add %d attempts", c.Attempts())
	}
	storetest.Record(t, s, pass(ledger.PassFirst, 18), pass(ledger.PassFirst, 4), incident(ledger.Galling, 2), incident(ledger.Galling, 1),
		incident(ledger.BrokenFastener, 1), incident(ledger.Leak, 5), incident(ledger.NearMiss, 0))
	c := total()
	if c.Tightened != 22 || c.Incidents[ledger.Galling] != 3 || c.Incidents[ledger.BrokenFastener] != 1 || c.Incidents[ledger.Leak] != 5 {
		t.Errorf("counts %+v; expected 22 tightened, 3 galled, 1 broken, 5 at leaks", c)
	}
	// A leak is no attempt: 22 + 3 + 1.
	if c.Attempts() != 26 || c.Failures(ledger.ThreadFailures()...) != 4 || c.Failures(ledger.Leak) != 5 {
		t.Errorf("%d attempts, %d failures, %d at leaks; expected 26, 4 and 5", c.Attempts(), c.Failures(ledger.ThreadFailures()...), c.Failures(ledger.Leak))
	}
	again := resentAll([]ledger.Record{pass(ledger.PassFirst, 7)})
	storetest.Record(t, s, again...)
	outcomes, err := s.Record(ctx, resentAll(again), store.Change{})
	wantStates(t, outcomes, err, store.AlreadyKnown)
	if c := total(); c.Tightened != 29 {
		t.Errorf("%d tightened; expected 29, a record sent twice counted once", c.Tightened)
	}
	soundReport(t, s)
}

func testCountFilters(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	fleet, records := storetest.NewFleet(), countedRecords(t)
	storetest.Record(t, s, records...)
	where := func(g analysis.Grouping, value string) analysis.GroupValue {
		return analysis.GroupValue{Grouping: g, Value: value}
	}
	for _, filters := range [][]analysis.GroupValue{
		{where(analysis.BySite, storetest.Denver)},
		{where(analysis.BySite, storetest.Denver), where(analysis.BySite, storetest.Kolkata)},
		{where(analysis.ByRegion, "south")},
		{where(analysis.ByRegion, "nowhere")},
		{where(analysis.ByLot, storetest.GalvanizedLot), where(analysis.ByLot, "")},
		{where(analysis.BySupplier, "Birch"), where(analysis.BySite, storetest.Kolkata)},
		{where(analysis.ByTreatment, "anti-seize"), where(analysis.ByTreatment, "none")},
		{where(analysis.ByTreatment, "")},
		{where(analysis.ByMaterial, "316"), where(analysis.ByDrivingMethod, "impact-then-torque-tool")},
		{where(analysis.ByThread, "M10x1.5"), where(analysis.ByMonth, "2026-04"), where(analysis.ByMonth, "2026-05")},
		{where(analysis.ByMonth, "2026-04'; --")},
		{where(analysis.BySupplier, "")},
	} {
		q := analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.ByTreatment, analysis.BySite}, Filters: filters}
		want := referenceCounts(records, q, fleet)
		for _, fromRecords := range []bool{false, true} {
			got, err := s.CountsFrom(ctx, q, fromRecords)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got, given); diff != "" {
				t.Errorf("%v, from records %t (-reference +got):\n%s", filters, fromRecords, diff)
			}
		}
	}
	t.Log("a word may be written as people write it")
	got, err := s.Counts(ctx, analysis.CountQuery{Filters: []analysis.GroupValue{where(analysis.ByTreatment, "Anti Seize")}})
	if want := referenceCounts(records, analysis.CountQuery{Filters: []analysis.GroupValue{where(analysis.ByTreatment, "anti-seize")}}, fleet); err != nil || cmp.Diff(want, got, given) != "" {
		t.Errorf("%v, %v; expected %v", got, err, want)
	}
	for _, c := range []struct {
		filter   analysis.GroupValue
		mentions string
	}{
		{where(analysis.ByTreatment, "anti-sieze"), "did you mean anti-seize?"},
		{where(analysis.ByMaterial, "unobtainium"), "galvanized-steel"},
		{where(analysis.ByDrivingMethod, "by foot"), "impact-then-torque-tool"},
	} {
		_, err := s.Counts(ctx, analysis.CountQuery{Filters: []analysis.GroupValue{c.filter}})
		invalid := wantError(t, err, ledger.KindInvalid, ledger.ReasonInvalidField)
		if !slices.Equal(fieldsOf(invalid), []string{"filters"}) || !strings.Contains(invalid.Fields[0].Description, c.mentions) {
			t.Errorf("fields %+v; expected filters with %q", invalid.Fields, c.mentions)
		}
	}
	for _, c := range []struct {
		filter            analysis.GroupValue
		resource, nearest string
	}{
		{where(analysis.BySite, "KVRR"), "sites/KVRR", storetest.Kolkata},
		{where(analysis.ByLot, "M16-HDG-0039"), "lots/M16-HDG-0039", storetest.GalvanizedLot},
	} {
		_, err := s.Counts(ctx, analysis.CountQuery{Filters: []analysis.GroupValue{c.filter}})
		wantUnknown(t, err, c.resource, c.nearest)
	}
}

// testCountDays narrows by days and groups by months in each site's calendar.
func testCountDays(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	fleet, records := storetest.NewFleet(), countedRecords(t)
	storetest.Record(t, s, records...)
	for _, days := range [][2]string{
		{"", ""}, {"2026-04-01", ""}, {"", "2026-04-01"}, {"2026-03-31", "2026-04-01"}, {"2026-04-10", "2026-04-10"},
		{"2026-05-01", "2026-04-01"}, {"1970-01-01", "9999-12-31"}, {"2024-02-29", "2026-03-08"},
	} {
		for _, by := range [][]analysis.Grouping{{analysis.ByMonth}, {analysis.BySite, analysis.ByMonth}, {analysis.ByPerson}} {
			q := analysis.CountQuery{GroupBy: by, StartDay: days[0], EndDay: days[1]}
			got, err := s.Counts(ctx, q)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(referenceCounts(records, q, fleet), got, given); diff != "" {
				t.Errorf("%v (-reference +got):\n%s", q, diff)
			}
		}
	}
	for field, q := range map[string]analysis.CountQuery{
		"start_date": {StartDay: "2026-02-30"}, "end_date": {EndDay: "1 April"},
	} {
		_, err := s.Counts(ctx, q)
		invalid := wantError(t, err, ledger.KindInvalid, ledger.ReasonInvalidField)
		if !slices.Equal(fieldsOf(invalid), []string{field}) {
			t.Errorf("fields %+v; expected %s", invalid.Fields, field)
		}
	}
}
