package store_test

import (
	"context"
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// TestPostgresLimits asks the sessions of each pool what they are held to.
func TestPostgresLimits(t *testing.T) {
	t.Parallel()
	ask := func(c store.Config, want map[[2]string]string) {
		t.Helper()
		s := storetest.Open(t, c)
		for of, value := range want {
			if got, err := s.PostgresSetting(context.Background(), of[0], of[1]); err != nil || got != value {
				t.Errorf("%v is %q, %v; expected %q", of, got, err, value)
			}
		}
	}
	config := storetest.Postgres().NewConfig(t)
	ask(config, map[[2]string]string{
		{"write", "statement_timeout"}: "1min", {"read", "statement_timeout"}: "2min", {"long", "statement_timeout"}: "0", {"lead", "statement_timeout"}: "0",
		{"write", "lock_timeout"}: "10s", {"read", "lock_timeout"}: "10s",
		{"write", "idle_in_transaction_session_timeout"}: "30s", {"read", "idle_in_transaction_session_timeout"}: "15min",
		{"write", "synchronous_commit"}: "on", {"write", "application_name"}: "trackerd",
		// The writer looks up by key, those that read plan each time, nobody compiles.
		{"write", "enable_seqscan"}: "off", {"write", "enable_hashjoin"}: "off", {"write", "enable_mergejoin"}: "off", {"write", "plan_cache_mode"}: "auto",
		{"read", "enable_seqscan"}: "on", {"read", "plan_cache_mode"}: "force_custom_plan", {"write", "jit"}: "off", {"read", "jit"}: "off",
	})
	changed := config
	changed.StatementTimeout, changed.LockTimeout, changed.IdleTransactionTimeout = 3*time.Second, -1, 5*time.Second
	ask(changed, map[[2]string]string{
		{"write", "statement_timeout"}: "1min", {"read", "statement_timeout"}: "3s",
		{"write", "lock_timeout"}: "0", {"write", "idle_in_transaction_session_timeout"}: "5s",
	})
	// What the connection string says goes first.
	changed.DSN += "&lock_timeout=1500&synchronous_commit=remote_apply"
	ask(changed, map[[2]string]string{{"write", "lock_timeout"}: "1500ms", {"write", "synchronous_commit"}: "remote_apply"})
}

// TestLocksAreNotWaitedForForEver keeps a chain locked: the writer is not kept by it
// for longer than it is told to wait, a bounded number of times.
func TestLocksAreNotWaitedForForEver(t *testing.T) {
	t.Parallel()
	config := storetest.Postgres().NewConfig(t)
	config.LockTimeout = 20 * time.Millisecond
	s := storetest.OpenFleet(t, config)
	other := session(t, config)
	mustExec(t, other, "BEGIN")
	mustExec(t, other, "SELECT * FROM chains FOR UPDATE")
	r := storetest.NewTightening(storetest.DenverJoint)
	_, err := s.Record(context.Background(), []ledger.Record{r}, store.Change{})
	wantError(t, err, ledger.KindConflict, ledger.ReasonConflict)
	mustExec(t, other, "ROLLBACK")
	storetest.Record(t, s, r)
}

// TestWhatAStandbyDidNotHave promotes a standby that had not got the last of what the
// primary kept, as can be when it is not a synchronous one. That is lost, and the store
// must not go on from its memory of it: keys of what is lost are given to others.
func TestWhatAStandbyDidNotHave(t *testing.T) {
	t.Parallel()
	primary, config := ownCluster(t)
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	standby, err := primary.Standby(ctx, "second")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(standby.Stop)
	config.DSN = primary.DSNWith("postgres", standby)
	s := storetest.OpenFleet(t, config)
	use := func(lot string) *ledger.Tightening {
		return storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Lot, r.Fasteners = lot, 3 })
	}
	register := func(number string) {
		t.Helper()
		lot := storetest.NewFleet().Lots[0]
		lot.Number = number
		if made, err := s.RegisterLots(ctx, []ledger.Lot{lot}, store.Change{}); err != nil || made[0].State != store.Taken {
			t.Fatal(made, err)
		}
	}
	storetest.Record(t, s, use(storetest.StainlessLot))
	followed := func() bool { return standby.Run(ctx, "SELECT 1 / count(*) FROM tightenings") == nil }
	eventually(t, "the standby follows", followed)
	for _, statement := range []string{"ALTER SYSTEM SET primary_conninfo = ''", "SELECT pg_reload_conf()"} {
		if err := standby.Run(ctx, statement); err != nil {
			t.Fatal(err)
		}
	}
	eventually(t, "the standby hears no more", func() bool {
		return standby.Run(ctx, "SELECT 1 / (count(*) = 0)::int FROM pg_stat_wal_receiver") == nil
	})
	register("LOST")
	lost := use("LOST")
	storetest.Record(t, s, lost)
	if n, _, _ := tightenedOf(t, s, 0); n != 6 {
		t.Fatalf("%d tightened before", n)
	}
	if _, err := s.Progress(ctx, ledger.Place{}); err != nil {
		t.Fatal(err)
	}
	if err := primary.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := standby.Promote(ctx); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the store finds the new primary", func() bool { return s.Ping(ctx) == nil })
	if n, _, _ := tightenedOf(t, s, 0); n != 3 {
		t.Errorf("%d tightened; expected the 3 that are left", n)
	}
	register("OTHER") // perhaps with the key that LOST had
	outcomes, err := s.Record(ctx, []ledger.Record{lost}, store.Change{})
	if err != nil || outcomes[0].State != store.Refused || outcomes[0].Err.Kind != ledger.KindNotFound {
		t.Errorf("a record of a lot that is lost: %+v, %v; expected that the lot is not known", outcomes, err)
	}
	register("LOST")
	storetest.Record(t, s, lost, use("OTHER"))
	if n, _, _ := tightenedOf(t, s, 0); n != 9 {
		t.Errorf("%d tightened in the end; expected 9", n)
	}
	if report, err := s.Verify(ctx); err != nil || !report.OK() {
		t.Errorf("verify: %+v, %v", report, err)
	}
}
