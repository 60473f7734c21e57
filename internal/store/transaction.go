package store

import (
	"context"
	"database/sql"
	"errors"
)

// transaction is what the statements of a transaction run in: *sql.Tx, or the one that
// the embedded database's writer has.
type transaction interface {
	ExecContext(context.Context, string, ...any) (sql.Result, error)
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
	QueryRowContext(context.Context, string, ...any) *sql.Row
	// StmtContext gives a prepared statement as it runs in this transaction.
	StmtContext(context.Context, *sql.Stmt) *sql.Stmt
	Commit() error
	// Rollback does nothing once it has ended.
	Rollback() error
}

// preparer prepares statements for the transactions of a line.
type preparer interface {
	PrepareContext(context.Context, string) (*sql.Stmt, error)
}

// line is what a writer sends its transactions over. begin gives the connection that the
// transaction is on, for as long as it lasts; release is called after it.
type line interface {
	preparer
	begin(context.Context) (t transaction, conn *sql.Conn, release func(), err error)
	close() error
}

// pooledLine takes a connection of a pool for each transaction: one that was lost is
// replaced by the pool.
type pooledLine struct{ *sql.DB }

func (l pooledLine) begin(ctx context.Context) (transaction, *sql.Conn, func(), error) {
	conn, err := l.Conn(ctx)
	if err != nil {
		return nil, nil, nil, err
	}
	release := func() { conn.Close() } //nolint:errcheck // it goes back to the pool, which finds out whether it is sound
	t, err := conn.BeginTx(ctx, nil)
	if err != nil {
		release()
		return nil, nil, nil, err
	}
	return t, conn, release, nil
}

func (pooledLine) close() error { return nil }

// ownLine keeps the one connection that writes the embedded database, with statements that
// are prepared on it, and begins and ends transactions by statements too. Through sql.Tx each
// statement is looked up anew on the connection, and a goroutine waits for the end of each
// query: half of what a read by key takes.
type ownLine struct {
	*sql.Conn
	beginning, committing, undoing *sql.Stmt
	// closed is a statement that is closed: what runs it is told so.
	closed *sql.Stmt
}

func newOwnLine(ctx context.Context, db *sql.DB) (line, error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return nil, err
	}
	l := &ownLine{Conn: conn}
	for _, one := range []struct {
		stmt **sql.Stmt
		text string
	}{{&l.beginning, "BEGIN IMMEDIATE"}, {&l.committing, "COMMIT"}, {&l.undoing, "ROLLBACK"}, {&l.closed, "SELECT 1"}} {
		if *one.stmt, err = conn.PrepareContext(ctx, one.text); err != nil { //nolint:sqlclosecheck // they end with the connection
			conn.Close() //nolint:errcheck // the first error counts
			return nil, err
		}
	}
	if err := l.closed.Close(); err != nil {
		conn.Close() //nolint:errcheck // the first error counts
		return nil, err
	}
	return l, nil
}

func (l *ownLine) begin(ctx context.Context) (transaction, *sql.Conn, func(), error) {
	_, err := l.beginning.ExecContext(ctx)
	if err != nil && !conflict(err) {
		// One that could not be undone when it should have been would stand in the way for
		// ever; there is one if it can be undone now.
		if _, undone := l.undoing.ExecContext(ctx); undone == nil {
			_, err = l.beginning.ExecContext(ctx)
		}
	}
	if err != nil {
		return nil, nil, nil, err
	}
	return &ownTransaction{ownLine: l}, l.Conn, func() {}, nil
}

// close would wait for rows that were left open. None are: each query of the store closes
// its own (tx.query, and ent).
func (l *ownLine) close() error {
	if err := l.Close(); !errors.Is(err, sql.ErrConnDone) { // closed before
		return err
	}
	return nil
}

// ownTransaction is a transaction of an ownLine. Once it has ended nothing runs in it, as in
// a sql.Tx: it would run in the next one, or in none.
type ownTransaction struct {
	*ownLine
	ended bool
}

func (t *ownTransaction) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	if t.ended {
		return nil, sql.ErrTxDone
	}
	return t.ownLine.ExecContext(ctx, query, args...)
}

func (t *ownTransaction) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	if t.ended {
		return nil, sql.ErrTxDone
	}
	return t.ownLine.QueryContext(ctx, query, args...)
}

func (t *ownTransaction) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	if t.ended {
		return t.closed.QueryRowContext(ctx)
	}
	return t.ownLine.QueryRowContext(ctx, query, args...)
}

// StmtContext gives the statement itself: it is of this connection.
func (t *ownTransaction) StmtContext(_ context.Context, stmt *sql.Stmt) *sql.Stmt {
	if t.ended {
		return t.closed
	}
	return stmt
}

// Commit makes it durable. A caller who has gone does not undo what others wait for: there
// is no context.
func (t *ownTransaction) Commit() error {
	if t.ended {
		return sql.ErrTxDone
	}
	_, err := t.committing.ExecContext(context.Background())
	t.ended = err == nil
	return err
}

// Rollback undoes it. SQLite has undone some by itself already, as when the disk was full:
// then there is nothing to undo, which it says by an error.
func (t *ownTransaction) Rollback() error {
	if t.ended {
		return nil
	}
	t.ended = true
	_, err := t.undoing.ExecContext(context.Background())
	return err
}
