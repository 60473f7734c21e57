package store_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// eventually waits until what is asked holds.
func eventually(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for range 1200 {
		if holds() {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("%s: not within a minute", what)
}

// TestOneServerLeads runs three servers' stores on one database. One of them does the
// work in the background; when it is closed, or its session is ended, another does.
func TestOneServerLeads(t *testing.T) {
	t.Parallel()
	config := storetest.Postgres().NewConfig(t)
	ctx := context.Background()
	var stores []*store.Store
	for range 3 {
		s, err := store.Open(ctx, config)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		stores = append(stores, s)
		if s.Leads() {
			t.Error("a store leads before it was asked to work")
		}
		s.RunAlarms()
	}
	leading := func() (leaders []int) {
		for i, s := range stores {
			if s.Leads() {
				leaders = append(leaders, i)
			}
		}
		return leaders
	}
	eventually(t, "one leads", func() bool { return len(leading()) == 1 })
	first := leading()[0]
	if err := stores[first].Close(); err != nil {
		t.Fatal(err)
	}
	eventually(t, "another leads after the first is closed", func() bool { l := leading(); return len(l) == 1 && l[0] != first })
	// The session that holds the lock is cut off.
	db := storetest.Raw(t, config)
	var pid int
	holder := "SELECT COALESCE(max(pid), 0) FROM pg_locks WHERE locktype = 'advisory' AND database = (SELECT oid FROM pg_database WHERE datname = current_database()) AND classid = x'6a6c'::int AND objid = x'6c656164'::int"
	if err := db.QueryRowContext(ctx, holder).Scan(&pid); err != nil || pid == 0 {
		t.Fatalf("the session of the leader: %d, %v", pid, err)
	}
	mustExec(t, db, fmt.Sprintf("SELECT pg_terminate_backend(%d)", pid))
	eventually(t, "a new session leads", func() bool {
		now := 0
		return db.QueryRowContext(ctx, holder).Scan(&now) == nil && now != 0 && now != pid
	})
	eventually(t, "one knows that it leads", func() bool { return len(leading()) == 1 })
}

// TestTheOnlyServerLeads looks at the embedded database.
func TestTheOnlyServerLeads(t *testing.T) {
	t.Parallel()
	s := storetest.Open(t, storetest.SQLite().NewConfig(t))
	s.RunAlarms()
	eventually(t, "it leads", s.Leads)
}
