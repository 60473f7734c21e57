package store

import (
	"context"
	"errors"
	"sync/atomic"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// lineage notices that the database is not the continuation of the one that was
// there before: each promotion of a standby begins a timeline (PostgreSQL
// documentation, "Continuous Archiving", Timelines), and where the standby did not
// have all that the lost primary had, what is remembered of it may be of things that
// are no more. It notices, too, a commit of which the database says itself that the
// standby may not have it.
type lineage struct {
	timeline atomic.Value // string
	// breaks counts the changes of timeline, doubts the warnings.
	breaks, doubts atomic.Int64
	// broken is called when the timeline has changed.
	broken func()
}

// connected asks a new connection for its timeline.
func (l *lineage) connected(ctx context.Context, conn *pgx.Conn) error {
	var timeline string
	err := conn.QueryRow(ctx, "SELECT CASE WHEN pg_is_in_recovery() THEN '' ELSE substr(pg_walfile_name(pg_current_wal_insert_lsn()), 1, 8) END").Scan(&timeline)
	var pg *pgconn.PgError
	if errors.As(err, &pg) && pg.Code[:2] == "42" {
		return nil // a database that keeps no such log, or shows it to nobody
	}
	if err != nil || timeline == "" {
		return err
	}
	if before := l.timeline.Swap(timeline); before != nil && before != timeline {
		l.breaks.Add(1)
		l.broken()
	}
	return nil
}

// notice counts warnings. During a commit there is one: that the wait for the
// synchronous standby was broken off.
func (l *lineage) notice(_ *pgconn.PgConn, n *pgconn.Notice) {
	if n.SeverityUnlocalized == "WARNING" {
		l.doubts.Add(1)
	}
}

// errNotReplicated is a commit that PostgreSQL made here, but would not answer for on
// the standby.
var errNotReplicated = errors.New("the wait for the synchronous standby was broken off")

// forget drops what readers and the writer remember in common, since the database is
// another one. What only the writer uses, and the memories for reading, see by
// themselves that the lineage is broken.
func (s *Store) forget() {
	s.log.Warn("the database is on a new timeline: a standby was promoted; what was remembered is read again")
	s.names.keys.forget()
	s.names.revisions.Purge()
	s.names.calibrations.Purge()
	s.certificates.forget()
}

// followLineage makes the writer begin anew what it alone remembers, when the database
// is another one.
func (w *writer) followLineage() {
	s := w.store
	if breaks := s.lineage.breaks.Load(); breaks != w.lineage {
		w.lineage, s.register, s.treatments, s.cycles = breaks, newRegisterMemory(), newTreatmentMemory(), newCycleMemory()
	}
}
