package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"jointledger/internal/ledger"
)

// This file is the only one that reads a driver's error.

// fault turns what a driver or ent returned into a *ledger.Error. Errors of the
// context and errors that are ledger's already pass as they are.
func (s *Store) fault(err error) error {
	var known *ledger.Error
	var undecided *undecidedError
	var connect *pgconn.ConnectError
	switch {
	case errors.As(err, &undecided):
		return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: "the database was lost before it answered, so that it is not known whether this was kept; send it again with the same id, or look before you make it anew", Cause: err}
	case errors.Is(err, errHung):
		return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable, Message: "the database can't be used now (" + errHung.Error() + "); try again", Cause: err}
	case err == nil, errors.As(err, &known), errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded) && !errors.As(err, &connect):
		// The time to connect is the store's own, and its end no caller's.
		return err
	case conflict(err):
		return &ledger.Error{Kind: ledger.KindConflict, Reason: ledger.ReasonConflict, Message: "too many conflicting changes at once; try again", Cause: err}
	case unavailable(err):
		return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable, Message: "the database can't be used now (" + plainCause(err) + "); try again", Cause: err}
	default:
		return &ledger.Error{Kind: ledger.KindInternal, Reason: ledger.ReasonInternal, Message: "internal error", Cause: err}
	}
}

// conflict says whether the transaction may succeed when it is run again: it
// met another one, or another process made the same row first. A foreign key
// that refuses a row is no conflict but a fault of the store, since names are
// looked up first.
func conflict(err error) bool {
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		switch pg.Code {
		case "40001", "40P01", "55P03", "23505": // serialisation, deadlock, lock timeout, unique
			return true
		}
		return false
	}
	var lite *sqlite.Error
	if errors.As(err, &lite) {
		switch lite.Code() {
		case sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
			return true
		}
		return lite.Code()&0xff == sqlite3.SQLITE_BUSY
	}
	return false
}

// unavailable says whether the database itself is the trouble: not reachable,
// shutting down, out of space, not writable.
func unavailable(err error) bool {
	// Whatever a server says while the connection is made, there is none.
	var connect *pgconn.ConnectError
	if errors.As(err, &connect) {
		return true
	}
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		switch pg.Code[:2] {
		case "08", "53", "57": // connection, insufficient resources, operator intervention
			return true
		}
		return pg.Code == "25006" || pg.Code == "25P03" // read-only transaction: a standby; idle for too long
	}
	var lite *sqlite.Error
	if errors.As(err, &lite) {
		switch lite.Code() & 0xff {
		case sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_LOCKED:
			return true
		}
		return false
	}
	var network *net.OpError
	return errors.As(err, &network) ||
		pgconn.SafeToRetry(err) || errors.Is(err, io.ErrUnexpectedEOF) || strings.Contains(err.Error(), "conn closed") || // pgx has no name for it
		errors.Is(err, driver.ErrBadConn) || errors.Is(err, sql.ErrConnDone) || errors.Is(err, errClosed)
}

// outOfSpace says whether the embedded database found the disk full: then the
// transaction was not kept, at the commit too, since its last page was not written.
func outOfSpace(err error) bool {
	var lite *sqlite.Error
	return errors.As(err, &lite) && lite.Code()&0xff == sqlite3.SQLITE_FULL
}

// disconnected says whether the connection to the database is lost, or there is none,
// so that another one may succeed.
func disconnected(err error) bool {
	var connect *pgconn.ConnectError
	var undecided *undecidedError
	var pg *pgconn.PgError
	var lite *sqlite.Error
	switch {
	case err == nil:
		return false
	case errors.As(err, &connect), errors.As(err, &undecided):
		return true
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return false // somebody gave up, which says nothing of the database
	case errors.As(err, &pg):
		return pg.Code[:2] == "08" || pg.Code[:2] == "57" && pg.Code != queryCancelled || pg.Code == "25006" || pg.Code == "25P03"
	case errors.As(err, &lite):
		return false
	}
	return unavailable(err) && !errors.Is(err, errClosed)
}

// diskFull is what PostgreSQL says where a table or an index can't grow.
const diskFull = "53100"

// queryCancelled is what PostgreSQL says of a statement that took too long.
const queryCancelled = "57014"

// endsConnection says whether a connection is of no use after an error. One to a server
// that takes no writes any more must not stay in the pool.
func endsConnection(pg *pgconn.PgError) bool {
	return strings.EqualFold(pg.Severity, "FATAL") || pg.Code == "25006"
}

// refusedRow gives what PostgreSQL says of a row that breaks one of its constraints;
// false for any other error.
func refusedRow(err error) (told string, refused bool) {
	var pg *pgconn.PgError
	if errors.As(err, &pg) && strings.HasPrefix(pg.Code, "23") { // integrity constraint violation
		return strings.TrimSpace(pg.Message + " " + pg.Detail), true
	}
	return "", false
}

// plainCause says in words what is the matter, without the driver's text.
func plainCause(err error) string {
	var lite *sqlite.Error
	if errors.As(err, &lite) {
		switch lite.Code() & 0xff {
		case sqlite3.SQLITE_FULL:
			return "the disk is full"
		case sqlite3.SQLITE_READONLY:
			return "the data folder is read-only"
		case sqlite3.SQLITE_IOERR:
			return "the disk reports an error"
		case sqlite3.SQLITE_CANTOPEN:
			return "the database file can't be opened"
		}
	}
	if errors.Is(err, errClosed) {
		return "the server is shutting down"
	}
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		switch pg.Code {
		case queryCancelled:
			return "a statement took longer than it may"
		case diskFull:
			return "the disk is full"
		}
	}
	return "it does not answer"
}
