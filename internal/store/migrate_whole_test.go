package store_test

import (
	"strings"
	"testing"
	"testing/fstest"

	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// TestAMigrationIsWhole runs migrations of which the second fails in its last statement:
// nothing of it stays, the database has the version before, and a sound one goes on.
func TestAMigrationIsWhole(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.Empty(t)
		file := func(text string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(text)} }
		files := fstest.MapFS{
			"m/0001_first.up.sql":  file("CREATE TABLE first (n INTEGER);"),
			"m/0002_second.up.sql": file("CREATE TABLE second (n INTEGER); INSERT INTO second VALUES (1); INSERT INTO nothing VALUES (1);"),
		}
		if err := store.MigrateFiles(c, files, "m"); err == nil {
			t.Fatal("a migration with a statement that fails was no error")
		}
		db := storetest.Raw(t, c)
		if got := strings.Join(lines(t, db, "SELECT version, dirty FROM schema_migrations"), ","); got != "1 | 0" && got != "1 | false" {
			t.Errorf("version and whether it is half-way: %q; expected 1 and not", got)
		}
		if tables := strings.Join(tablesOf(t, e, db), " "); tables != "first schema_migrations" {
			t.Errorf("tables %q; expected nothing of the second migration", tables)
		}
		files["m/0002_second.up.sql"] = file("CREATE TABLE second (n INTEGER); -- no more")
		if err := store.MigrateFiles(c, files, "m"); err != nil {
			t.Fatal(err)
		}
		if got := versionOf(t, db); got != "2" {
			t.Errorf("version %s; expected 2", got)
		}
	})
}
