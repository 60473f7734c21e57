package store

import (
	"context"
	"database/sql"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"regexp"
	"slices"
	"strings"

	"jointledger/migrations"
)

// guard is a trigger that refuses to change a table.
type guard struct {
	table string
	// definition is the statement that makes it, on SQLite; PostgreSQL keeps none.
	definition string
	// works says, on PostgreSQL, that it is switched on, comes before every UPDATE,
	// DELETE and TRUNCATE, and raises an error.
	works bool
}

// guardStatement finds what makes triggers and what takes them away, a table
// with all of its own included.
var guardStatement = regexp.MustCompile("(?m)^CREATE TRIGGER [`\"](\\w+)[`\"] [^`\"]* ON [`\"](\\w+)[`\"][^\n]*|^DROP TRIGGER (?:IF EXISTS )?[`\"]?(\\w+)|^DROP TABLE (?:IF EXISTS )?[`\"]?(\\w+)")

// madeGuards are the triggers that the migrations leave behind, by name.
func madeGuards(files fs.FS, folder string) (map[string]guard, error) {
	guards := map[string]guard{}
	names, err := fs.Glob(files, path.Join(folder, "*.up.sql"))
	if err != nil {
		return nil, err
	}
	for _, name := range names { // in the order of their versions
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, err
		}
		for _, m := range guardStatement.FindAllStringSubmatch(string(text), -1) {
			switch {
			case m[1] != "":
				guards[m[1]] = guard{table: m[2], definition: plainSQL(m[0])}
			case m[3] != "":
				delete(guards, m[3])
			default:
				maps.DeleteFunc(guards, func(_ string, g guard) bool { return g.table == m[4] })
			}
		}
	}
	return guards, nil
}

// plainSQL makes statements comparable that differ in spaces, quotes and the last
// semicolon.
func plainSQL(statement string) string {
	words := strings.Fields(strings.NewReplacer("`", "", `"`, "").Replace(statement))
	return strings.TrimSuffix(strings.Join(words, " "), ";")
}

// foundGuards are the triggers of the database, by name.
func (t *tx) foundGuards(ctx context.Context) (map[string]guard, error) {
	guards := map[string]guard{}
	if t.engine != (postgresEngine{}) {
		err := t.query(ctx, func(rows *sql.Rows) error {
			var name string
			var g guard
			err := rows.Scan(&name, &g.table, &g.definition)
			g.definition = plainSQL(g.definition)
			guards[name] = g
			return err
		}, "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'")
		return guards, err
	}
	// tgtype: 2 is BEFORE, 8 DELETE, 16 UPDATE, 32 TRUNCATE (catalog/pg_trigger.h).
	err := t.query(ctx, func(rows *sql.Rows) error {
		var name string
		var g guard
		err := rows.Scan(&name, &g.table, &g.works)
		guards[name] = g
		return err
	}, `SELECT g.tgname, c.relname, g.tgenabled IN ('O', 'A') AND g.tgtype & 58 = 58 AND g.tgqual IS NULL AND p.prosrc LIKE '%RAISE EXCEPTION%'
FROM pg_trigger g JOIN pg_class c ON c.oid = g.tgrelid JOIN pg_proc p ON p.oid = g.tgfoid
WHERE NOT g.tgisinternal AND c.relnamespace = (SELECT oid FROM pg_namespace WHERE nspname = current_schema())`)
	return guards, err
}

// verifyGuards compares the triggers with those that the migrations make. Others
// besides are no business of this program.
func (t *tx) verifyGuards(ctx context.Context) (problems []string, err error) {
	var files fs.FS = migrations.SQLite
	folder := "sqlite"
	if t.engine == (postgresEngine{}) {
		files, folder = migrations.Postgres, "postgres"
	}
	made, err := madeGuards(files, folder)
	if err != nil {
		return nil, err
	}
	found, err := t.foundGuards(ctx)
	if err != nil {
		return nil, err
	}
	for _, name := range slices.Sorted(maps.Keys(made)) {
		want := made[name]
		got, there := found[name]
		sound := there && got.table == want.table && (got.works || got.definition == want.definition)
		switch {
		case !there:
			problems = append(problems, fmt.Sprintf("trigger %s is missing: %s may have been changed", name, want.table))
		case !sound:
			problems = append(problems, fmt.Sprintf("trigger %s is switched off or another one: %s may have been changed", name, want.table))
		}
	}
	return problems, nil
}
