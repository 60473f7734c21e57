package store_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/pgcluster"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// ownCluster is a PostgreSQL of the test's own, migrated, whose settings it may change.
func ownCluster(t *testing.T) (*pgcluster.Cluster, store.Config) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 3*time.Minute)
	defer cancel()
	c, err := pgcluster.Start(ctx, pgcluster.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Stop)
	config := store.Config{DSN: c.DSN("postgres"), Logger: storetest.Logger(t)}
	if _, _, err := store.MigrateUp(ctx, config); err != nil {
		t.Fatal(err)
	}
	return c, config
}

// waiting gives the process of PostgreSQL whose commit waits for the synchronous
// standby, and the moment since when, once there is one that is not the one before.
func waiting(t *testing.T, db querier, before string) (pid int, since string) {
	t.Helper()
	for range 600 {
		err := db.QueryRowContext(context.Background(), "SELECT COALESCE(max(pid), 0), COALESCE(max(query_start)::text, '') FROM pg_stat_activity WHERE wait_event = 'SyncRep'").Scan(&pid, &since)
		if err != nil {
			t.Fatal(err)
		}
		if pid != 0 && since != before {
			return pid, since
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatal("nobody waits for the synchronous standby")
	return 0, ""
}

// TestUnansweredCommits has PostgreSQL wait for a standby that does not come, and breaks
// the wait off in the two ways there are. What was written is then on the primary and
// perhaps nowhere else, which must be told to nobody as kept: a record, and a request
// with an id, wait until all is there, and are then known; a request without one is
// answered that it is not known.
func TestUnansweredCommits(t *testing.T) {
	t.Parallel()
	cluster, config := ownCluster(t)
	s := storetest.OpenFleet(t, config)
	ctx := context.Background()
	db := storetest.Raw(t, config)
	site := func(code string) []ledger.Site {
		return []ledger.Site{{Code: code, Name: code, TimeZone: "UTC", Status: ledger.SiteActive, Units: ledger.UnitsSI}}
	}
	for _, way := range []string{"pg_cancel_backend", "pg_terminate_backend"} {
		t.Run(way, func(t *testing.T) {
			record := storetest.NewTightening(storetest.DenverJoint)
			code := strings.ToUpper(way[3:5])
			for _, c := range []struct {
				what  string
				write func() ([]store.Outcome, error)
				again bool
			}{
				{"record", func() ([]store.Outcome, error) { return s.Record(ctx, []ledger.Record{record}, store.Change{}) }, true},
				{"request with an id", func() ([]store.Outcome, error) {
					return s.RegisterSites(ctx, site(code+"1"), store.Change{RequestID: uuid.NewString()})
				}, true},
				{"request without one", func() ([]store.Outcome, error) { return s.RegisterSites(ctx, site(code+"2"), store.Change{}) }, false},
			} {
				if err := cluster.Synchronous(ctx, "nobody"); err != nil {
					t.Fatal(err)
				}
				outcomes, answer := []store.Outcome(nil), make(chan error, 1)
				go func() {
					var err error
					outcomes, err = c.write()
					answer <- err
				}()
				pid, since := waiting(t, db, "")
				mustExec(t, db, fmt.Sprintf("SELECT %s(%d)", way, pid))
				if c.again {
					// It is asked again, and waits again.
					waiting(t, db, since)
					select {
					case err := <-answer:
						t.Fatalf("%s: answered %v, %v while the standby had nothing", c.what, outcomes, err)
					default:
					}
				}
				if err := cluster.Synchronous(ctx, ""); err != nil {
					t.Fatal(err)
				}
				err := <-answer
				switch {
				case c.again && (err != nil || outcomes[0].State != store.AlreadyKnown):
					t.Errorf("%s: %v, %v; expected it to be known", c.what, outcomes, err)
				case !c.again && !strings.Contains(fmt.Sprint(err), "not known whether this was kept"):
					t.Errorf("%s: %v, %v; expected that it is not known", c.what, outcomes, err)
				case !c.again:
					wantError(t, err, ledger.KindUnavailable, ledger.ReasonStoreUnavailable)
				}
			}
		})
	}
	report, err := s.Verify(ctx)
	if err != nil || !report.OK() {
		t.Errorf("verify: %+v, %v", report, err)
	}
	if n := chainLengths(t, s)[storetest.Denver]; n != 2 {
		t.Errorf("%d records in the chain; expected 2, each once", n)
	}
	if sites, _, err := s.Sites(ctx, store.SiteFilter{}, store.Page{Size: 100}); err != nil || len(sites) != 2+4 {
		t.Errorf("%d sites, %v; expected 6, each once", len(sites), err)
	}
}

// TestLostConnections ends every connection of the store, again and again, while it
// writes: each record is answered, and kept once.
func TestLostConnections(t *testing.T) {
	t.Parallel()
	config := storetest.Postgres().NewConfig(t)
	s := storetest.OpenFleet(t, config)
	db := storetest.Raw(t, config)
	ctx := context.Background()
	const records = 120
	var kept atomic.Int64
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		draw := rand.New(rand.NewPCG(7, 3))
		for next := int64(2); next < records; next += 1 + draw.Int64N(6) {
			for kept.Load() < next {
				time.Sleep(time.Millisecond)
			}
			time.Sleep(time.Duration(draw.IntN(3000)) * time.Microsecond) // in the midst of the next
			if _, err := db.Exec("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'trackerd' AND datname = current_database()"); err != nil {
				t.Error(err)
			}
		}
	}()
	for i := range records {
		r := storetest.NewTightening(storetest.KolkataJoint, func(r *ledger.Tightening) { r.Fasteners = 1 + i%7 })
		for {
			outcomes, err := s.Record(ctx, []ledger.Record{r}, store.Change{})
			var told *ledger.Error
			if errors.As(err, &told) && told.Kind == ledger.KindUnavailable {
				continue
			}
			if err != nil || outcomes[0].State == store.Refused {
				t.Errorf("record %d: %v, %v", i, outcomes, err)
			}
			break
		}
		kept.Add(1)
	}
	<-ended
	if n := chainLengths(t, s)[storetest.Kolkata]; n != records {
		t.Errorf("%d records in the chain; expected %d, each once", n, records)
	}
	if report, err := s.Verify(ctx); err != nil || !report.OK() {
		t.Errorf("verify: %+v, %v", report, err)
	}
}
