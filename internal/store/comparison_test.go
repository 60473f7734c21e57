package store_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store/storetest"
)

// TestCountRows tells counts apart by joint and covariates, against a count in Go of
// the records themselves.
func TestCountRows(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		s := storetest.OpenFleet(t, e.NewConfig(t))
		fleet, records := storetest.NewFleet(), countedRecords(t)
		storetest.Record(t, s, records...)
		withdraw := &ledger.Correction{Entry: ledger.Entry{ID: storetest.NewID(), OccurTime: storetest.Occurred.AddDate(1, 0, 0), Person: storetest.DenverPerson}, Corrects: records[2].Head().ID, Reason: "typed twice"}
		storetest.Record(t, s, withdraw)
		records = slices.Delete(records, 2, 3)
		length := map[string]float64{"": 0, storetest.StainlessLot: 40, storetest.OtherStainlessLot: 40, storetest.GalvanizedLot: 65}
		fasteners := map[string]float64{}
		for _, j := range fleet.Joints {
			fasteners[j.Place.String()] = float64(j.Fasteners)
		}
		for _, q := range []analysis.RowQuery{
			{CountQuery: analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.ByTreatment}}, ByJoint: true},
			{CountQuery: analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.BySite, analysis.ByLot}}, Covariates: []analysis.ModelCovariate{analysis.CovariateLength, analysis.CovariateDay}},
			{CountQuery: analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.ByPerson}}, Covariates: []analysis.ModelCovariate{analysis.CovariateJointFasteners}},
			{CountQuery: analysis.CountQuery{Filters: []analysis.GroupValue{{Grouping: analysis.BySite, Value: storetest.Denver}}, StartDay: "2026-04-01"}, ByJoint: true, Covariates: []analysis.ModelCovariate{analysis.CovariateDay}},
			{}, // nothing told apart
		} {
			rows, complete, err := s.CountRows(ctx, q)
			if err != nil || !complete {
				t.Fatalf("%+v: complete %t, %v", q, complete, err)
			}
			got := map[string]analysis.Count{}
			joints := map[int]string{} // the keys stand for joints: one name each
			for _, r := range rows {
				key := fmt.Sprint(r.Values, r.Numbers, r.Joint != 0)
				c := got[key]
				c.Tightened += r.Tightened
				for k, n := range r.Incidents {
					c.Incidents[k] += n
				}
				got[key] = c
				joints[r.Joint] = key
			}
			want, places := map[string]analysis.Count{}, map[ledger.Place]bool{}
			for _, r := range records {
				if !counted(r, q.CountQuery, fleet) {
					continue
				}
				one := referenceCounts([]ledger.Record{r}, analysis.CountQuery{GroupBy: q.GroupBy}, fleet)
				if len(one) == 0 {
					continue
				}
				var joint ledger.Place
				var lot string
				switch r := r.(type) {
				case *ledger.Tightening:
					joint, lot = r.Joint, r.Lot
				case *ledger.Incident:
					joint, lot = r.Joint, r.Lot
				}
				numbers := []float64{}
				for _, c := range q.Covariates {
					site := fleet.Sites[slices.IndexFunc(fleet.Sites, func(s ledger.Site) bool { return s.Code == r.SiteCode() })]
					day, err := time.Parse(time.DateOnly, dayAt(r, site))
					if err != nil {
						t.Fatal(err)
					}
					numbers = append(numbers, map[analysis.ModelCovariate]float64{
						analysis.CovariateDay: float64(day.Unix() / 86400), analysis.CovariateLength: length[lot], analysis.CovariateJointFasteners: fasteners[joint.String()],
					}[c])
				}
				if joint != (ledger.Place{}) {
					places[joint] = true
				}
				key := fmt.Sprint(one[0].Values, numbers, q.ByJoint && joint != (ledger.Place{}))
				c := want[key]
				c.Tightened += one[0].Tightened
				for k, n := range one[0].Incidents {
					c.Incidents[k] += n
				}
				want[key] = c
			}
			if diff := cmp.Diff(want, got); diff != "" || len(want) == 0 {
				t.Errorf("%+v (-reference +got):\n%s", q, diff)
			}
			delete(joints, 0)
			if q.ByJoint && len(joints) != len(places) {
				t.Errorf("%+v: %d joints, expected %d", q, len(joints), len(places))
			}
		}
		_, _, err := s.CountRows(ctx, analysis.RowQuery{CountQuery: analysis.CountQuery{Filters: []analysis.GroupValue{{Grouping: analysis.ByLot, Value: "M10-316-4472"}}}})
		wantUnknown(t, err, "lots/M10-316-4472", storetest.StainlessLot)
	})
}

