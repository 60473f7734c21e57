package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
)

// movedTable is one table to move. What there is, is read from both databases, so
// that no table and no column can be forgotten.
type movedTable struct {
	name    string
	columns []movedColumn
	// key are the columns of the primary key.
	key []string
	// refers are the tables that its foreign keys lead to.
	refers []string
}

type movedColumn struct {
	name  string
	class valueClass
}

// queryer is a database or a transaction.
type queryer interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}

// eachRow calls row for each row of a query.
func eachRow(ctx context.Context, q queryer, row func(*sql.Rows) error, query string, args ...any) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// quoted is a name in SQL of both engines.
func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }

// migratorTable keeps the schema's version; each database has its own.
const migratorTable = "schema_migrations"

const inSchema = "(SELECT oid FROM pg_namespace WHERE nspname = current_schema())"

// tablesToMove reads the tables of both databases, makes sure that they are the same,
// and gives them so that each comes after those that it refers to.
func tablesToMove(ctx context.Context, source, target queryer) ([]movedTable, error) {
	tables, err := targetTables(ctx, target)
	if err != nil {
		return nil, err
	}
	here, err := sourceColumns(ctx, source)
	if err != nil {
		return nil, err
	}
	there := map[string][]string{}
	for _, t := range tables {
		for _, c := range t.columns {
			there[t.name] = append(there[t.name], c.name)
		}
	}
	var problems []string
	for name, columns := range here {
		if problem := unlikeColumns(columns, there[name]); problem != "" {
			problems = append(problems, name+": "+problem)
		}
	}
	for name := range there {
		if here[name] == nil {
			problems = append(problems, name+": is in PostgreSQL alone")
		}
	}
	if len(problems) > 0 {
		slices.Sort(problems)
		return nil, different("the two databases have not the same tables; nothing was moved", problems)
	}
	return inOrder(tables)
}

func unlikeColumns(here, there []string) string {
	if there == nil {
		return "is in the embedded database alone"
	}
	here, there = slices.Sorted(slices.Values(here)), slices.Sorted(slices.Values(there))
	if slices.Equal(here, there) {
		return ""
	}
	return fmt.Sprintf("has the columns %s in the embedded database and %s in PostgreSQL", strings.Join(here, ", "), strings.Join(there, ", "))
}

func sourceColumns(ctx context.Context, q queryer) (map[string][]string, error) {
	columns := map[string][]string{}
	err := eachRow(ctx, q, func(rows *sql.Rows) error {
		var table, column string
		err := rows.Scan(&table, &column)
		columns[table] = append(columns[table], column)
		return err
	}, `SELECT m.name, c.name FROM sqlite_master m, pragma_table_info(m.name) c
WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite\_%' ESCAPE '\' AND m.name <> ? ORDER BY m.name, c.cid`, migratorTable)
	return columns, err
}

func targetTables(ctx context.Context, q queryer) ([]movedTable, error) {
	var tables []movedTable
	byName := map[string]int{}
	err := eachRow(ctx, q, func(rows *sql.Rows) error {
		var table, column, kind string
		if err := rows.Scan(&table, &column, &kind); err != nil {
			return err
		}
		class, ok := valueClasses[kind]
		if !ok {
			return different(fmt.Sprintf("column %s of %s is of type %s, which a move does not know", column, table, kind), nil)
		}
		at, known := byName[table]
		if !known {
			at = len(tables)
			byName[table] = at
			tables = append(tables, movedTable{name: table})
		}
		tables[at].columns = append(tables[at].columns, movedColumn{column, class})
		return nil
	}, `SELECT c.relname, a.attname, format_type(a.atttypid, NULL) FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
WHERE c.relkind IN ('r', 'p') AND NOT c.relispartition AND c.relnamespace = `+inSchema+` AND c.relname <> $1 AND a.attnum > 0 AND NOT a.attisdropped
ORDER BY c.relname, a.attnum`, migratorTable)
	if err != nil {
		return nil, err
	}
	err = eachRow(ctx, q, func(rows *sql.Rows) error {
		var table, column string
		err := rows.Scan(&table, &column)
		if at, known := byName[table]; known {
			tables[at].key = append(tables[at].key, column)
		}
		return err
	}, `SELECT c.relname, a.attname FROM pg_index i JOIN pg_class c ON c.oid = i.indrelid
CROSS JOIN LATERAL unnest(i.indkey::int2[]) WITH ORDINALITY k(attnum, place) JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = k.attnum
WHERE i.indisprimary AND c.relnamespace = `+inSchema+` ORDER BY c.relname, k.place`)
	if err != nil {
		return nil, err
	}
	err = eachRow(ctx, q, func(rows *sql.Rows) error {
		var table, refers string
		err := rows.Scan(&table, &refers)
		if at, known := byName[table]; known && refers != table {
			tables[at].refers = append(tables[at].refers, refers)
		}
		return err
	}, `SELECT DISTINCT c.relname, r.relname FROM pg_constraint f JOIN pg_class c ON c.oid = f.conrelid JOIN pg_class r ON r.oid = f.confrelid
WHERE f.contype = 'f' AND c.relnamespace = `+inSchema+` ORDER BY 1, 2`)
	if err != nil {
		return nil, err
	}
	for _, t := range tables {
		if len(t.key) == 0 {
			return nil, different(fmt.Sprintf("table %s has no primary key, so that its rows have no order", t.name), nil)
		}
	}
	return tables, nil
}

// inOrder gives each table after those that it refers to.
func inOrder(tables []movedTable) ([]movedTable, error) {
	var ordered []movedTable
	placed := map[string]bool{}
	for len(ordered) < len(tables) {
		before := len(ordered)
		for _, t := range tables {
			waits := slices.ContainsFunc(t.refers, func(name string) bool { return !placed[name] })
			if !placed[t.name] && !waits {
				placed[t.name] = true
				ordered = append(ordered, t)
			}
		}
		if len(ordered) == before {
			return nil, different("the foreign keys of the tables lead in a circle, so that none of those left can be filled first", nil)
		}
	}
	return ordered, nil
}
