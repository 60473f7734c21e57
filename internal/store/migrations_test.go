package store_test

import (
	"bytes"
	"context"
	"database/sql"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"ariga.io/atlas/sql/migrate"
	"ariga.io/atlas/sql/sqltool"
	"entgo.io/ent/dialect"
	entsql "entgo.io/ent/dialect/sql"
	entschema "entgo.io/ent/dialect/sql/schema"
	"github.com/google/go-cmp/cmp"

	entmigrate "jointledger/ent/migrate"
	"jointledger/internal/store/storetest"
	"jointledger/migrations"
)

// TestMigrationVersionsAgree holds both engines to the same versions, from 1
// without a gap, each up and down, and the binary to the newest.
func TestMigrationVersionsAgree(t *testing.T) {
	t.Parallel()
	names := func(files fs.FS, folder string) []string {
		entries, err := fs.ReadDir(files, folder)
		if err != nil {
			t.Fatal(err)
		}
		return mapped(entries, fs.DirEntry.Name)
	}
	sqlite, postgres := names(migrations.SQLite, "sqlite"), names(migrations.Postgres, "postgres")
	if diff := cmp.Diff(sqlite, postgres); diff != "" {
		t.Errorf("files (-sqlite +postgres):\n%s", diff)
	}
	for i := 0; i+1 < len(sqlite); i += 2 {
		down, up := strings.TrimSuffix(sqlite[i], ".down.sql"), strings.TrimSuffix(sqlite[i+1], ".up.sql")
		number, _, _ := strings.Cut(down, "_")
		if n, err := strconv.Atoi(number); down != up || len(number) != 4 || err != nil || n != i/2+1 {
			t.Errorf("%s and %s; expected version %04d, down and up", sqlite[i], sqlite[i+1], i/2+1)
		}
	}
	if len(sqlite) != 2*migrations.Latest {
		t.Errorf("%d files; the newest version that the binary knows is %d", len(sqlite), migrations.Latest)
	}
}

// TestMigrationChecksums holds the files to atlas.sum, so that none that has
// landed is changed by accident; internal/store/newmigration writes it.
func TestMigrationChecksums(t *testing.T) {
	t.Parallel()
	for _, engine := range []string{"sqlite", "postgres"} {
		folder := filepath.Join("..", "..", "migrations", engine)
		dir, err := sqltool.NewGolangMigrateDir(folder)
		if err != nil {
			t.Fatal(err)
		}
		if err := migrate.Validate(dir); err != nil {
			t.Errorf("%s: %v; a migration that has landed is never edited, and a new one is written with go run ./internal/store/newmigration", engine, err)
		}
		changed := t.TempDir()
		if err := os.CopyFS(changed, os.DirFS(folder)); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(changed, "0001_initial.up.sql"), []byte("SELECT 1;"), 0o600); err != nil {
			t.Fatal(err)
		}
		if dir, err = sqltool.NewGolangMigrateDir(changed); err != nil {
			t.Fatal(err)
		}
		if err := migrate.Validate(dir); err == nil {
			t.Errorf("%s: a migration was changed and nobody noticed", engine)
		}
	}
}

// TestMigrationsUpDownUp goes up version by version, down again, and up again.
func TestMigrationsUpDownUp(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.Empty(t)
		db := storetest.Raw(t, c)
		at := make([][]string, migrations.Latest+1)
		migrateTo(t, e, c, 1)
		migrateTo(t, e, c, 0) // leaves the table of versions behind, as every way down does
		at[0] = schemaOf(t, e, db)
		for version := uint(1); version <= migrations.Latest; version++ {
			migrateTo(t, e, c, version)
			at[version] = schemaOf(t, e, db)
			if slices.Equal(at[version], at[version-1]) {
				t.Errorf("version %d changes nothing", version)
			}
		}
		for version := migrations.Latest - 1; version >= 0; version-- {
			migrateTo(t, e, c, uint(version))
			if diff := cmp.Diff(at[version], schemaOf(t, e, db)); diff != "" {
				t.Fatalf("down to version %d (-on the way up +on the way down):\n%s", version, diff)
			}
		}
		migrateTo(t, e, c, migrations.Latest)
		if diff := cmp.Diff(at[migrations.Latest], schemaOf(t, e, db)); diff != "" {
			t.Errorf("up again (-the first time +the second):\n%s", diff)
		}
	})
}

