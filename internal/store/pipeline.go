package store

import (
	"context"
	"database/sql"
	"fmt"
	"runtime/debug"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// pipeline sends statements to PostgreSQL together: one after the other each is a round
// trip. Those that write, and whose results nobody asks for, are held back until then;
// questions are asked together where none depends on another's answer. The embedded
// database has no round trips to save: there is no pipeline, and statements run at once.
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
	return t.pipe.send(ctx, batch, func(results pgx.BatchResults, _ int) error {
		_, err := results.Exec()
		return err
	})
}

// row is where the values of a question's answer are read from.
type row interface{ Scan(into ...any) error }

// question is a query, with `?` for parameters, and what is done with each row, which asks
// nothing itself: the connection is not free yet.
type question struct {
	query string
	args  []any
	read  func(row) error
}

// ask asks questions in their order, in the writer's transaction on PostgreSQL in one round
// trip. There, where it is READ COMMITTED, each sees what was committed before its own turn
// came: after one that waits for a lock, all that was kept under the lock by others.
func (t *tx) ask(ctx context.Context, questions ...question) error {
	if t.pipe == nil {
		for _, q := range questions {
			if err := t.query(ctx, func(rows *sql.Rows) error { return q.read(rows) }, q.query, q.args...); err != nil {
				return err
			}
		}
		return nil
	}
	if len(questions) == 0 {
		return nil
	}
	if err := t.flush(ctx); err != nil {
		return err
	}
	var batch pgx.Batch
	for _, q := range questions {
		batch.Queue(t.engine.bind(q.query), q.args...)
	}
	return t.pipe.send(ctx, &batch, func(results pgx.BatchResults, i int) error {
		rows, err := results.Query()
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			if err := questions[i].read(rows); err != nil {
				return err
			}
		}
		return rows.Err()
	})
}

// send sends a batch and takes the result of each of its statements, up to the first that
// failed.
func (p *pipeline) send(ctx context.Context, batch *pgx.Batch, take func(results pgx.BatchResults, i int) error) error {
	var panicked any
	err := p.conn.Raw(func(driver any) (err error) {
		results := driver.(*stdlib.Conn).Conn().SendBatch(ctx, batch)
		defer func() {
			if closed := results.Close(); err == nil {
				err = closed
			}
		}()
		// Raw would close a connection from which a panic comes, and wait for its
		// transaction to end, which nobody could end meanwhile.
		defer func() {
			if panicked = recover(); panicked != nil {
				panicked = fmt.Sprintf("%v\n%s", panicked, debug.Stack())
			}
		}()
		for i := range batch.Len() {
			if err := take(results, i); err != nil {
				return err
			}
		}
		return nil
	})
	if panicked != nil {
		panic(panicked)
	}
	return err
}
