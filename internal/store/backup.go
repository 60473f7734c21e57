package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/gofrs/flock"
	"modernc.org/sqlite"

	"jointledger/internal/ledger"
)

// ChainEnd is the end of a site's chain.
type ChainEnd struct {
	Site string
	// Records is the length of the chain, Link the last link in hexadecimal.
	Records int64
	Link    string
}

// Backup says what a backup holds.
type Backup struct {
	// SchemaVersion is that of the database that was backed up.
	SchemaVersion uint
	Bytes         int64
	Chains        []ChainEnd
}

// BackUp writes a whole, consistent copy of the embedded database to a new file,
// while servers go on writing: everything that was acknowledged before it began is in
// it. Attachments are kept in the database, so they are in it too. The file has its
// name only once the copy was flushed and read again (PRAGMA integrity_check and
// foreign_key_check); a copy that was cut short never has it. Errors: KindExists when
// there is such a file, which is left alone; KindUnavailable when there is no database,
// or it can't be read, or the file can't be written.
func BackUp(ctx context.Context, c Config, path string) (b Backup, err error) {
	if c.DSN != "" {
		return b, &ledger.Error{Kind: ledger.KindInvalid, Reason: ledger.ReasonInvalidField,
			Message: "this backs up the embedded database; back up PostgreSQL with pg_dump or pg_basebackup, as the operator's guide says"}
	}
	if err := databaseThere(c.DataDir); err != nil {
		return b, err
	}
	unlock, err := shareFolder(ctx, c.DataDir)
	if err != nil {
		return b, err
	}
	defer unlock()
	err = writeNew(path, func(f *os.File) error {
		if err := copyDatabase(ctx, c.DataDir, f.Name()); err != nil {
			return err
		}
		b, err = inspectCopy(ctx, f.Name())
		return err
	})
	return b, err
}

// databaseThere makes sure that there is an embedded database, so that nothing makes
// an empty one.
func databaseThere(dir string) error {
	if _, err := os.Stat(filepath.Join(dir, databaseFile)); err != nil {
		return folderFault(dir, err)
	}
	return nil
}

// shareFolder keeps others from migrating, restoring or moving the database of a
// folder; servers may run.
func shareFolder(ctx context.Context, dir string) (unlock func(), err error) {
	lock := flock.New(filepath.Join(dir, serveLock))
	if _, err := lock.TryRLockContext(ctx, 20*time.Millisecond); err != nil {
		return nil, folderFault(dir, err)
	}
	return func() { lock.Unlock() }, nil //nolint:errcheck // the end of the process frees it too
}

// aloneInFolder keeps everybody else from the database of a folder: servers, and
// who migrates it. what is what can't be done while somebody serves.
func aloneInFolder(ctx context.Context, dir, what string) (unlock func(), err error) {
	migrating := flock.New(filepath.Join(dir, migrateLock))
	if _, err := migrating.TryLockContext(ctx, 20*time.Millisecond); err != nil {
		return nil, folderFault(dir, err)
	}
	serving := flock.New(filepath.Join(dir, serveLock))
	ok, err := serving.TryLock()
	if err != nil || !ok {
		migrating.Unlock() //nolint:errcheck // the end of the process frees it too
	}
	if err != nil {
		return nil, folderFault(dir, err)
	}
	if !ok {
		return nil, &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: fmt.Sprintf("another trackerd uses %s; stop it before you %s", dir, what)}
	}
	return func() {
		serving.Unlock()   //nolint:errcheck // the end of the process frees it too
		migrating.Unlock() //nolint:errcheck // as above
	}, nil
}

// backupPages is how many pages are copied between two looks at the context.
const backupPages = 512

