package store

import (
	"context"
	"database/sql"
	"sync"
)

// mostStatements bounds how many statements are kept prepared.
const mostStatements = 300

// statements are the queries of writing transactions, prepared: to parse them
// anew for each record costs more than to run them. A query that is met for the
// first time is prepared before the next transaction begins, since during one
// the only connection that writes may be taken. Only the writer uses them, which
// is one goroutine.
type statements struct {
	byText map[string]*sql.Stmt
	wanted []string
}

// rows runs a query, by its prepared statement where there is one.
func (t *tx) rows(ctx context.Context, query string, args []any) (*sql.Rows, error) {
	if err := t.flush(ctx); err != nil {
		return nil, err
	}
	stmt := t.statements.met(query)
	if stmt == nil {
		stmt = t.checking.met(query)
	}
	if stmt != nil {
		return t.sql.StmtContext(ctx, stmt).QueryContext(ctx, args...)
	}
	return t.sql.QueryContext(ctx, query, args...)
}

// checkStatements are the queries of transactions that only check records, prepared: an
// import checks half a thousand at once, and their lists of keys are long to parse.
type checkStatements struct {
	mu sync.Mutex
	statements
}

func (s *checkStatements) met(query string) *sql.Stmt {
	if s == nil {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.statements.met(query)
}

// prepare prepares what was wanted; see statements. The lock is not held meanwhile: whoever
// waits for it may have the connection that this waits for.
func (s *checkStatements) prepare(ctx context.Context, db *sql.DB) {
	s.mu.Lock()
	these := statements{wanted: s.wanted}
	s.wanted = nil
	s.mu.Unlock()
	these.prepare(ctx, db)
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.byText == nil {
		s.byText = map[string]*sql.Stmt{}
	}
	for query, stmt := range these.byText {
		if s.byText[query] != nil {
			_ = stmt.Close() // another was sooner
			continue
		}
		s.byText[query] = stmt
	}
}

// met gives the statement of a query that was met before; nil for none yet, or where
// none are kept.
func (s *statements) met(query string) *sql.Stmt {
	if s == nil {
		return nil
	}
	stmt := s.byText[query]
	if stmt == nil {
		s.want(query)
	}
	return stmt
}

func (s *statements) want(query string) {
	if len(s.byText)+len(s.wanted) < mostStatements {
		s.wanted = append(s.wanted, query)
	}
}

// prepare prepares what was wanted. A statement that can't be prepared runs as it
// did before; the transaction that follows will say what is the matter.
func (s *statements) prepare(ctx context.Context, on preparer) {
	if s.byText == nil {
		s.byText = map[string]*sql.Stmt{}
	}
	for _, query := range s.wanted {
		if s.byText[query] != nil {
			continue
		}
		if stmt, err := on.PrepareContext(ctx, query); err == nil {
			s.byText[query] = stmt
		}
	}
	s.wanted = s.wanted[:0]
}
