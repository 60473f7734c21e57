package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/gofrs/flock"
	sqlitemigrate "github.com/golang-migrate/migrate/v4/database/sqlite"
	_ "modernc.org/sqlite" // the driver "sqlite", without cgo

	"jointledger/internal/ledger"
	"jointledger/migrations"
)

const databaseFile = "jointledger.db"

// Names of the files that keep processes apart: migrating holds the first alone;
// serving shares the second, so that nobody migrates under a server's feet.
const (
	migrateLock = "migrate.lock"
	serveLock   = "serve.lock"
)

// sqliteDSN gives the connection string of the database file with pragmas that
// hold for each connection. A commit is on disk before it returns
// (synchronous=FULL).
func sqliteDSN(dir string, cacheKiB int, more ...string) string {
	return sqliteFile(dir, append([]string{
		"journal_mode(WAL)", "synchronous(FULL)", "temp_store(MEMORY)",
		fmt.Sprintf("cache_size(-%d)", cacheKiB), "wal_autocheckpoint(4000)",
	}, more...))
}

// sqliteLook gives the connection string to look at a database that may not be
// this binary's to change: the journal mode stands in the file itself.
func sqliteLook(dir string) string { return sqliteFile(dir, []string{"query_only(1)"}) }

func sqliteFile(dir string, pragmas []string) string {
	q := url.Values{"_txlock": {"immediate"}, "_pragma": append([]string{"busy_timeout(15000)"}, pragmas...)}
	return "file:" + (&url.URL{Path: filepath.Join(dir, databaseFile)}).EscapedPath() + "?" + q.Encode()
}

// openSQLite makes, backs up and migrates the embedded database as needed and
// opens it: one connection that writes, a few that read. serving is the lock
// that is held as long as the store is open.
func openSQLite(ctx context.Context, c Config) (write, read, long *sql.DB, serving *flock.Flock, err error) {
	if _, _, err := migrateSQLite(ctx, c); err != nil {
		return nil, nil, nil, nil, err
	}
	serving = flock.New(filepath.Join(c.DataDir, serveLock))
	if _, err := serving.TryRLockContext(ctx, 20*time.Millisecond); err != nil {
		return nil, nil, nil, nil, folderFault(c.DataDir, err)
	}
	if write, err = sql.Open("sqlite", sqliteDSN(c.DataDir, writerCacheKiB, "foreign_keys(1)")); err != nil {
		return nil, nil, nil, nil, err
	}
	write.SetMaxOpenConns(1)
	write.SetMaxIdleConns(1)
	// A database that can't be written is noticed now, not with the first record. To
	// begin is not enough: of one that may only be read, SQLite takes that for reading.
	first, err := write.BeginTx(ctx, nil)
	if err == nil {
		_, err = first.ExecContext(ctx, "UPDATE schema_migrations SET dirty = dirty")
		err = errors.Join(err, first.Rollback())
	}
	if err != nil {
		return nil, nil, nil, nil, folderFault(c.DataDir, err)
	}
	// What they read lies in the system's cache of files: each needs little of its own.
	for _, pool := range []struct {
		db          **sql.DB
		connections int
	}{{&read, readers}, {&long, longReaders}} {
		if *pool.db, err = sql.Open("sqlite", sqliteDSN(c.DataDir, readerCacheKiB, "foreign_keys(1)", "query_only(1)")); err != nil {
			return nil, nil, nil, nil, err
		}
		(*pool.db).SetMaxOpenConns(pool.connections)
		(*pool.db).SetMaxIdleConns(pool.connections)
	}
	return write, read, long, serving, nil
}

// folderFault says what is the matter with the data folder.
func folderFault(dir string, err error) error {
	return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
		Message: fmt.Sprintf("the data folder %s can't be used: %v", dir, err), Cause: err}
}

// sqliteSchema reads the version of the embedded database, if there is one.
func sqliteSchema(ctx context.Context, c Config) (schemaState, error) {
	if _, err := os.Stat(filepath.Join(c.DataDir, databaseFile)); errors.Is(err, os.ErrNotExist) {
		return schemaState{}, nil
	}
	db, err := sql.Open("sqlite", sqliteLook(c.DataDir))
	if err != nil {
		return schemaState{}, err
	}
	defer db.Close()
	st, err := readSchema(ctx, db, sqliteEngine{})
	if err != nil {
		return st, folderFault(c.DataDir, err)
	}
	return st, nil
}

