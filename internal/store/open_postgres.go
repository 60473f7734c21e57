package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	pgxmigrate "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"

	"jointledger/internal/ledger"
	"jointledger/migrations"
)

// connectPostgres gives a pool. A commit is durable before it returns, whatever
// the server's default, unless the connection string says otherwise.
func connectPostgres(c Config, connections int) (*sql.DB, error) {
	config, err := pgx.ParseConfig(c.DSN)
	if err != nil {
		return nil, &ledger.Error{Kind: ledger.KindInvalid, Reason: ledger.ReasonInvalidField,
			Message: "the PostgreSQL connection string can't be read; expected one such as postgres://user@host:5432/database", Cause: err}
	}
	if config.ConnectTimeout == 0 {
		config.ConnectTimeout = 5 * time.Second // else a host that swallows packets holds a caller for minutes
	}
	if _, given := config.RuntimeParams["synchronous_commit"]; !given {
		config.RuntimeParams["synchronous_commit"] = "on"
	}
	if _, given := config.RuntimeParams["application_name"]; !given {
		config.RuntimeParams["application_name"] = "trackerd"
	}
	db := stdlib.OpenDB(*config)
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	db.SetConnMaxIdleTime(5 * time.Minute)
	return db, nil
}

// openPostgres opens a database that has been migrated already: with several
// servers on one database, when to migrate is the operator's decision.
func openPostgres(ctx context.Context, c Config) (write, read, long *sql.DB, err error) {
	db, err := connectPostgres(c, 2)
	if err != nil {
		return nil, nil, nil, err
	}
	st, err := postgresState(ctx, db)
	if err == nil {
		err = st.check()
	}
	if err == nil && st.version < migrations.Latest {
		err = &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: fmt.Sprintf("the database has schema version %d and this program needs %d; run `trackerd migrate up` first", st.version, migrations.Latest)}
	}
	if err != nil {
		db.Close()
		return nil, nil, nil, err
	}
	// Pools of their own, so that nobody who reads keeps the writer waiting.
	if read, err = connectPostgres(c, 12); err != nil {
		db.Close()
		return nil, nil, nil, err
	}
	if long, err = connectPostgres(c, 2); err != nil {
		db.Close()
		read.Close()
		return nil, nil, nil, err
	}
	return db, read, long, nil
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
	db, err := connectPostgres(c, 2)
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
		conn.Close()
	}, nil
}

// migratePostgres brings the database to the newest version, one process at a
// time.
func migratePostgres(ctx context.Context, c Config) (from, to uint, err error) {
	db, err := connectPostgres(c, 2)
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
	own, err := connectPostgres(c, 2)
	if err != nil {
		return st.version, st.version, err
	}
	driver, err := pgxmigrate.WithInstance(own, &pgxmigrate.Config{MultiStatementEnabled: false})
	if err != nil {
		own.Close()
		return st.version, st.version, fmt.Errorf("migration: %w", err)
	}
	if err := migrateUp(driver, migrations.Postgres, "postgres", "postgres"); err != nil {
		return st.version, st.version, fmt.Errorf("migration: %w", err)
	}
	return st.version, migrations.Latest, nil
}