// TestComparisonCounts names the arms in filters, and looks them up.
func TestComparisonCounts(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		s := storetest.OpenFleet(t, e.NewConfig(t))
		records := countedRecords(t)
		storetest.Record(t, s, records...)
		q := analysis.ComparisonQuery{A: analysis.GroupValue{Grouping: analysis.ByLot, Value: storetest.StainlessLot}, StratifyBy: []analysis.Grouping{analysis.BySite}, ByJoint: true}
		all, err := s.ComparisonCounts(ctx, q)
		if err != nil || all.TooManyRecords {
			t.Fatal(err)
		}
		want := referenceCounts(records, analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.ByLot, analysis.BySite}}, storetest.NewFleet())
		if diff := cmp.Diff(want, all.Counts, given); diff != "" {
			t.Errorf("against all others (-reference +got):\n%s", diff)
		}
		q.B = &analysis.GroupValue{Grouping: analysis.ByLot, Value: storetest.GalvanizedLot}
		two, err := s.ComparisonCounts(ctx, q)
		if err != nil {
			t.Fatal(err)
		}
		want = slices.DeleteFunc(want, func(c analysis.Count) bool {
			return c.Values[0] != storetest.StainlessLot && c.Values[0] != storetest.GalvanizedLot
		})
		if diff := cmp.Diff(want, two.Counts, given); diff != "" {
			t.Errorf("against one other (-reference +got):\n%s", diff)
		}
		var byLot, byJoint int64
		for _, c := range two.Counts {
			byLot += c.Attempts()
		}
		for _, r := range two.Joints {
			byJoint += r.Attempts()
		}
		if byLot != byJoint || byLot == 0 {
			t.Errorf("%d attempts by joint, %d in all", byJoint, byLot)
		}
		q.B.Value = "M16-HDG-0094"
		_, err = s.ComparisonCounts(ctx, q)
		wantUnknown(t, err, "lots/M16-HDG-0094", storetest.GalvanizedLot)
	})
}

// TestCountsByWeekAndDay: the days are those of the sites, and weeks begin on Monday.
func TestCountsByWeekAndDay(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		s := storetest.OpenFleet(t, e.NewConfig(t))
		at := func(joint, when string, n int) ledger.Record {
			return storetest.NewTightening(joint, func(r *ledger.Tightening) {
				var err error
				if r.OccurTime, err = time.Parse(time.RFC3339, when); err != nil {
					t.Fatal(err)
				}
				r.Fasteners = n
			})
		}
		storetest.Record(t, s,
			at(storetest.DenverJoint, "2026-03-09T05:30:00Z", 1),  // Sunday 8 March, half past eleven in the evening (summer time began that day)
			at(storetest.KolkataJoint, "2026-03-08T19:00:00Z", 2), // Monday 9 March, half past midnight
			at(storetest.DenverJoint, "2025-12-31T18:00:00Z", 4),  // Wednesday of the first week of 2026
			at(storetest.DenverJoint, "2026-01-05T06:59:00Z", 8),  // Sunday of it
		)
		for by, want := range map[analysis.Grouping]map[string]int64{
			analysis.ByDay:  {"2026-03-08": 1, "2026-03-09": 2, "2025-12-31": 4, "2026-01-04": 8},
			analysis.ByWeek: {"2026-W10": 1, "2026-W11": 2, "2026-W01": 12},
		} {
			for _, fromRecords := range []bool{false, true} {
				counts, err := s.CountsFrom(ctx, analysis.CountQuery{GroupBy: []analysis.Grouping{by}}, fromRecords)
				if err != nil {
					t.Fatal(err)
				}
				got := map[string]int64{}
				for _, c := range counts {
					got[c.Values[0]] = c.Tightened
				}
				if diff := cmp.Diff(want, got); diff != "" {
					t.Errorf("by %s, from records %t (-want +got):\n%s", analysis.Groupings.Name(by), fromRecords, diff)
				}
			}
		}
		for value, want := range map[analysis.GroupValue]int64{
			{Grouping: analysis.ByWeek, Value: "2026-W01"}: 12, {Grouping: analysis.ByDay, Value: "2026-03-09"}: 2,
		} {
			counts, err := s.Counts(ctx, analysis.CountQuery{Filters: []analysis.GroupValue{value}})
			if err != nil || len(counts) != 1 || counts[0].Tightened != want {
				t.Errorf("%+v: %+v, %v; expected %d", value, counts, err, want)
			}
		}
		_, err := s.Counts(ctx, analysis.CountQuery{Filters: []analysis.GroupValue{{Grouping: analysis.ByWeek, Value: "2026-W60"}}})
		wantError(t, err, ledger.KindInvalid, ledger.ReasonInvalidField)
	})
}

