package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"jointledger/internal/ledger"
	"jointledger/migrations"
)

// restoringPrefix begins the name of the folder, inside the data folder, in which a
// backup is made ready. What was killed leaves it behind; the next restore removes it.
const restoringPrefix = "restoring-"

// Restored says what was restored.
type Restored struct {
	// From is the schema version of the backup; the restored database has the newest.
	From   uint
	Report Report
	// Replaced is the folder in which the database that was there before is kept;
	// empty when there was none.
	Replaced string
}

// Restore makes a backup the embedded database of a folder. The copy is brought to the
// newest schema and verified, record by record, before it has the database's name; one
// that does not verify is not put there (Report says why, and the error is
// KindPrecondition). The folder must be empty; with replace a database may be there,
// which is kept in a folder beside it. A running server is refused with
// KindUnavailable, a folder that is not empty with KindExists. The backup itself is
// only read.
func Restore(ctx context.Context, c Config, path string, replace bool) (r Restored, err error) {
	if err := wholeBackup(ctx, path); err != nil {
		return r, err
	}
	if err := os.MkdirAll(c.DataDir, 0o700); err != nil {
		return r, folderFault(c.DataDir, err)
	}
	unlock, err := aloneInFolder(ctx, c.DataDir, "restore into it")
	if err != nil {
		return r, err
	}
	defer unlock()
	there, err := foundIn(c.DataDir)
	if err != nil {
		return r, err
	}
	if there != "" && !(replace && there == databaseFile) {
		return r, notEmpty(c.DataDir, there, replace)
	}
	ready, err := os.MkdirTemp(c.DataDir, restoringPrefix)
	if err != nil {
		return r, folderFault(c.DataDir, err)
	}
	defer os.RemoveAll(ready) // the next restore tries again
	if r.From, r.Report, err = makeReady(ctx, path, ready, c.logger()); err != nil {
		return r, err
	}
	if there != "" {
		if r.Replaced, err = keepReplaced(c.DataDir); err != nil {
			return r, err
		}
	}
	if err := os.Rename(filepath.Join(ready, databaseFile), filepath.Join(c.DataDir, databaseFile)); err != nil {
		return r, folderFault(c.DataDir, err)
	}
	return r, syncFolder(c.DataDir)
}

// wholeBackup looks whether the file can be what BackUp wrote.
func wholeBackup(ctx context.Context, path string) error {
	if info, err := os.Stat(path + "-wal"); err == nil && info.Size() > 0 {
		return fileFault(path, fmt.Errorf("%s-wal stands beside it: it is a database in use, or was copied from one without what its log holds; make a backup with `trackerd backup`", filepath.Base(path)))
	}
	_, err := inspectCopy(ctx, path)
	return err
}

// foundIn gives something that stands in a data folder, the database first; empty
// when nothing does but locks. What an earlier restore left behind is removed.
func foundIn(dir string) (string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return "", folderFault(dir, err)
	}
	found := ""
	for _, e := range entries {
		switch name := e.Name(); {
		case name == databaseFile:
			return name, nil
		case name == migrateLock, name == serveLock, name == "lost+found":
		case strings.HasPrefix(name, restoringPrefix) && e.IsDir():
			if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
				return "", folderFault(dir, err)
			}
		case found == "":
			found = name
		}
	}
	return found, nil
}

func notEmpty(dir, there string, replace bool) error {
	told := "; give an empty one, or --replace to keep what is there beside what is restored"
	if replace || there != databaseFile {
		told = " and no database; give an empty one"
	}
	return &ledger.Error{Kind: ledger.KindExists, Reason: ledger.ReasonResourceExists,
		Message: fmt.Sprintf("the folder %s is not empty: it has %s%s", dir, there, told)}
}

// makeReady copies the backup into a folder, brings it to the newest schema and
// verifies it.
func makeReady(ctx context.Context, path, dir string, log *slog.Logger) (from uint, report Report, err error) {
	copied := filepath.Join(dir, databaseFile)
	if err := copyFile(path, copied); err != nil {
		return 0, report, err
	}
	st, err := sqliteSchema(ctx, Config{DataDir: dir})
	if err == nil {
		err = st.check()
	}
	if err == nil && st.version < migrations.Latest {
		err = runSQLiteMigrations(ctx, dir)
	}
	if err != nil {
		return st.version, report, err
	}
	// The last connection that closes leaves no log behind; if it did, the copy
	// would not be whole without it.
	if info, err := os.Stat(copied + "-wal"); err == nil && info.Size() > 0 {
		return st.version, report, fileFault(copied, errors.New("its log was not taken in"))
	}
	if report, err = verifyCopy(ctx, copied, log); err != nil {
		return st.version, report, err
	}
	if !report.OK() {
		return st.version, report, &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonConflict,
			Message: fmt.Sprintf("the backup %s does not verify; nothing was restored", path)}
	}
	f, err := os.Open(copied)
	if err != nil {
		return st.version, report, fileFault(copied, err)
	}
	defer f.Close()
	if err := f.Sync(); err != nil {
		return st.version, report, fileFault(copied, err)
	}
	return st.version, report, syncFolder(dir)
}

func copyFile(from, to string) error {
	source, err := os.Open(from)
	if err != nil {
		return fileFault(from, err)
	}
	defer source.Close()
	target, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fileFault(to, err)
	}
	_, err = io.Copy(target, source)
	if err := errors.Join(err, target.Sync(), target.Close()); err != nil {
		return fileFault(to, err)
	}
	return nil
}

// verifyCopy is Verify on a database that nobody writes to.
func verifyCopy(ctx context.Context, path string, log *slog.Logger) (report Report, err error) {
	db, err := openCopy(path)
	if err != nil {
		return report, err
	}
	defer db.Close()
	s := &Store{engine: sqliteEngine{}, log: log, read: db, names: newNames()}
	t, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return report, s.fault(err)
	}
	defer t.Rollback() // reading: there is nothing to lose
	report, err = s.newTx(t, true).verify(ctx)
	return report, s.fault(err)
}

// keepReplaced keeps the database of a folder in a folder beside it, and leaves the
// folder without a log: what is put there next must not meet another database's. The
// database keeps its name until it is replaced, so that at no time there is none.
func keepReplaced(dir string) (kept string, err error) {
	kept = filepath.Join(dir, "replaced-"+time.Now().UTC().Format("20060102T150405.000000000Z"))
	if err := os.Mkdir(kept, 0o700); err != nil {
		return "", folderFault(dir, err)
	}
	const logFile, sharedMemory = databaseFile + "-wal", databaseFile + "-shm"
	for _, name := range []string{databaseFile, logFile} {
		if err := os.Link(filepath.Join(dir, name), filepath.Join(kept, name)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", folderFault(dir, err)
		}
	}
	if err := errors.Join(syncFolder(kept), syncFolder(dir)); err != nil {
		return "", err
	}
	// Opened and closed, a sound database takes in its log, and is whole without it. Of
	// one that is damaged the log is kept as well.
	if db, err := sql.Open("sqlite", sqliteDSN(dir, 1<<10)); err == nil {
		db.Exec("PRAGMA wal_checkpoint(TRUNCATE)") //nolint:errcheck // see above
		db.Close()                                 //nolint:errcheck // as above
	}
	for _, name := range []string{sharedMemory, logFile} {
		if err := os.Remove(filepath.Join(dir, name)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", folderFault(dir, err)
		}
	}
	return kept, nil
}
