package store

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"strconv"
	"sync"
	"time"

	"jointledger/internal/asof"
	"jointledger/internal/ledger"
)

const (
	// defaultStaleness is how old the state of a standby may be unless the
	// configuration says otherwise.
	defaultStaleness = 30 * time.Second
	// markEvery is how often the primary is asked where its log stands: an answer of a
	// standby that has everything says that it is up to so much old.
	markEvery = time.Second
	// restStandby is how long a standby that did not answer is left alone.
	restStandby = 10 * time.Second
)

// Why a question goes to the primary after all.
var (
	errTooOld   = errors.New("the standby is further behind than is allowed")
	errOlder    = errors.New("the state that was read is older than what is remembered")
	errNotAfter = errors.New("the database to read from is no standby that streams from the primary, or its role may not see that it is (GRANT pg_read_all_stats)")
)

// standby is a database that follows the primary and answers questions on figures
// whose callers accept a state that is a little old. How old it is, is measured against
// the log of the primary, not by the clocks of the two machines: at some moments, the
// marks, the primary is asked how far its log has come, and a standby that has replayed
// as much has all that was committed until then.
type standby struct {
	db    *sql.DB
	limit time.Duration
	// figures are read from it with memories of its own: its state is another one than
	// the primary's.
	from source
	mu   sync.Mutex
	// marks are in the order of time, all of one timeline.
	marks    []mark
	timeline string
	rest     time.Time
	told     bool
	stop     context.CancelFunc
	ended    chan struct{}
}

// mark is a place in the primary's log that had been reached at a moment.
type mark struct {
	at  time.Time
	log int64
}

func openStandby(ctx context.Context, s *Store, c Config) (*standby, error) {
	db, err := connectPostgres(c, readingStandby(c), nil)
	if err != nil {
		return nil, err
	}
	b := &standby{db: db, limit: orDefault(c.ReadStaleness, defaultStaleness), ended: make(chan struct{})}
	b.from = source{work: newWorkMemory(), tallies: newTallyMemory(), standby: b}
	b.from.work.ofStandby, b.from.tallies.ofStandby = true, true
	b.observe(ctx, s)
	ctx, b.stop = context.WithCancel(context.WithoutCancel(ctx))
	go func() {
		defer close(b.ended)
		for ctx.Err() == nil {
			wait(ctx, markEvery)
			b.observe(ctx, s)
		}
	}()
	return b, nil
}

func (b *standby) close() {
	b.stop()
	<-b.ended
	b.db.Close() //nolint:errcheck // nothing was written
}

// observe asks the primary where its log stands. What fails is left: the marks grow
// old, and with them the answers.
func (b *standby) observe(ctx context.Context, s *Store) {
	ctx, cancel := context.WithTimeout(ctx, leadTime)
	defer cancel()
	m, timeline := mark{at: time.Now()}, ""
	err := s.read.QueryRowContext(ctx, "SELECT pg_wal_lsn_diff(pg_current_wal_lsn(), '0/0')::bigint, substr(pg_walfile_name(pg_current_wal_insert_lsn()), 1, 8)").Scan(&m.log, &timeline)
	if err != nil {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.timeline != timeline {
		b.marks, b.timeline = nil, timeline
	}
	old := slices.IndexFunc(b.marks, func(k mark) bool { return m.at.Sub(k.at) <= b.limit })
	if old < 0 {
		old = len(b.marks)
	}
	b.marks = append(slices.Delete(b.marks, 0, old), m)
}

// asOf measures which state the standby has: it has all that was committed up to the
// moment that is given. What is read on the connection afterwards is no older.
func (b *standby) asOf(ctx context.Context, conn *sql.Conn) (time.Time, error) {
	var follows bool
	var log, timeline sql.NullInt64
	err := conn.QueryRowContext(ctx, `SELECT pg_is_in_recovery(), pg_wal_lsn_diff(pg_last_wal_replay_lsn(), '0/0')::bigint,
(SELECT received_tli FROM pg_stat_wal_receiver WHERE status = 'streaming')`).Scan(&follows, &log, &timeline)
	if err != nil {
		return time.Time{}, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	primary, err := strconv.ParseInt(b.timeline, 16, 64)
	if err != nil || !follows || timeline.Int64 != primary {
		return time.Time{}, errNotAfter
	}
	for _, m := range slices.Backward(b.marks) {
		if m.log <= log.Int64 {
			return m.at, nil
		}
	}
	return time.Time{}, errTooOld
}

// ready says whether the standby may be asked.
func (b *standby) ready() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return time.Now().After(b.rest)
}

// refused notes why a question went to the primary. A standby that did not answer has a
// rest; what the caller asked wrongly is none of its faults.
func (b *standby) refused(s *Store, err error) {
	var told *ledger.Error
	unanswered := errors.As(err, &told) && told.Kind == ledger.KindUnavailable
	if !unanswered && !errors.Is(err, errNotAfter) {
		return
	}
	b.mu.Lock()
	first := !b.told
	b.told, b.rest = true, time.Now().Add(restStandby)
	b.mu.Unlock()
	if first {
		s.log.Warn("the standby does not answer questions; the primary does", "error", err, "cause", errors.Unwrap(err))
	}
}

func (b *standby) answered() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.told = false
}

// source is a database that figures are read from, with what is remembered of it.
type source struct {
	work    *workMemory
	tallies *tallyMemory
	standby *standby // nil for the primary
}

// figures has read read from the standby, where there is one, the caller accepts a
// state that is a little old and the standby's is not older than that, and otherwise,
// or when anything goes wrong there, from the primary. So read may run twice, and must
// not go on from what it had before; and who asks after something that the standby does
// not have yet is not told that it does not exist.
func (s *Store) figures(ctx context.Context, read func(source) error) error {
	if b := s.standby; b != nil && asof.From(ctx).Most(b.limit) > 0 && b.ready() {
		err := read(b.from)
		if err == nil || ctx.Err() != nil {
			return err
		}
		b.refused(s, err)
	}
	return read(source{work: s.work, tallies: s.tallies})
}

// viewFrom is view of the database of the source.
func (s *Store) viewFrom(ctx context.Context, from source, f func(*tx) error) error {
	b := from.standby
	if b == nil {
		return s.view(ctx, f)
	}
	conn, err := b.db.Conn(ctx)
	if err != nil {
		return s.notBegun(err)
	}
	defer conn.Close()
	asOf, err := b.asOf(ctx, conn)
	if err == nil && time.Since(asOf) > asof.From(ctx).Most(b.limit) {
		err = errTooOld
	}
	if errors.Is(err, errTooOld) || errors.Is(err, errNotAfter) {
		return err
	}
	if err != nil {
		return s.fault(err)
	}
	if err := s.viewOn(ctx, conn, f); err != nil {
		return err
	}
	b.answered()
	asof.From(ctx).Used(asOf)
	return nil
}

// viewFigures is view for figures that a standby may give: f may run twice, see figures.
func (s *Store) viewFigures(ctx context.Context, f func(*tx) error) error {
	return s.figures(ctx, func(from source) error { return s.viewFrom(ctx, from, f) })
}
