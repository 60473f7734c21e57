package storetest

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"go.uber.org/goleak"

	"jointledger/internal/store"
)

// Engine is a database that the store runs on. What holds for the store holds on
// every one of them; there is no list of exceptions.
type Engine struct {
	Name string
	// NewConfig gives a database of its own, migrated and empty, that is gone when
	// the test ends. A missing PostgreSQL fails the test.
	NewConfig func(testing.TB) store.Config
}

// Engines are the engines of the store. PostgreSQL starts when the first
// database of it is asked for.
func Engines(testing.TB) []Engine { return []Engine{SQLite(), Postgres()} }

// SQLite is the embedded engine.
func SQLite() Engine { return Engine{Name: "sqlite", NewConfig: sqliteConfig} }

// Postgres is the engine for several servers: one throw-away cluster for the
// process. A package that uses it calls Main from its TestMain.
func Postgres() Engine { return Engine{Name: "postgres", NewConfig: postgresConfig} }

// Each runs a test on every engine, in parallel.
func Each(t *testing.T, test func(*testing.T, Engine)) {
	t.Helper()
	for _, e := range Engines(t) {
		t.Run(e.Name, func(t *testing.T) {
			t.Parallel()
			test(t, e)
		})
	}
}

// Main runs the tests of a package and then ends what they shared. Goroutines that
// are left over then fail the package: whoever closes a store waits for all of it.
func Main(m *testing.M) {
	code := m.Run()
	cluster.stop()
	if code == 0 {
		if err := goleak.Find(); err != nil {
			fmt.Fprintf(os.Stderr, "the tests passed and left goroutines: %v\n", err)
			code = 1
		}
	}
	os.Exit(code)
}

func sqliteConfig(tb testing.TB) store.Config {
	tb.Helper()
	made, err := template.file()
	if err != nil {
		tb.Fatalf("making a migrated SQLite database: %v", err)
	}
	dir := tb.TempDir()
	if err := os.WriteFile(filepath.Join(dir, DatabaseFile), made, 0o600); err != nil {
		tb.Fatal(err)
	}
	return store.Config{DataDir: dir, Logger: Logger(tb)}
}

func postgresConfig(tb testing.TB) store.Config {
	tb.Helper()
	return store.Config{DSN: cluster.database(tb, templateDatabase), Logger: Logger(tb)}
}
