package store

import "entgo.io/ent/dialect"

// EngineName is the engine that the ledger is kept in: sqlite or postgresql.
func (s *Store) EngineName() string {
	if s.engine.dialect() == dialect.Postgres {
		return "postgresql"
	}
	return "sqlite"
}