// TestSparesRecords follows fasteners by hand.
func TestSparesRecords(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		s := storetest.OpenFleet(t, e.NewConfig(t))
		days := func(d int) time.Time { return storetest.Occurred.AddDate(0, 0, d) }
		tighten := func(joint, lot string, day, n int, pass ledger.Pass) ledger.Record {
			return storetest.NewTightening(joint, func(r *ledger.Tightening) { r.OccurTime, r.Lot, r.Fasteners, r.Pass = days(day), lot, n, pass })
		}
		receive := func(lot, site string, n int64) ledger.Record {
			return storetest.NewLotMovement(lot, site, func(r *ledger.LotMovement) { r.OccurTime, r.Quantity = days(-9), n })
		}
		hold := &ledger.Hold{Entry: ledger.Entry{ID: storetest.NewID(), OccurTime: days(1), Person: storetest.DenverPerson}, Action: ledger.HoldPlaced, Site: storetest.Denver, Lot: storetest.OtherStainlessLot, Reason: "galls"}
		storetest.Record(t, s,
			receive(storetest.StainlessLot, "RVB", 100), receive(storetest.OtherStainlessLot, "RVB", 70), receive(storetest.GalvanizedLot, "RVB", 5),
			tighten("RVB/CT1/C1/J001", storetest.StainlessLot, 0, 10, ledger.PassFirst),
			tighten("RVB/CT1/C1/J001", storetest.StainlessLot, 40, 20, ledger.PassFirst), // six more than it has
			tighten("RVB/CT1/C1/J001", storetest.StainlessLot, 41, 24, ledger.PassFinal),
			tighten("RVB/CT1/C2/J001", storetest.OtherStainlessLot, 2, 4, ledger.PassFirst),
			tighten("RVB/CT1/C1/J002", storetest.GalvanizedLot, 3, 6, ledger.PassFirst), // six used of five
			storetest.NewIncident(ledger.Galling, "RVB/CT1/C1/J001", func(r *ledger.Incident) { r.OccurTime, r.Fasteners = days(0), 3 }),
			storetest.NewIncident(ledger.Leak, "RVB/CT1/C1/J001", func(r *ledger.Incident) { r.OccurTime, r.Fasteners = days(0), 3 }),
			hold,
		)
		records, err := s.Spares(ctx, analysis.SparesQuery{Sites: []string{storetest.Denver}, AsOf: days(45)})
		if err != nil {
			t.Fatal(err)
		}
		lots := storetest.NewFleet().Lots
		m10, m16, screw := lots[0].Fastener, lots[2].Fastener, ledger.Fastener{Thread: "ST4.8", Material: ledger.Stainless304}
		const finish = "2026-11-30"
		want := []analysis.SparesRecord{
			// J001 of C1 is full, that of C2 wants 20, that of CT2 all 24.
			{Fastener: m10, Site: "RVB", Tightened: 34, Lost: 3, Recent: 20, OnHand: 100 - 30 - 3, HeldBack: 66, Remaining: []analysis.SparesRemaining{{PlannedFinish: finish, Fasteners: 44}}},
			{Fastener: m16, Site: "RVB", Tightened: 6, Overdrawn: []string{storetest.GalvanizedLot}, Remaining: []analysis.SparesRemaining{{PlannedFinish: finish, Fasteners: 2 + 8 + 8}}},
			{Fastener: screw, Site: "RVB", Remaining: []analysis.SparesRemaining{{PlannedFinish: finish, Fasteners: 120}}},
		}
		if diff := cmp.Diff(want, records, given); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
		everywhere, err := s.Spares(ctx, analysis.SparesQuery{AsOf: days(45)})
		if err != nil || len(everywhere) != 6 || everywhere[0].Site != storetest.Kolkata || everywhere[0].Remaining[0].Fasteners != 24 {
			t.Errorf("everywhere: %+v, %v", everywhere, err)
		}
		_, err = s.Spares(ctx, analysis.SparesQuery{Sites: []string{"RVC"}, AsOf: days(45)})
		wantUnknown(t, err, "sites/RVC", storetest.Denver)
	})
}

