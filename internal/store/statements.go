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
	if t.statements == nil {
		return t.sql.QueryContext(ctx, query, args...)
	}
	if stmt := t.statements.byText[query]; stmt != nil {
		return t.sql.StmtContext(ctx, stmt).QueryContext(ctx, args...)
	}
	t.statements.want(query)
	return t.sql.QueryContext(ctx, query, args...)
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
