package store_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// fault is one way in which a database refuses, made with the database itself.
type fault struct {
	what string
	// make gives the driver's error.
	make func(t *testing.T, c store.Config) error
	kind ledger.Kind
	// again says whether the transaction is worth running again.
	again bool
}

const duplicateSite = "INSERT INTO sites (version, create_time, update_time, code, name, region, time_zone, status, units) VALUES (1, 0, 0, 'RVB', '', '', 'UTC', 1, 1)"

// faultsOfBoth are made alike on both engines: a unique violation is another's
// doing and worth a second try, a foreign key's is the store's own fault.
var faultsOfBoth = []fault{
	{"a name that is taken", failing(duplicateSite), ledger.KindConflict, true},
	{"a key that is taken", failing(strings.Replace(strings.Replace(duplicateSite, "(version", "(id, version", 1), "VALUES (1", "VALUES (1, 1", 1)), ledger.KindConflict, true},
	{"a reference to nothing", failing("INSERT INTO towers (version, create_time, update_time, tag, material, drawing, planned_start, planned_finish, site_id) VALUES (1, 0, 0, 'X', 1, '', '', '', 999)"), ledger.KindInternal, false},
	{"something that is referred to", failing("DELETE FROM sites"), ledger.KindInternal, false},
	{"no value", failing("UPDATE sites SET name = NULL"), ledger.KindInternal, false},
	{"a record that is edited", failing("UPDATE specification_revisions SET thread = 'M1'"), ledger.KindInternal, false},
	{"no such table", failing("SELECT * FROM nothing"), ledger.KindInternal, false},
}

// failing runs one statement, with references checked.
func failing(query string) func(*testing.T, store.Config) error {
	return func(t *testing.T, c store.Config) error {
		db := storetest.Raw(t, c)
		if c.DSN == "" {
			mustExec(t, db, "PRAGMA foreign_keys = 1")
		}
		_, err := db.Exec(query)
		return err
	}
}

