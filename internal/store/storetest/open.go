package storetest

import (
	"context"
	"database/sql"
	"log/slog"
	"net/url"
	"path/filepath"
	"testing"

	_ "modernc.org/sqlite" // the driver "sqlite"

	"jointledger/internal/store"
)

// Open opens the store and closes it when the test ends.
func Open(tb testing.TB, c store.Config) *store.Store {
	tb.Helper()
	s, err := store.Open(context.Background(), c)
	if err != nil {
		tb.Fatalf("opening the store: %v", err)
	}
	tb.Cleanup(func() {
		if err := s.Close(); err != nil {
			tb.Errorf("closing the store: %v", err)
		}
	})
	return s
}

// Empty gives the configuration of a database of the engine that was never
// migrated.
func (e Engine) Empty(tb testing.TB) store.Config {
	tb.Helper()
	if e.Name == Postgres().Name {
		return store.Config{DSN: cluster.database(tb, emptyDatabase), Logger: Logger(tb)}
	}
	return store.Config{DataDir: tb.TempDir(), Logger: Logger(tb)}
}

// Raw opens the database behind the store's back, on one connection, to look or
// to tamper. SQLite checks no references on it. It is closed when the test ends.
func Raw(tb testing.TB, c store.Config) *sql.DB {
	tb.Helper()
	driver, dsn := "pgx", c.DSN
	if dsn == "" {
		path := url.URL{Path: filepath.Join(c.DataDir, DatabaseFile)}
		driver, dsn = "sqlite", "file:"+path.EscapedPath()+"?_pragma=busy_timeout(15000)"
	}
	db, err := sql.Open(driver, dsn)
	if err != nil {
		tb.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	tb.Cleanup(func() { _ = db.Close() })
	return db
}

// Logger writes to the test's log.
func Logger(tb testing.TB) *slog.Logger {
	return slog.New(slog.NewTextHandler(logWriter{tb}, &slog.HandlerOptions{Level: slog.LevelWarn}))
}

type logWriter struct{ tb testing.TB }

func (w logWriter) Write(p []byte) (int, error) {
	w.tb.Logf("%s", p)
	return len(p), nil
}
