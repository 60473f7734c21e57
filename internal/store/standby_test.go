package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/asof"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// tightenedOf asks for the fasteners by site, of a caller who accepts a state that is at most
// so old, and gives what an answer was read from.
func tightenedOf(t *testing.T, s *store.Store, most time.Duration) (tightened int64, asOf time.Time, fromStandby bool) {
	t.Helper()
	r := asof.New(most)
	counts, err := s.Counts(asof.With(context.Background(), r), analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.BySite}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range counts {
		tightened += c.Tightened
	}
	asOf, fromStandby = r.AsOf()
	return tightened, asOf, fromStandby
}

// TestStandbyAnswers reads figures from a standby: with the moment as of which they are
// told, from the primary when the standby is too far behind for the caller, and never
// of a thing that the caller has just made that it does not exist.
func TestStandbyAnswers(t *testing.T) {
	t.Parallel()
	cluster, config := ownCluster(t)
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	second, err := cluster.Standby(ctx, "second")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(second.Stop)
	config.ReadDSN, config.ReadStaleness = second.DSN("postgres"), time.Hour
	s := storetest.OpenFleet(t, config)
	tighten := func() {
		storetest.Record(t, s, storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Fasteners = 10 }))
	}
	tighten()
	eventually(t, "the standby tells of the record", func() bool {
		n, _, standby := tightenedOf(t, s, asof.Default)
		return standby && n == 10
	})
	before := time.Now()
	eventually(t, "the standby tells of a later moment", func() bool {
		_, asOf, standby := tightenedOf(t, s, asof.Default)
		if standby && asOf.After(time.Now()) {
			t.Fatalf("as of %v, which is to come", asOf)
		}
		return standby && asOf.After(before)
	})
	// From now on it stands still.
	if err := second.Run(ctx, "SELECT pg_wal_replay_pause()"); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the standby stands still", func() bool {
		return second.Run(ctx, "SELECT 1 / (pg_get_wal_replay_pause_state() = 'paused')::int") == nil
	})
	tighten()
	written := time.Now()               // up to the commit before it, the standby's state is that of the primary
	time.Sleep(1500 * time.Millisecond) // longer than from one mark to the next
	n, asOf, standby := tightenedOf(t, s, asof.Default)
	if n != 10 || !standby || asOf.After(written) {
		t.Errorf("%d tightened as of %v, from the standby %t; expected 10 as of no later than %v", n, asOf, standby, written)
	}
	for _, most := range []time.Duration{0, time.Since(asOf) / 2} {
		if n, _, standby := tightenedOf(t, s, most); n != 20 || standby {
			t.Errorf("at most %v old: %d tightened, from the standby %t; expected 20 from the primary", most, n, standby)
		}
	}
	if n, _, standby := tightenedOf(t, s, asof.Default); n != 10 || !standby {
		t.Errorf("after the primary was asked, %d tightened, from the standby %t; expected 10 again", n, standby)
	}
	// What the standby does not know yet is asked of the primary.
	lot := storetest.NewFleet().Lots[0]
	lot.Number = "NEW"
	if made, err := s.RegisterLots(ctx, []ledger.Lot{lot}, store.Change{}); err != nil || made[0].State != store.Taken {
		t.Fatal(made, err)
	}
	r := asof.New(asof.Default)
	q := analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.BySite}, Filters: []analysis.GroupValue{{Grouping: analysis.ByLot, Value: "NEW"}}}
	if _, err := s.Counts(asof.With(ctx, r), q); err != nil {
		t.Errorf("counts of a lot that was just made: %v", err)
	}
	allFigures(t, s)
	if err := second.Run(ctx, "SELECT pg_wal_replay_resume()"); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the standby has all again", func() bool {
		n, _, standby := tightenedOf(t, s, asof.Default)
		return standby && n == 20
	})
	second.Stop()
	if n, _, standby := tightenedOf(t, s, asof.Default); n != 20 || standby {
		t.Errorf("without a standby: %d tightened, from the standby %t; expected 20 from the primary", n, standby)
	}
}