// migrateSQLite makes the folder and brings the database to the newest version,
// under a lock between processes: the migrator's own holds only inside one.
func migrateSQLite(ctx context.Context, c Config) (from, to uint, err error) {
	if c.DataDir == "" {
		return 0, 0, &ledger.Error{Kind: ledger.KindInvalid, Reason: ledger.ReasonInvalidField, Message: "no data folder is given"}
	}
	if err := os.MkdirAll(c.DataDir, 0o700); err != nil {
		return 0, 0, folderFault(c.DataDir, err)
	}
	lock := flock.New(filepath.Join(c.DataDir, migrateLock))
	if _, err := lock.TryLockContext(ctx, 20*time.Millisecond); err != nil {
		return 0, 0, folderFault(c.DataDir, err)
	}
	defer lock.Unlock() // the end of the process frees it too
	st, err := sqliteSchema(ctx, c)
	if err != nil {
		return 0, 0, err
	}
	if err := st.check(); err != nil || st.version == migrations.Latest {
		return st.version, st.version, err
	}
	if st.version == 0 {
		if err := ownFile(filepath.Join(c.DataDir, databaseFile)); err != nil {
			return 0, 0, folderFault(c.DataDir, err)
		}
	}
	if st.version > 0 {
		unlock, err := nobodyServes(c.DataDir)
		if err != nil {
			return st.version, st.version, err
		}
		defer unlock()
		if err := backupBefore(ctx, c, st.version); err != nil {
			return st.version, st.version, err
		}
	}
	return st.version, migrations.Latest, runSQLiteMigrations(ctx, c.DataDir)
}

// ownFile makes the database's file, empty, for its owner alone: made by SQLite it would
// be for everybody to read, where the folder was there already and lets others in. What
// SQLite puts beside it gets the same mode.
func ownFile(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	return f.Close()
}

// nobodyServes makes sure that no other process serves the folder.
func nobodyServes(dir string) (unlock func(), err error) {
	serving := flock.New(filepath.Join(dir, serveLock))
	ok, err := serving.TryLock()
	if err != nil {
		return nil, folderFault(dir, err)
	}
	if !ok {
		return nil, &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: fmt.Sprintf("another trackerd serves %s with an older schema; stop it first", dir)}
	}
	return func() { serving.Unlock() }, nil //nolint:errcheck // the end of the process frees it too
}

// backupBefore writes a whole, consistent copy beside the database.
func backupBefore(ctx context.Context, c Config, version uint) error {
	dir := filepath.Join(c.DataDir, "backups")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return folderFault(c.DataDir, err)
	}
	db, err := sql.Open("sqlite", sqliteDSN(c.DataDir, 1<<10))
	if err != nil {
		return err
	}
	defer db.Close()
	name := filepath.Join(dir, fmt.Sprintf("before-migration-from-%04d-%s.db", version, time.Now().UTC().Format("20060102T150405.000000000Z")))
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", name); err != nil {
		return folderFault(c.DataDir, fmt.Errorf("backup before the migration: %w", err))
	}
	c.logger().Info("backed up before migration", "file", name, "schema_version", version)
	return nil
}

// runSQLiteMigrations migrates on a connection with foreign keys off: the
// migrator wraps each file in a transaction, in which they can't be switched,
// and a table rebuild would cascade into the children. What came out must have
// no dangling reference.
func runSQLiteMigrations(ctx context.Context, dir string) error {
	db, err := sql.Open("sqlite", sqliteDSN(dir, 32<<10, "foreign_keys(0)"))
	if err != nil {
		return err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	driver, err := sqlitemigrate.WithInstance(db, &sqlitemigrate.Config{})
	if err != nil {
		return folderFault(dir, err)
	}
	if err := migrateUp(driver, migrations.SQLite, "sqlite", "sqlite"); err != nil {
		return folderFault(dir, fmt.Errorf("migration: %w", err))
	}
	// The migrator has closed its handle; look with a fresh one.
	check, err := sql.Open("sqlite", sqliteLook(dir))
	if err != nil {
		return err
	}
	defer check.Close()
	rows, err := check.QueryContext(ctx, "PRAGMA foreign_key_check")
	if err != nil {
		return err
	}
	defer rows.Close()
	if rows.Next() {
		return folderFault(dir, errors.New("the migration left references to rows that do not exist; restore the backup made before it"))
	}
	return rows.Err()
}
