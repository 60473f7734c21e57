package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"

	"github.com/golang-migrate/migrate/v4"
	"github.com/golang-migrate/migrate/v4/database"
	"github.com/golang-migrate/migrate/v4/source/iofs"

	"jointledger/internal/ledger"
	"jointledger/migrations"
)

// schemaState is the version of a database's schema; 0 for an empty database.
type schemaState struct {
	version uint
	dirty   bool
}

// check refuses a schema that this binary must not touch.
func (st schemaState) check() error {
	switch {
	case st.dirty:
		return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: fmt.Sprintf("the database was left half-way by a migration to version %d that failed; restore the backup made before it", st.version)}
	case st.version > migrations.Latest:
		return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: fmt.Sprintf("the database has schema version %d and this program knows only up to %d; use a newer trackerd, nothing was changed", st.version, migrations.Latest)}
	}
	return nil
}

// readSchema reads the version without changing anything.
func readSchema(ctx context.Context, db *sql.DB, e engine) (st schemaState, err error) {
	exists := "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'schema_migrations'"
	if e == (postgresEngine{}) {
		exists = "SELECT count(*) FROM pg_tables WHERE schemaname = current_schema() AND tablename = 'schema_migrations'"
	}
	var n int
	if err := db.QueryRowContext(ctx, exists).Scan(&n); err != nil || n == 0 {
		return st, err
	}
	err = db.QueryRowContext(ctx, "SELECT version, dirty FROM schema_migrations").Scan(&st.version, &st.dirty)
	if errors.Is(err, sql.ErrNoRows) {
		return schemaState{}, nil
	}
	return st, err
}

// migrateUp brings a database to the newest version. The driver is closed.
func migrateUp(driver database.Driver, files fs.FS, folder, name string) error {
	m, err := newMigrator(driver, files, folder, name)
	if err != nil {
		return err
	}
	err = m.Up()
	if errors.Is(err, migrate.ErrNoChange) {
		err = nil
	}
	sourceErr, databaseErr := m.Close()
	return errors.Join(err, sourceErr, databaseErr)
}

func newMigrator(driver database.Driver, files fs.FS, folder, name string) (*migrate.Migrate, error) {
	source, err := iofs.New(files, folder)
	if err != nil {
		return nil, err
	}
	return migrate.NewWithInstance("embedded", source, name, &wholeMigration{Driver: driver})
}

// MigrateUp brings the database to this binary's version: the embedded one
// after a backup. from and to are equal when there was nothing to do.
func MigrateUp(ctx context.Context, c Config) (from, to uint, err error) {
	if c.DSN == "" {
		return migrateSQLite(ctx, c)
	}
	return migratePostgres(ctx, c)
}

// MigrationStatus gives the database's schema version, the newest that this
// binary knows, and whether a failed migration left it half-way. It changes
// nothing.
func MigrationStatus(ctx context.Context, c Config) (current, latest uint, dirty bool, err error) {
	var st schemaState
	if c.DSN == "" {
		st, err = sqliteSchema(ctx, c)
	} else {
		st, err = postgresSchema(ctx, c)
	}
	return st.version, migrations.Latest, st.dirty, err
}
