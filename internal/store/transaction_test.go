package store

import (
	"database/sql"
	"errors"
	"testing"
)

// A transaction of the embedded database that could not be undone does not keep those that
// follow from beginning; and in one that has ended nothing runs.
func TestTransactionsOfTheOwnLineEnd(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	s, err := Open(ctx, Config{DataDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	s.writer.stop() // the line is ours
	left, _, _, err := s.line.begin(ctx)
	if err != nil {
		t.Fatal(err)
	}
	const change = "UPDATE register_epoch SET epoch = epoch + 1000"
	if _, err := left.ExecContext(ctx, change); err != nil {
		t.Fatal(err)
	}
	before := epochOf(t, s)
	next, _, release, err := s.line.begin(ctx)
	if err != nil {
		t.Fatalf("a transaction that was left open stands in the way: %v", err)
	}
	defer release()
	stmt, err := s.line.PrepareContext(ctx, change)
	if err != nil {
		t.Fatal(err)
	}
	defer stmt.Close()
	here := next.StmtContext(ctx, stmt)
	defer here.Close()
	if _, err := here.ExecContext(ctx); err != nil {
		t.Fatal(err)
	}
	if err := next.Commit(); err != nil {
		t.Fatal(err)
	}
	if got := epochOf(t, s); got != before+1000 {
		t.Errorf("the epoch is %d; expected %d with the second transaction and without the first", got, before+1000)
	}
	if err := next.Rollback(); err != nil {
		t.Errorf("after a commit a rollback is to do nothing, and says %v", err)
	}
	var one int
	_, exec := next.ExecContext(ctx, change)
	query := ask(t, next)
	afterwards := next.StmtContext(ctx, stmt)
	defer afterwards.Close()
	_, prepared := afterwards.ExecContext(ctx)
	for what, err := range map[string]error{
		"a statement": exec, "a query": query, "a query of a row": next.QueryRowContext(ctx, "SELECT 1").Scan(&one),
		"a prepared statement": prepared, "a second commit": next.Commit(),
	} {
		if err == nil {
			t.Errorf("%s runs in a transaction that has ended", what)
		}
	}
	if !errors.Is(exec, sql.ErrTxDone) || !errors.Is(query, sql.ErrTxDone) {
		t.Errorf("it says %v and %v; expected %v", exec, query, sql.ErrTxDone)
	}
	if got := epochOf(t, s); got != before+1000 {
		t.Errorf("the epoch is %d after the end, %d before", got, before+1000)
	}
}

func ask(t *testing.T, of transaction) error {
	t.Helper()
	rows, err := of.QueryContext(t.Context(), "SELECT 1")
	if err != nil {
		return err
	}
	defer rows.Close()
	return rows.Err()
}

func epochOf(t *testing.T, s *Store) (epoch int64) {
	t.Helper()
	if err := s.read.QueryRowContext(t.Context(), "SELECT epoch FROM register_epoch WHERE id = 1").Scan(&epoch); err != nil {
		t.Fatal(err)
	}
	return epoch
}