// TestNoDrift compares a database that was migrated with ent's schema. Ent's own
// comparison misses a table that is too many, so the names of the tables are
// compared too.
func TestNoDrift(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		db := storetest.Raw(t, e.NewConfig(t))
		if diff := driftOf(t, e, db); diff != "" {
			t.Errorf("the migrations differ from ent/schema; write the next one with go run ./internal/store/newmigration NAME:\n%s", diff)
		}
		entTables.Lock()
		want := mapped(entmigrate.Tables, func(table *entschema.Table) string { return table.Name })
		entTables.Unlock()
		want = append(want, "schema_migrations")
		slices.Sort(want)
		if diff := cmp.Diff(want, tablesOf(t, e, db)); diff != "" {
			t.Errorf("tables (-ent +migrated):\n%s", diff)
		}
		for _, drift := range []string{"ALTER TABLE sites ADD COLUMN more integer", "DROP INDEX record_joint_id", "CREATE INDEX one_more ON records (device)"} {
			if _, err := db.Exec(drift); err != nil {
				t.Fatal(err)
			}
			if driftOf(t, e, db) == "" {
				t.Errorf("%s goes unnoticed", drift)
			}
		}
	})
}

// entTables guards ent's list of tables, which its comparison with a database
// writes into: two engines compared at once would race.
var entTables sync.Mutex

func driftOf(t *testing.T, e storetest.Engine, db *sql.DB) string {
	t.Helper()
	entTables.Lock()
	defer entTables.Unlock()
	engine := map[string]string{"sqlite": dialect.SQLite, "postgres": dialect.Postgres}[e.Name]
	if e.Name == "sqlite" {
		if _, err := db.Exec("PRAGMA foreign_keys = 1"); err != nil { // ent insists
			t.Fatal(err)
		}
	}
	var changes bytes.Buffer
	err := entmigrate.NewSchema(entsql.OpenDB(engine, db)).WriteTo(context.Background(), &changes, entschema.WithDropColumn(true), entschema.WithDropIndex(true))
	if err != nil {
		t.Fatal(err)
	}
	return changes.String()
}

// changing are the tables whose rows may change; every other holds what was
// recorded, and must be guarded.
var changing = []string{
	"alarm_progress", "alarm_rules", "alarm_states", "batches", "cells", "chains", "joints", "lot_sums", "lots", "people", "register_epoch", "request_keys", "schema_migrations",
	"sites", "specifications", "substitutions", "tallies", "tool_uses", "tools", "towers",
}

// TestEveryRecordTableIsGuarded looks for the guard of each table that holds
// records: a table that a migration makes anew loses its triggers on SQLite.
func TestEveryRecordTableIsGuarded(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		db := storetest.Raw(t, e.NewConfig(t))
		tables := tablesOf(t, e, db)
		for _, table := range changing {
			if !slices.Contains(tables, table) {
				t.Errorf("no table %s", table)
			}
		}
		for _, table := range tables {
			if slices.Contains(changing, table) {
				continue
			}
			want, query := []string{table + "_never_delete", table + "_never_update"}, "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = '"+table+"' ORDER BY name"
			if e.Name == "postgres" {
				// BEFORE, for each statement, on delete, update and truncate.
				want = []string{table + "_never_change | 58"}
				query = "SELECT tgname, tgtype FROM pg_trigger WHERE NOT tgisinternal AND tgrelid = '" + table + "'::regclass ORDER BY 1"
			}
			got := lines(t, db, query)
			if !slices.Equal(want, got) {
				t.Errorf("%s is guarded by %q; expected %q", table, got, want)
			}
		}
	})
}
