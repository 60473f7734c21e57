package store

import (
	"context"
	"database/sql"
	"fmt"

	pgxmigrate "github.com/golang-migrate/migrate/v4/database/pgx/v5"

	"jointledger/internal/ledger"
	"jointledger/migrations"
)

// openPostgres opens a database that has been migrated already: with several
// servers on one database, when to migrate is the operator's decision.
func (s *Store) openPostgres(ctx context.Context, c Config) error {
	db, err := connectPostgres(c, writing(c), s.lineage)
	if err != nil {
		return err
	}
	st, err := postgresState(ctx, db)
	if err == nil {
		err = st.check()
	}
	if err == nil && st.version < migrations.Latest {
		err = &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: fmt.Sprintf("the database has schema version %d and this program needs %d; run `trackerd migrate up` first", st.version, migrations.Latest)}
	}
	s.write = db
	// Pools of their own, so that nobody who reads keeps the writer waiting.
	if err == nil {
		s.read, err = connectPostgres(c, reading(c), s.lineage)
	}
	if err == nil {
		s.long, err = connectPostgres(c, readingLong(), s.lineage)
	}
	if err == nil {
		s.lead.db, err = connectPostgres(c, leading(), s.lineage)
	}
	if err == nil && c.ReadDSN != "" {
		s.standby, err = openStandby(ctx, s, c)
	}
	if err != nil {
		s.closeDatabase() //nolint:errcheck // the first error counts
	}
	return err
}

func postgresState(ctx context.Context, db *sql.DB) (schemaState, error) {
	st, err := readSchema(ctx, db, postgresEngine{})
	if err != nil {
		return st, &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: "the PostgreSQL database can't be reached", Cause: err}
	}
	return st, nil
}

func postgresSchema(ctx context.Context, c Config) (schemaState, error) {
	db, err := connectPostgres(c, migrating(), nil)
	if err != nil {
		return schemaState{}, err
	}
	defer db.Close()
	return postgresState(ctx, db)
}

// migrationLock is the key of the advisory lock under which the schema is read
// and migrated: without it one process would see another's migration half done.
const migrationLock = 0x6a6c_6d69_6772 // "jlmigr"

func migrateAlone(ctx context.Context, db *sql.DB) (unlock func(), err error) {
	conn, err := db.Conn(ctx)
	if err == nil {
		_, err = conn.ExecContext(ctx, "SELECT pg_advisory_lock($1)", int64(migrationLock))
	}
	if err != nil {
		return nil, &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: "the PostgreSQL database can't be reached", Cause: err}
	}
	return func() {
		// Should this fail, the lock ends with the session, when db is closed.
		conn.ExecContext(context.WithoutCancel(ctx), "SELECT pg_advisory_unlock($1)", int64(migrationLock)) //nolint:errcheck // see above
		_ = conn.Close()
	}, nil
}

// migratePostgres brings the database to the newest version, one process at a
// time.
func migratePostgres(ctx context.Context, c Config) (from, to uint, err error) {
	db, err := connectPostgres(c, migrating(), nil)
	if err != nil {
		return 0, 0, err
	}
	defer db.Close()
	unlock, err := migrateAlone(ctx, db)
	if err != nil {
		return 0, 0, err
	}
	defer unlock()
	st, err := postgresState(ctx, db)
	if err != nil {
		return 0, 0, err
	}
	if err := st.check(); err != nil || st.version == migrations.Latest {
		return st.version, st.version, err
	}
	// The migrator closes what it is given: a handle of its own.
	own, err := connectPostgres(c, migrating(), nil)
	if err != nil {
		return st.version, st.version, err
	}
	driver, err := pgxmigrate.WithInstance(own, &pgxmigrate.Config{MultiStatementEnabled: false})
	if err != nil {
		_ = own.Close() // the first error counts
		return st.version, st.version, fmt.Errorf("migration: %w", err)
	}
	if err := migrateUp(driver, migrations.Postgres, "postgres", "postgres"); err != nil {
		return st.version, st.version, fmt.Errorf("migration: %w", err)
	}
	return st.version, migrations.Latest, nil
}