// session is one connection for as long as the test lasts, transactions and all.
func session(t *testing.T, c store.Config) *sql.Conn {
	t.Helper()
	conn, err := storetest.Raw(t, c).Conn(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

// querier is a database or one session of it.
type querier interface {
	ExecContext(context.Context, string, ...any) (sql.Result, error)
	QueryRowContext(context.Context, string, ...any) *sql.Row
}

func mustExec(t *testing.T, db querier, query string) {
	t.Helper()
	if _, err := db.ExecContext(context.Background(), query); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
}

var faultsOfSQLite = []fault{
	{"another writer", func(t *testing.T, c store.Config) error {
		one, other := session(t, c), session(t, c)
		mustExec(t, one, "BEGIN IMMEDIATE")
		mustExec(t, other, "PRAGMA busy_timeout = 0")
		_, err := other.ExecContext(context.Background(), "BEGIN IMMEDIATE")
		return err
	}, ledger.KindConflict, true},
	{"a snapshot that is too old to write", func(t *testing.T, c store.Config) error {
		one, other := session(t, c), session(t, c)
		mustExec(t, one, "BEGIN")
		var n int
		count(t, one, "sites", &n)
		mustExec(t, other, "UPDATE sites SET name = 'other'")
		_, err := one.ExecContext(context.Background(), "UPDATE sites SET name = 'mine'")
		return err
	}, ledger.KindConflict, true},
	{"a database that may only be read", func(t *testing.T, c store.Config) error {
		db := storetest.Raw(t, c)
		mustExec(t, db, "PRAGMA query_only = 1")
		_, err := db.Exec("UPDATE sites SET name = 'mine'")
		return err
	}, ledger.KindUnavailable, false},
	{"no database", func(t *testing.T, _ store.Config) error {
		return storetest.Raw(t, store.Config{DataDir: t.TempDir() + "/nowhere"}).Ping()
	}, ledger.KindUnavailable, false},
}

var faultsOfPostgres = []fault{
	{"a lock that is not had in time", func(t *testing.T, c store.Config) error {
		one, other := session(t, c), session(t, c)
		mustExec(t, one, "BEGIN")
		mustExec(t, one, "SELECT * FROM sites FOR UPDATE")
		mustExec(t, other, "SET lock_timeout = '10ms'")
		_, err := other.ExecContext(context.Background(), "UPDATE sites SET name = 'other'")
		return err
	}, ledger.KindConflict, true},
	{"no serial order", func(t *testing.T, c store.Config) error {
		one, other := session(t, c), session(t, c)
		mustExec(t, one, "BEGIN ISOLATION LEVEL REPEATABLE READ")
		var n int
		count(t, one, "sites", &n)
		mustExec(t, other, "UPDATE sites SET name = 'other'")
		_, err := one.ExecContext(context.Background(), "UPDATE sites SET name = 'mine'")
		return err
	}, ledger.KindConflict, true},
	{"a deadlock", deadlock, ledger.KindConflict, true},
	{"a standby", func(t *testing.T, c store.Config) error {
		db := storetest.Raw(t, c)
		mustExec(t, db, "SET default_transaction_read_only = on")
		_, err := db.Exec("UPDATE sites SET name = 'mine'")
		return err
	}, ledger.KindUnavailable, false},
	{"a server that is shut down", func(t *testing.T, c store.Config) error {
		one, other := session(t, c), session(t, c)
		ctx := context.Background()
		var pid int
		if err := one.QueryRowContext(ctx, "SELECT pg_backend_pid()").Scan(&pid); err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() {
			_, err := one.ExecContext(ctx, "SELECT pg_sleep(30)")
			ended <- err
		}()
		time.Sleep(50 * time.Millisecond)
		mustExec(t, other, fmt.Sprintf("SELECT pg_terminate_backend(%d)", pid))
		return <-ended
	}, ledger.KindUnavailable, false},
	{"a statement that takes too long", func(t *testing.T, c store.Config) error {
		one := session(t, c)
		mustExec(t, one, "SET statement_timeout = '10ms'")
		_, err := one.ExecContext(context.Background(), "SELECT pg_sleep(30)")
		return err
	}, ledger.KindUnavailable, false},
	{"a transaction that idles", func(t *testing.T, c store.Config) error {
		one := session(t, c)
		mustExec(t, one, "SET idle_in_transaction_session_timeout = '10ms'")
		mustExec(t, one, "BEGIN")
		time.Sleep(200 * time.Millisecond)
		_, err := one.ExecContext(context.Background(), "SELECT 1")
		return err
	}, ledger.KindUnavailable, false},
	{"no server", func(t *testing.T, _ store.Config) error {
		return storetest.Raw(t, store.Config{DSN: "postgres://jl@127.0.0.1:1/none?sslmode=disable"}).Ping()
	}, ledger.KindUnavailable, false},
	{"no such database", func(t *testing.T, c store.Config) error {
		return storetest.Raw(t, store.Config{DSN: strings.Replace(c.DSN, "/test_", "/nothing_", 1)}).Ping()
	}, ledger.KindUnavailable, false},
}

// deadlock has two transactions take two rows in opposite order; one of them is
// refused.
func deadlock(t *testing.T, c store.Config) error {
	one, other := session(t, c), session(t, c)
	for _, db := range []*sql.Conn{one, other} {
		mustExec(t, db, "SET deadlock_timeout = '20ms'")
		mustExec(t, db, "BEGIN")
	}
	mustExec(t, one, "UPDATE sites SET name = 'one' WHERE code = 'RVB'")
	mustExec(t, other, "UPDATE sites SET name = 'other' WHERE code = 'KVR'")
	ended := make(chan error, 2)
	go func() {
		_, err := one.ExecContext(context.Background(), "UPDATE sites SET name = 'one' WHERE code = 'KVR'")
		ended <- err
	}()
	go func() {
		_, err := other.ExecContext(context.Background(), "UPDATE sites SET name = 'other' WHERE code = 'RVB'")
		ended <- err
	}()
	if err := <-ended; err != nil {
		return err
	}
	return <-ended
}

// testFaultsAreTold makes each fault with the database itself and looks at what
// the store would say of it.
func testFaultsAreTold(t *testing.T, e storetest.Engine) {
	own := faultsOfSQLite
	if e.Name == "postgres" {
		own = faultsOfPostgres
	}
	for _, f := range append(append([]fault{}, faultsOfBoth...), own...) {
		t.Run(f.what, func(t *testing.T) {
			t.Parallel()
			c := e.NewConfig(t)
			s := storetest.OpenFleet(t, c)
			raw := f.make(t, c)
			if raw == nil {
				t.Fatal("the database did not refuse")
			}
			told := ledgerError(t, s.Fault(raw))
			if told.Kind != f.kind || store.MayBeRunAgain(raw) != f.again {
				t.Errorf("%v: kind %d, worth another try %t; expected kind %d, %t", raw, told.Kind, store.MayBeRunAgain(raw), f.kind, f.again)
			}
			if !errors.Is(told, raw) {
				t.Error("the cause is lost to the log")
			}
			if strings.Contains(told.Error(), raw.Error()) || strings.Contains(told.Error(), "sites") {
				t.Errorf("%q shows the driver's text to the caller", told)
			}
		})
	}
	s := storetest.Open(t, e.NewConfig(t))
	mine := ledger.NotFound("lot", "lots/X", "")
	for _, err := range []error{nil, context.Canceled, fmt.Errorf("reading: %w", context.DeadlineExceeded), mine} {
		if got := s.Fault(err); !errors.Is(got, err) || err == nil && got != nil {
			t.Errorf("%v became %v; expected it to pass as it is", err, got)
		}
	}
	odd := wantError(t, s.Fault(errors.New("secret of the house")), ledger.KindInternal, ledger.ReasonInternal)
	if odd.Error() != "internal error" {
		t.Errorf("%q; expected nothing but internal error", odd)
	}
}
