package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"log/slog"
	"sync/atomic"
	"time"
)

const (
	// leaderLock is the key of the advisory lock of the server that does what one is
	// to do for all.
	leaderLock = 0x6a6c_6c65_6164 // "jllead"
	// leadEvery is how often a server tries to lead, or makes sure that it still does,
	// and leadTime how long the database may take to answer.
	leadEvery = time.Second
	leadTime  = 5 * time.Second
)

// leadership chooses among the servers on one database the one that does the work in
// the background: the one whose session holds an advisory lock. The session has a
// connection of its own; when it ends, for whatever reason, PostgreSQL gives the lock to
// the next one that asks. For a moment two may believe that they lead, so the work
// itself must be such that two do no harm; it only need not be done twice. On the
// embedded database the only server leads.
type leadership struct {
	log   *slog.Logger
	db    *sql.DB // nil for the embedded database
	leads atomic.Bool
}

// Leads says whether this server does the work in the background for all servers on
// the database.
func (s *Store) Leads() bool { return s.lead.leads.Load() }

// run runs work while this server leads, until ctx ends. work is to end when its
// context does.
func (l *leadership) run(ctx context.Context, work func(context.Context)) {
	for ctx.Err() == nil {
		if l.db == nil {
			l.leads.Store(true)
			work(ctx)
			l.leads.Store(false)
			return
		}
		if session := l.take(ctx); session != nil {
			l.lead(ctx, session, work)
		}
		wait(ctx, leadEvery)
	}
}

// take gives the session that holds the lock; nil when another server leads or the
// database is away.
func (l *leadership) take(ctx context.Context) *sql.Conn {
	ctx, cancel := context.WithTimeout(ctx, leadTime)
	defer cancel()
	session, err := l.db.Conn(ctx)
	if err != nil {
		return nil
	}
	var mine bool
	if err := session.QueryRowContext(ctx, "SELECT pg_try_advisory_lock($1)", int64(leaderLock)).Scan(&mine); err == nil && mine {
		return session
	}
	session.Close() //nolint:errcheck // it holds nothing
	return nil
}

// lead runs work for as long as the session lives.
func (l *leadership) lead(ctx context.Context, session *sql.Conn, work func(context.Context)) {
	// The connection is not used again: the lock is to end with it.
	defer session.Raw(func(any) error { return driver.ErrBadConn }) // as said
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	l.leads.Store(true)
	l.log.Info("this server leads: it does the work in the background")
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		work(ctx)
	}()
	for ctx.Err() == nil && holds(ctx, session) {
		wait(ctx, leadEvery)
	}
	if ctx.Err() == nil {
		l.log.Warn("this server leads no more: its session on the database has ended")
	}
	l.leads.Store(false)
	cancel()
	<-ended
}

func holds(ctx context.Context, session *sql.Conn) bool {
	ctx, cancel := context.WithTimeout(ctx, leadTime)
	defer cancel()
	return session.PingContext(ctx) == nil
}

func wait(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}
