package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// selected is a query for all rows in the order of the primary key; texts are
// ordered by their bytes, as SQLite does.
func (t movedTable) selected(postgres bool) string {
	names := make([]string, len(t.columns))
	classes := map[string]valueClass{}
	for i, c := range t.columns {
		names[i] = quoted(c.name)
		classes[c.name] = c.class
	}
	order := make([]string, len(t.key))
	for i, k := range t.key {
		order[i] = quoted(k)
		if postgres && classes[k] == textClass {
			order[i] += ` COLLATE "C"`
		}
	}
	return "SELECT " + strings.Join(names, ", ") + " FROM " + quoted(t.name) + " ORDER BY " + strings.Join(order, ", ")
}

// tableReader reads the rows of a table, one at a time, and digests them.
type tableReader struct {
	table   movedTable
	rows    *sql.Rows
	values  []any
	targets []any
	hash    hash.Hash
	count   int64
	err     error
}

func (t movedTable) read(ctx context.Context, q queryer, postgres bool) (*tableReader, error) {
	rows, err := q.QueryContext(ctx, t.selected(postgres)) //nolint:rowserrcheck // Err gives it on
	if err != nil {
		return nil, err
	}
	r := &tableReader{table: t, rows: rows, values: make([]any, len(t.columns)), targets: make([]any, len(t.columns)), hash: sha256.New()}
	for i := range r.values {
		r.targets[i] = &r.values[i]
	}
	return r, nil
}

// Next reads a row; false at the end or after an error.
func (r *tableReader) Next() bool {
	if r.err != nil || !r.rows.Next() {
		return false
	}
	if r.err = r.rows.Scan(r.targets...); r.err != nil {
		return false
	}
	r.count++
	for i, c := range r.table.columns {
		value, told, err := c.class.read(r.values[i])
		if err != nil {
			r.err = r.refused(c.name, err)
			return false
		}
		r.values[i] = value
		var head [9]byte
		if value != nil {
			head[0] = byte(c.class) + 1
			binary.BigEndian.PutUint64(head[1:], uint64(len(told)))
		}
		r.hash.Write(head[:])
		r.hash.Write(told)
	}
	return true
}

// refused names the value that can't be moved.
func (r *tableReader) refused(column string, err error) error {
	var key []string
	for i, c := range r.table.columns {
		for _, k := range r.table.key {
			if c.name == k {
				key = append(key, fmt.Sprintf("%s %v", k, r.values[i]))
			}
		}
	}
	return different(fmt.Sprintf("column %s of %s, row %s: %v; nothing was moved", column, r.table.name, strings.Join(key, ", "), err), nil)
}

// Values are those of the row that was read.
func (r *tableReader) Values() ([]any, error) { return r.values, r.err }

// Err is what ended the reading, if not the end.
func (r *tableReader) Err() error {
	if r.err != nil {
		return r.err
	}
	return r.rows.Err()
}

func (r *tableReader) result() MovedTable {
	return MovedTable{Name: r.table.name, Rows: r.count, SHA256: hex.EncodeToString(r.hash.Sum(nil))}
}

// digest reads a table from end to end.
func (t movedTable) digest(ctx context.Context, q queryer, postgres bool) (MovedTable, error) {
	r, err := t.read(ctx, q, postgres)
	if err != nil {
		return MovedTable{}, err
	}
	defer r.rows.Close()
	for r.Next() {
	}
	return r.result(), r.Err()
}

// copy sends a table to the connection by COPY, row by row as it is read, within the
// transaction that is open on it.
func (t movedTable) copy(ctx context.Context, source queryer, target *sql.Conn) (MovedTable, error) {
	r, err := t.read(ctx, source, false)
	if err != nil {
		return MovedTable{}, err
	}
	defer r.rows.Close()
	columns := make([]string, len(t.columns))
	for i, c := range t.columns {
		columns[i] = c.name
	}
	err = target.Raw(func(c any) error {
		sent, err := c.(*stdlib.Conn).Conn().CopyFrom(ctx, pgx.Identifier{t.name}, columns, r)
		if err == nil && sent != r.count {
			err = different(fmt.Sprintf("%d rows of %s were sent and PostgreSQL took %d; nothing was moved", r.count, t.name, sent), nil)
		}
		return err
	})
	switch told, refused := refusedRow(err); {
	case r.Err() != nil:
		err = r.Err() // PostgreSQL says only that the copy was ended
	case refused:
		err = different(fmt.Sprintf("PostgreSQL refuses a row of %s; nothing was moved", t.name), []string{told})
	}
	return r.result(), err
}