// copyDatabase copies the database of a folder into the file by SQLite's backup
// interface (sqlite.org/c3ref/backup_finish.html). The transaction that reads holds
// one state of the database for as long as it takes, so that writers neither wait nor
// make it begin again; the log of the database grows meanwhile.
func copyDatabase(ctx context.Context, dir, path string) error {
	db, err := sql.Open("sqlite", sqliteLook(dir))
	if err != nil {
		return err
	}
	defer db.Close()
	conn, err := db.Conn(ctx)
	if err != nil {
		return folderFault(dir, err)
	}
	defer conn.Close()
	t, err := conn.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return folderFault(dir, err)
	}
	defer t.Rollback() // reading: there is nothing to lose
	var tables int
	if err := t.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_master").Scan(&tables); err != nil {
		return folderFault(dir, err)
	}
	err = conn.Raw(func(c any) error {
		source, ok := c.(interface {
			NewBackup(string) (*sqlite.Backup, error)
		})
		if !ok {
			return fmt.Errorf("the driver's connection, %T, makes no backups", c)
		}
		b, err := source.NewBackup(fileURI(path))
		if err != nil {
			return err
		}
		for more := true; more && err == nil; {
			if err = ctx.Err(); err == nil {
				more, err = b.Step(backupPages)
			}
		}
		return errors.Join(err, b.Finish())
	})
	if err != nil && ctx.Err() == nil {
		return fileFault(path, err)
	}
	return err
}

// fileURI names a file for SQLite, whatever characters are in its name.
func fileURI(path string, more ...string) string {
	if absolute, err := filepath.Abs(path); err == nil {
		path = absolute
	}
	uri := "file:" + (&url.URL{Path: path}).EscapedPath()
	if len(more) > 0 {
		uri += "?" + strings.Join(more, "&")
	}
	return uri
}

// openCopy opens a copy to read it. Nobody writes to it, so that SQLite needs no
// files beside it.
func openCopy(path string) (*sql.DB, error) {
	return sql.Open("sqlite", fileURI(path, "mode=ro", "immutable=1", "_pragma=query_only(1)"))
}

// inspectCopy reads a copy from end to end and says what it holds.
func inspectCopy(ctx context.Context, path string) (b Backup, err error) {
	info, err := os.Stat(path)
	if err != nil {
		return b, fileFault(path, err)
	}
	b.Bytes = info.Size()
	db, err := openCopy(path)
	if err != nil {
		return b, err
	}
	defer db.Close()
	st, err := readSchema(ctx, db, sqliteEngine{})
	switch {
	case err != nil:
		return b, fileFault(path, err)
	case st.version == 0:
		return b, fileFault(path, errors.New("it holds no record of this program"))
	}
	if err := st.check(); err != nil {
		return b, err
	}
	b.SchemaVersion = st.version
	for _, check := range databaseChecks {
		if err := soundBy(ctx, db, check); err != nil {
			return b, fileFault(path, err)
		}
	}
	b.Chains, err = chainHeads(ctx, db)
	return b, err
}

// databaseChecks are SQLite's own.
var databaseChecks = []string{"PRAGMA integrity_check", "PRAGMA foreign_key_check"}

// soundBy runs a check of SQLite's own: no row, or one that says ok, is sound.
func soundBy(ctx context.Context, db queryer, check string) error {
	rows, err := db.QueryContext(ctx, check)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var told sql.NullString
		rest, err := rows.Columns()
		if err != nil {
			return err
		}
		targets := make([]any, len(rest))
		for i := range targets {
			targets[i] = new(any)
		}
		targets[0] = &told
		if err := rows.Scan(targets...); err != nil {
			return err
		}
		if told.String != "ok" {
			return fmt.Errorf("it is damaged (%s: %s)", strings.TrimPrefix(check, "PRAGMA "), told.String)
		}
	}
	return rows.Err()
}

// chainHeads reads the end of each site's chain, by the sites' codes. It asks for
// what every schema of the record has.
func chainHeads(ctx context.Context, db queryer) (heads []ChainEnd, err error) {
	rows, err := db.QueryContext(ctx, "SELECT s.code, c.sequence, c.link FROM chains c JOIN sites s ON s.id = c.id ORDER BY s.code")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var h ChainEnd
		var link []byte
		if err := rows.Scan(&h.Site, &h.Records, &link); err != nil {
			return nil, err
		}
		h.Link = fmt.Sprintf("%x", link)
		heads = append(heads, h)
	}
	return heads, rows.Err()
}
