package store

import (
	"context"
	"database/sql"
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
	if stmt := t.statements.met(query); stmt != nil {
		return t.sql.StmtContext(ctx, stmt).QueryContext(ctx, args...)
	}
	return t.sql.QueryContext(ctx, query, args...)
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
func (s *statements) prepare(ctx context.Context, db *sql.DB) {
	if s.byText == nil {
		s.byText = map[string]*sql.Stmt{}
	}
	for _, query := range s.wanted {
		if s.byText[query] != nil {
			continue
		}
		if stmt, err := db.PrepareContext(ctx, query); err == nil {
			s.byText[query] = stmt
		}
	}
	s.wanted = s.wanted[:0]
}
