package store

import (
	"context"
	"database/sql"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// pipeline holds back statements that write, and whose results nobody asks for, until
// they are sent to PostgreSQL together: one after the other each is a round trip, and a
// commit takes half a dozen of them. The embedded database has none to save: there is
// no pipeline, and statements run at once.
type pipeline struct {
	conn *sql.Conn // the transaction's
	held *pgx.Batch
}

// pipelined runs f, whose writes by put may be held back; when it returns nil they were
// run.
func (t *tx) pipelined(ctx context.Context, f func() error) error {
	if t.pipe == nil {
		return f()
	}
	t.pipe.held = &pgx.Batch{}
	err := f()
	if err == nil {
		err = t.flush(ctx)
	}
	t.pipe.held = nil
	return err
}

// put runs a statement, or holds it back. Whoever reads what it writes by t.query or
// t.exec sees it; others call flush before.
func (t *tx) put(ctx context.Context, w writeStatement, args []any) error {
	if t.pipe != nil && t.pipe.held != nil {
		t.pipe.held.Queue(w.query, args...)
		return nil
	}
	_, err := t.sql.StmtContext(ctx, w.stmt).ExecContext(ctx, args...)
	return err
}

// flush runs what was held back.
func (t *tx) flush(ctx context.Context) error {
	if t.pipe == nil || t.pipe.held == nil || t.pipe.held.Len() == 0 {
		return nil
	}
	batch := t.pipe.held
	t.pipe.held = &pgx.Batch{}
	return t.pipe.conn.Raw(func(driver any) (err error) {
		results := driver.(*stdlib.Conn).Conn().SendBatch(ctx, batch)
		for range batch.Len() {
			if _, err = results.Exec(); err != nil {
				break
			}
		}
		if closed := results.Close(); err == nil {
			err = closed
		}
		return err
	})
}
