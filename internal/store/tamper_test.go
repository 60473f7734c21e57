package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"testing"

	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// recordTables are the tables that hold what a record says.
var recordTables = []string{
	"records", "tightenings", "incidents", "calibrations", "lot_movements", "sealings", "inspections",
	"custodies", "holds", "dispositions", "sign_offs", "corrections", "tool_checks", "alarms", "findings",
}

// tamperer changes the database behind the store's back, with the guards taken
// away, and puts it right again.
type tamperer struct {
	t      *testing.T
	db     *sql.DB
	engine storetest.Engine
	guards []string // statements that make them again
}

func newTamperer(t *testing.T, e storetest.Engine, c store.Config) *tamperer {
	t.Helper()
	w := &tamperer{t: t, db: storetest.Raw(t, c), engine: e}
	w.dropGuards()
	if w.postgres() {
		w.exec("SET session_replication_role = replica") // no references are checked
	}
	for _, table := range append([]string{"sites", "chains", "tallies"}, recordTables...) {
		w.exec(fmt.Sprintf("CREATE TABLE sound_%s AS SELECT * FROM %s", table, table))
	}
	return w
}

func (w *tamperer) postgres() bool { return w.engine.Name == "postgres" }

func (w *tamperer) exec(query string) int64 {
	w.t.Helper()
	result, err := w.db.ExecContext(context.Background(), query)
	if err != nil {
		w.t.Fatalf("%s: %v", query, err)
	}
	n, err := result.RowsAffected()
	if err != nil {
		w.t.Fatal(err)
	}
	return n
}

// dropGuards takes every trigger away that refuses changes.
func (w *tamperer) dropGuards() {
	w.t.Helper()
	query, drops := "SELECT sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name", "SELECT 'DROP TRIGGER ' || name FROM sqlite_master WHERE type = 'trigger'"
	if w.postgres() {
		const own = " FROM pg_trigger WHERE NOT tgisinternal ORDER BY tgname"
		query, drops = "SELECT pg_get_triggerdef(oid)"+own, "SELECT 'DROP TRIGGER ' || tgname || ' ON ' || tgrelid::regclass"+own
	}
	w.guards = lines(w.t, w.db, query)
	for _, drop := range lines(w.t, w.db, drops) {
		w.exec(drop)
	}
}

// guard makes the triggers again.
func (w *tamperer) guard() {
	w.t.Helper()
	for _, g := range w.guards {
		w.exec(g)
	}
}

// mend puts the tables back as they were.
func (w *tamperer) mend(tables ...string) {
	w.t.Helper()
	for _, table := range tables {
		w.exec("DELETE FROM " + table)
		w.exec(fmt.Sprintf("INSERT INTO %s SELECT * FROM sound_%s", table, table))
	}
}

// columns gives the columns of a table with their types.
func (w *tamperer) columns(table string) map[string]string {
	w.t.Helper()
	query := "SELECT name, type FROM pragma_table_info('" + table + "')"
	if w.postgres() {
		query = "SELECT column_name, data_type FROM information_schema.columns WHERE table_schema = 'public' AND table_name = '" + table + "'"
	}
	rows, err := w.db.Query(query)
	if err != nil {
		w.t.Fatal(err)
	}
	defer rows.Close()
	columns := map[string]string{}
	for rows.Next() {
		var name, kind string
		if err := rows.Scan(&name, &kind); err != nil {
			w.t.Fatal(err)
		}
		columns[name] = strings.ToLower(kind)
	}
	if err := rows.Err(); err != nil || len(columns) == 0 {
		w.t.Fatalf("%d columns of %s, %v", len(columns), table, err)
	}
	return columns
}

// other gives expressions of values that a column of a type does not hold now.
func (w *tamperer) other(column, kind string) []string {
	switch {
	case column == "offline":
		return []string{"1 - offline"} // yes or no
	case slices.Contains([]string{"cause_id", "released_hold_id", "incident_id", "corrected_id", "replacement_id"}, column):
		// Other records; each can be corrected, replace and be released once.
		return []string{fmt.Sprintf("COALESCE(%s + 1, -id)", column)}
	case column == "id", column == "record_id":
		return []string{column + " + 1000"}
	case kind == "json" || kind == "jsonb":
		text := map[bool]string{true: column + "::text", false: column}[w.postgres()]
		suffix := map[bool]string{true: "::jsonb", false: ""}[w.postgres()]
		return []string{"replace(" + text + ", '0', '1')" + suffix, "'[]'" + suffix}
	case kind == "blob":
		return []string{fmt.Sprintf("randomblob(length(%s))", column)}
	case kind == "bytea":
		return []string{fmt.Sprintf("substring(sha256(%s) from 1 for length(%s))", column, column)}
	case kind == "text" || kind == "character varying":
		return []string{column + " || 'x'"}
	case strings.HasPrefix(kind, "bool"):
		return []string{"NOT " + column}
	case strings.HasSuffix(column, "_id"):
		return []string{fmt.Sprintf("COALESCE(%s + 1, 1)", column), fmt.Sprintf("CASE WHEN %s IS NULL THEN 2 END", column)}
	default: // a number
		return []string{fmt.Sprintf("COALESCE(%s + 1, 0)", column)}
	}
}

// isNotNull says whether the column must have a value.
func (w *tamperer) isNotNull(table, column string) bool {
	w.t.Helper()
	query := `SELECT "notnull" = 1 FROM pragma_table_info('` + table + `') WHERE name = '` + column + "'"
	if w.postgres() {
		query = "SELECT is_nullable = 'NO' FROM information_schema.columns WHERE table_schema = 'public' AND table_name = '" + table + "' AND column_name = '" + column + "'"
	}
	var required bool
	if err := w.db.QueryRow(query).Scan(&required); err != nil {
		w.t.Fatal(err)
	}
	return required
}
