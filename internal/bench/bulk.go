package main

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"

	"jointledger/internal/ledger"
)

// bulkRows is how many rows of a table go in together.
const bulkRows = 500

// bulk gathers rows and writes them many at a time, on one connection and in its
// transaction: SQLite by a prepared statement of many rows, PostgreSQL by COPY, which
// are the fastest that either driver has.
type bulk struct {
	ctx      context.Context
	conn     *sql.Conn
	engine   string
	order    []string
	rows     map[string][]any
	width    map[string]int
	prepared map[string]*sql.Stmt
	err      error
}

// newBulk begins a transaction on a connection of its own.
func newBulk(ctx context.Context, engine string, db *sql.DB) (*bulk, error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return nil, err
	}
	b := &bulk{ctx: ctx, conn: conn, engine: engine, rows: map[string][]any{}, width: map[string]int{}, prepared: map[string]*sql.Stmt{}}
	b.exec("BEGIN")
	return b, b.err
}

// close gives the connection back; what was not committed is gone.
func (b *bulk) close() {
	for _, s := range b.prepared {
		s.Close()
	}
	b.conn.ExecContext(b.ctx, "ROLLBACK") // after a commit there is nothing to roll back
	b.conn.Close()
}

// exec runs a statement unless something has failed before.
func (b *bulk) exec(statement string, args ...any) {
	if b.err == nil {
		_, b.err = b.conn.ExecContext(b.ctx, statement, args...)
	}
}

// commit writes what is left and commits.
func (b *bulk) commit() error {
	for _, table := range b.order {
		b.flush(table)
	}
	b.exec("COMMIT")
	return b.err
}

// record gathers a record of a tool at the first site.
func (b *bulk) record(id int64, kind ledger.RecordKind, tool int, at, now int64) {
	uid := uuid.Must(uuid.NewV7())
	b.add("records (id, uid, kind, site_id, tool_id, occur_time, offset_minutes, local_day, receive_time, device, note, offline, link)",
		id, uid[:], uint8(kind), 1, tool, at, 0, int(at/86_400_000_000), now, "bench", "", 0, make([]byte, 32))
}

// add gathers a row of a table, which is written with its columns.
func (b *bulk) add(table string, values ...any) {
	if _, seen := b.width[table]; !seen {
		b.order = append(b.order, table)
	}
	b.width[table] = len(values)
	b.rows[table] = append(b.rows[table], values...)
	if len(b.rows[table]) >= bulkRows*len(values) {
		// Those that came into the list first are what the others refer to.
		for _, earlier := range b.order[:slices.Index(b.order, table)+1] {
			b.flush(earlier)
		}
	}
}

func (b *bulk) flush(table string) {
	values, width := b.rows[table], b.width[table]
	if b.err != nil || len(values) == 0 {
		return
	}
	if b.engine == "postgres" {
		b.err = b.conn.Raw(func(driver any) error { return copyRows(b.ctx, driver.(*stdlib.Conn).Conn(), table, values, width) })
	} else {
		b.err = b.insert(table, values, width)
	}
	if b.err != nil {
		b.err = fmt.Errorf("%s: %w", table, b.err)
	}
	b.rows[table] = values[:0]
}

func (b *bulk) insert(table string, values []any, width int) error {
	full := len(values) == bulkRows*width
	if s := b.prepared[table]; full && s != nil {
		_, err := s.ExecContext(b.ctx, values...)
		return err
	}
	statement := "INSERT INTO " + table + " VALUES " + manyMarks(len(values)/width, width)
	if !full {
		_, err := b.conn.ExecContext(b.ctx, statement, values...)
		return err
	}
	s, err := b.conn.PrepareContext(b.ctx, statement)
	if err != nil {
		return err
	}
	b.prepared[table] = s
	_, err = s.ExecContext(b.ctx, values...)
	return err
}

// manyMarks are the marks of so many rows.
func manyMarks(rows, width int) string {
	group := "(" + strings.TrimSuffix(strings.Repeat("?,", width), ",") + ")"
	return strings.TrimSuffix(strings.Repeat(group+",", rows), ",")
}

// copyRows copies rows into a table that is written as "name (column, column)".
func copyRows(ctx context.Context, conn *pgx.Conn, table string, values []any, width int) error {
	name, columns, _ := strings.Cut(strings.TrimSuffix(table, ")"), " (")
	_, err := conn.CopyFrom(ctx, pgx.Identifier{name}, strings.Split(columns, ", "), pgx.CopyFromSlice(len(values)/width, func(i int) ([]any, error) {
		return values[i*width : (i+1)*width], nil
	}))
	return err
}
