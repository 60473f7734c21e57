package store_test

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// What is remembered of work and tallies must be what the records say after every
// change: new records, late ones, corrections, and joints that are registered anew.
func TestMemoriesFollowTheRecord(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		t.Run("all sites fit", func(t *testing.T) { memoriesFollowTheRecord(t, newDiary(t, e)) })
		t.Run("one site fits", func(t *testing.T) {
			d := newDiary(t, e)
			d.s.BoundWork(1)
			memoriesFollowTheRecord(t, d)
			if sites := d.s.RememberedSites(); sites > 1 {
				t.Errorf("%d sites are remembered where there is room for none", sites)
			}
		})
	})
}

func memoriesFollowTheRecord(t *testing.T, d *diary) {
	t.Helper()
	ctx := context.Background()
	compare := func(when string) {
		t.Helper()
		compareProgress(ctx, t, d, when)
		compareTallies(ctx, t, d, when)
	}
	compare("nothing recorded")
	d.tighten(structural, 20)
	first := d.tighten(mechanical, 8)
	compare("first passes")
	d.tighten(structural, 4)
	if err := d.s.ReadAhead(ctx); err != nil {
		t.Fatal(err)
	}
	d.seal(seam)
	d.tighten(seam, 40)
	compare("more on the same joints")
	d.correct(first, nil)
	compare("one withdrawn")
	withdrawnAtOnce := d.tighten(mechanical, 8)
	d.correct(withdrawnAtOnce, nil)
	d.tighten(mechanical, 3)
	compare("recorded and withdrawn between two questions")
	joint := ledger.Joint{Place: d.place("RVB/CT1/C1/J900"), Kind: ledger.JointStructural, Specification: storetest.Stainless, Fasteners: 4}
	if _, err := d.s.RegisterJoints(ctx, []ledger.Joint{joint}, store.Change{}); err != nil {
		t.Fatal(err)
	}
	compare("a new joint")
	d.tighten("RVB/CT1/C1/J900", 4)
	d.inspect(structural, ledger.LeakTest, ledger.InspectionPass)
	d.hold("RVB/CT1/C1/J900")
	compare("work on it")
}

// compareProgress holds progress against the states of the joints, which are read from
// the records each time.
func compareProgress(ctx context.Context, t *testing.T, d *diary, when string) {
	t.Helper()
	if _, err := d.s.Progress(ctx, ledger.Place{}); err != nil {
		t.Fatal(err)
	}
	for _, place := range []string{"RVB", "RVB/CT1", "RVB/CT1/C1"} {
		got, err := d.s.Progress(ctx, d.place(place))
		if err != nil {
			t.Fatal(err)
		}
		joints, _, err := d.s.JointStates(ctx, d.place(place), false, store.Page{Size: 1000})
		if err != nil {
			t.Fatal(err)
		}
		want, finished := map[ledger.JointState]int64{}, int64(0)
		for _, j := range joints {
			want[j.State]++
			if !j.TightenedTime.IsZero() {
				finished++
			}
		}
		if diff := cmp.Diff(want, got.States); diff != "" || got.Joints != int64(len(joints)) {
			t.Errorf("%s: %s: %d joints (-want +got):\n%s", when, place, got.Joints, diff)
		}
		sum := int64(0)
		for _, day := range got.Days {
			sum += day.Joints
		}
		if sum != finished {
			t.Errorf("%s: %s: %d joints on its days, %d are finished", when, place, sum, finished)
		}
	}
}

// compareTallies holds counts from the tallies against those from the records.
func compareTallies(ctx context.Context, t *testing.T, d *diary, when string) {
	t.Helper()
	q := analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.BySite, analysis.ByLot}}
	got, err := d.s.Counts(ctx, q)
	if err != nil {
		t.Fatal(err)
	}
	rows, complete, err := d.s.CountRows(ctx, analysis.RowQuery{CountQuery: q, ByJoint: true})
	if err != nil || !complete {
		t.Fatal(complete, err)
	}
	want, have := map[string]int64{}, map[string]int64{}
	for _, r := range rows {
		want[r.Values[0]+" "+r.Values[1]] += r.Tightened
	}
	for _, c := range got {
		have[c.Values[0]+" "+c.Values[1]] += c.Tightened
	}
	if diff := cmp.Diff(want, have); diff != "" {
		t.Errorf("%s (-records +tallies):\n%s", when, diff)
	}
}

// Incidents count once each, with no fastener too; a corrected one no more. Heads of
// chains are those that the last record left.
func TestIncidentCountsAndChainHeads(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		d.happen(ledger.Galling, structural, func(r *ledger.Incident) { r.Fasteners = 3 })
		gone := d.happen(ledger.Galling, structural, func(r *ledger.Incident) { r.Fasteners = 2 })
		d.happen(ledger.Leak, seam, func(r *ledger.Incident) { r.Fasteners = 0 })
		last := d.correct(gone, nil)
		got, err := d.s.IncidentCounts(ctx, store.IncidentCountQuery{Sites: []string{"RVB"}})
		if err != nil {
			t.Fatal(err)
		}
		want := []store.IncidentCount{{Kind: ledger.Galling, Incidents: 1, Fasteners: 3}, {Kind: ledger.Leak, Incidents: 1}}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
		for _, q := range []store.IncidentCountQuery{{Sites: []string{"KVR"}}, {StartDay: "2100-01-01"}, {EndDay: "1999-12-31"}} {
			if none, err := d.s.IncidentCounts(ctx, q); err != nil || len(none) != 0 {
				t.Errorf("%+v: %v, %v", q, none, err)
			}
		}
		_, err = d.s.IncidentCounts(ctx, store.IncidentCountQuery{Sites: []string{"RVX"}})
		wantUnknown(t, err, "sites/RVX", "RVB")
		heads, err := d.s.ChainHeads(ctx, []string{"RVB"})
		if err != nil || len(heads) != 1 || heads[0].Site != "RVB" {
			t.Fatal(heads, err)
		}
		record, err := d.s.FindRecord(ctx, ledger.KindCorrection, last.ID)
		if err != nil {
			t.Fatal(err)
		}
		if h := record.Head(); heads[0].Sequence != h.Sequence || heads[0].Link != h.Link {
			t.Errorf("head %+v, the last record has %d", heads[0], h.Sequence)
		}
		if all, err := d.s.ChainHeads(ctx, nil); err != nil || len(all) < 2 {
			t.Error(all, err)
		}
	})
}