// TestLeakRecords gives each outcome to the last sealing before it.
func TestLeakRecords(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		s := storetest.OpenFleet(t, e.NewConfig(t))
		at := func(hours int) time.Time { return storetest.Occurred.Add(time.Duration(hours) * time.Hour) }
		entry := func(hours int) ledger.Entry {
			return ledger.Entry{ID: storetest.NewID(), OccurTime: at(hours), Person: storetest.DenverPerson}
		}
		ten, eighty := 10.0, 80.0
		seal := func(joint string, hours int, surface float64) *ledger.Sealing {
			return &ledger.Sealing{Entry: entry(hours), Joint: placeNamed(t, joint), Sealant: "polyurethane", Solvent: "acetone", CleanTime: at(hours - 1),
				AirCelsius: &ten, HumidityPercent: &eighty, SurfaceCelsius: &surface, Splice: ledger.SpliceCorner}
		}
		incident := func(kind ledger.IncidentKind, joint string, hours int) *ledger.Incident {
			return storetest.NewIncident(kind, joint, func(r *ledger.Incident) {
				if r.OccurTime = at(hours); !kind.ThreadFailure() {
					r.Lot, r.Treatment, r.Method, r.Fasteners, r.Tool = "", 0, 0, 0, ""
				}
			})
		}
		test := func(joint string, hours int, result ledger.InspectionResult) *ledger.Inspection {
			return &ledger.Inspection{Entry: entry(hours), Joint: placeNamed(t, joint), Kind: ledger.LeakTest, Sample: 1, Result: result}
		}
		wrong := seal("RVB/CT2/C1/J003", 0, 3)
		storetest.Record(t, s,
			seal("RVB/CT1/C1/J003", 0, 2), incident(ledger.Leak, "RVB/CT1/C1/J003", 50), seal("RVB/CT1/C1/J003", 60, 12), test("RVB/CT1/C1/J003", 70, ledger.InspectionPass),
			seal("RVB/CT1/C2/J003", 0, 14), incident(ledger.Galling, "RVB/CT1/C2/J003", 10), test("RVB/CT1/C2/J003", 30, ledger.InspectionFail),
			incident(ledger.SealGap, "RVB/CT2/C1/J003", -1), wrong, seal("RVB/CT2/C1/J003", 5, 20),
			seal("KVR/CT1/C1/J003", 0, 30), incident(ledger.SealGap, "KVR/CT1/C1/J003", 1),
		)
		storetest.Record(t, s, &ledger.Correction{Entry: entry(99), Corrects: wrong.ID, Reason: "another joint"})
		type row struct {
			surface        float64
			failed, tested bool
		}
		for _, c := range []struct {
			q    analysis.LeakQuery
			want []row
		}{
			{analysis.LeakQuery{}, []row{{2, true, false}, {12, false, true}, {14, true, true}, {20, false, false}, {30, true, false}}},
			{analysis.LeakQuery{Filters: []analysis.GroupValue{{Grouping: analysis.BySite, Value: storetest.Kolkata}}}, []row{{30, true, false}}},
			{analysis.LeakQuery{Filters: []analysis.GroupValue{{Grouping: analysis.ByRegion, Value: "mountain"}}, StartDay: "2026-03-04"}, []row{{12, false, true}}},
			// The second sealing is not asked about, and still ends the time of the first.
			{analysis.LeakQuery{EndDay: "2026-03-02", Filters: []analysis.GroupValue{{Grouping: analysis.ByMonth, Value: "2026-03"}, {Grouping: analysis.ByPerson, Value: storetest.DenverPerson}}},
				[]row{{2, true, false}, {14, true, true}, {20, false, false}, {30, true, false}}},
		} {
			sealings, outcomes, err := s.Leaks(ctx, c.q)
			if err != nil {
				t.Fatal(err)
			}
			var got []row
			for _, r := range analysis.LeakRows(sealings, outcomes) {
				got = append(got, row{*r.SurfaceCelsius, r.Failed, r.Tested})
				if r.Splice != "corner" || r.Solvent != "acetone" || r.Person != storetest.DenverPerson || *r.HoursSinceCleaning != 1 {
					t.Errorf("%+v", r)
				}
			}
			slices.SortFunc(got, func(a, b row) int { return int(a.surface - b.surface) })
			if diff := cmp.Diff(c.want, got, cmp.AllowUnexported(row{})); diff != "" {
				t.Errorf("%+v (-want +got):\n%s", c.q, diff)
			}
		}
		_, _, err := s.Leaks(ctx, analysis.LeakQuery{Filters: []analysis.GroupValue{{Grouping: analysis.BySite, Value: "KVX"}}})
		wantUnknown(t, err, "sites/KVX", storetest.Kolkata)
	})
}

func placeNamed(t *testing.T, text string) ledger.Place {
	t.Helper()
	p, err := ledger.ParsePlace(text)
	if err != nil {
		t.Fatal(err)
	}
	return p
}