// allFigures asks every question that a standby may answer, and compares it with the
// primary's answer to the same question where both have the same to go by.
func allFigures(t *testing.T, s *store.Store) {
	t.Helper()
	now := time.Now()
	for name, ask := range map[string]func(context.Context) (any, error){
		"rows": func(ctx context.Context) (any, error) {
			rows, _, err := s.CountRows(ctx, analysis.RowQuery{CountQuery: analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.ByPerson}}})
			return len(rows), err
		},
		"incidents": func(ctx context.Context) (any, error) { return s.IncidentCounts(ctx, store.IncidentCountQuery{}) },
		"progress": func(ctx context.Context) (any, error) {
			p, err := s.Progress(ctx, ledger.Place{})
			return p.Joints, err
		},
		"coverage": func(ctx context.Context) (any, error) {
			in, err := s.CoverageInput(ctx, now, nil)
			return len(in.Sites), err
		},
		"spares": func(ctx context.Context) (any, error) {
			r, err := s.Spares(ctx, analysis.SparesQuery{AsOf: now})
			return len(r) > 0, err
		},
		"leaks": func(ctx context.Context) (any, error) {
			a, b, err := s.Leaks(ctx, analysis.LeakQuery{})
			return len(a) + len(b), err
		},
	} {
		r := asof.New(asof.Default)
		old, err := ask(asof.With(context.Background(), r))
		if _, standby := r.AsOf(); err != nil || !standby {
			t.Errorf("%s: from the standby %t, %v", name, standby, err)
		}
		present, err := ask(context.Background())
		if diff := cmp.Diff(present, old); err != nil || diff != "" {
			t.Errorf("%s, %v (-primary +standby):\n%s", name, err, diff)
		}
	}
}

// TestOtherStandbyIsOlder has one standby's answers come from the memory of a newer
// state: a second standby, behind the first, takes its place. Its state is older than
// what is remembered, and the primary answers.
func TestOtherStandbyIsOlder(t *testing.T) {
	t.Parallel()
	cluster, config := ownCluster(t)
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	newer, err := cluster.Standby(ctx, "newer")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(newer.Stop)
	older, err := cluster.Standby(ctx, "older")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(older.Stop)
	config.ReadDSN, config.ReadStaleness = "postgres://jl@"+newer.Host()+","+older.Host()+"/postgres?sslmode=disable", time.Hour
	s := storetest.OpenFleet(t, config)
	tighten := func() {
		storetest.Record(t, s, storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Fasteners = 10 }))
	}
	tighten()
	eventually(t, "the older standby follows", func() bool { return older.Run(ctx, "SELECT 1 / count(*) FROM tightenings") == nil })
	if err := older.Run(ctx, "SELECT pg_wal_replay_pause()"); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the older standby stands still", func() bool {
		return older.Run(ctx, "SELECT 1 / (pg_get_wal_replay_pause_state() = 'paused')::int") == nil
	})
	tighten()
	progress := func() (n int64, standby bool) {
		r := asof.New(asof.Default)
		if _, err := s.Progress(asof.With(ctx, r), ledger.Place{}); err != nil {
			t.Fatal(err)
		}
		n, _, _ = tightenedOf(t, s, asof.Default)
		_, standby = r.AsOf()
		return n, standby
	}
	eventually(t, "the newer standby tells of both", func() bool { n, standby := progress(); return standby && n == 20 })
	newer.Stop()
	eventually(t, "the older standby is asked, and the primary answers", func() bool {
		// What needs no memory comes from the older one, and says so.
		r := asof.New(asof.Default)
		if _, err := s.IncidentCounts(asof.With(ctx, r), store.IncidentCountQuery{}); err != nil {
			t.Fatal(err)
		}
		_, asked := r.AsOf()
		n, standby := progress()
		if n != 20 || standby {
			t.Fatalf("%d tightened, from the standby %t; expected 20 from the primary, never fewer", n, standby)
		}
		return asked
	})
}
