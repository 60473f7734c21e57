package store_test

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"testing"

	"github.com/golang-migrate/migrate/v4"
	"github.com/golang-migrate/migrate/v4/database"
	pgxmigrate "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	sqlitemigrate "github.com/golang-migrate/migrate/v4/database/sqlite"
	"github.com/golang-migrate/migrate/v4/source/iofs"

	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
	"jointledger/migrations"
)

// migrateTo brings a database to a version, up or down, without the store;
// version 0 is the empty database.
func migrateTo(t *testing.T, e storetest.Engine, c store.Config, version uint) {
	t.Helper()
	var files fs.FS = migrations.SQLite
	var driver database.Driver
	db, err := sql.Open(map[bool]string{true: "pgx", false: "sqlite"}[c.DSN != ""], rawDSN(c))
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	if e.Name == "postgres" {
		// The migrator holds one connection and asks for another.
		db.SetMaxOpenConns(2)
		files = migrations.Postgres
		driver, err = pgxmigrate.WithInstance(db, &pgxmigrate.Config{})
	} else {
		driver, err = sqlitemigrate.WithInstance(db, &sqlitemigrate.Config{})
	}
	if err != nil {
		t.Fatal(err)
	}
	source, err := iofs.New(files, e.Name)
	if err != nil {
		t.Fatal(err)
	}
	m, err := migrate.NewWithInstance("embedded", source, e.Name, driver)
	if err != nil {
		t.Fatal(err)
	}
	defer m.Close()
	if version == 0 {
		err = m.Down()
	} else {
		err = m.Migrate(version)
	}
	if err != nil && !errors.Is(err, migrate.ErrNoChange) {
		t.Fatalf("migrating to version %d: %v", version, err)
	}
}

func rawDSN(c store.Config) string {
	if c.DSN != "" {
		return c.DSN
	}
	return "file:" + c.DataDir + "/" + storetest.DatabaseFile + "?_pragma=busy_timeout(15000)"
}

// lines reads a query of text columns, one line a row.
func lines(t *testing.T, db *sql.DB, query string) []string {
	t.Helper()
	rows, err := db.Query(query)
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		t.Fatal(err)
	}
	all := []string{}
	for rows.Next() {
		cells := make([]sql.NullString, len(columns))
		targets := make([]any, len(columns))
		for i := range cells {
			targets[i] = &cells[i]
		}
		if err := rows.Scan(targets...); err != nil {
			t.Fatal(err)
		}
		all = append(all, strings.Join(mapped(cells, func(s sql.NullString) string {
			if !s.Valid {
				return "NULL"
			}
			return s.String
		}), " | "))
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}

// tablesOf lists the tables, without those that the database keeps for itself.
func tablesOf(t *testing.T, e storetest.Engine, db *sql.DB) []string {
	t.Helper()
	if e.Name == "postgres" {
		return lines(t, db, "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY tablename COLLATE \"C\"")
	}
	return lines(t, db, "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name")
}

// schemaOf describes a schema: columns, keys, indexes, references and triggers.
// The order of columns and the text of the statements that made them do not count.
func schemaOf(t *testing.T, e storetest.Engine, db *sql.DB) []string {
	t.Helper()
	if e.Name == "postgres" {
		return slices.Concat(
			lines(t, db, `SELECT table_name, column_name, data_type, is_nullable, column_default, is_identity FROM information_schema.columns WHERE table_schema = 'public' ORDER BY 1, 2`),
			lines(t, db, `SELECT indexdef FROM pg_indexes WHERE schemaname = 'public' ORDER BY 1`),
			lines(t, db, `SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint WHERE connamespace = 'public'::regnamespace ORDER BY 1, 2`),
			lines(t, db, `SELECT tgrelid::regclass::text, pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal ORDER BY 1, 2`),
			lines(t, db, `SELECT proname, prosrc FROM pg_proc WHERE pronamespace = 'public'::regnamespace ORDER BY 1`))
	}
	all := lines(t, db, `SELECT type, name, tbl_name FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY 1, 2`)
	all = append(all, lines(t, db, `SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY 1`)...)
	for _, table := range tablesOf(t, e, db) {
		for _, query := range []string{
			`SELECT '%[1]s', name, type, "notnull", dflt_value, pk FROM pragma_table_info('%[1]s') ORDER BY name`,
			`SELECT '%[1]s', l.name, l."unique", i.seqno, i.name FROM pragma_index_list('%[1]s') l, pragma_index_info(l.name) i ORDER BY l.name, i.seqno`,
			`SELECT '%[1]s', "table", "from", "to", on_update, on_delete FROM pragma_foreign_key_list('%[1]s') ORDER BY "from"`,
		} {
			all = append(all, lines(t, db, fmt.Sprintf(query, table))...)
		}
	}
	return all
}

// versionOf reads the version that a database says it has.
func versionOf(t *testing.T, db *sql.DB) string {
	t.Helper()
	return strings.Join(lines(t, db, "SELECT version FROM schema_migrations"), ",")
}
