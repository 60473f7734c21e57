package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"entgo.io/ent/dialect"
	entsql "entgo.io/ent/dialect/sql"
	"github.com/gofrs/flock"

	"jointledger/ent"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/visible"
)

// Config says where the database is.
type Config struct {
	// DataDir is the folder of the embedded database; it is made when absent.
	DataDir string
	// DSN is a PostgreSQL connection string; empty for the embedded SQLite.
	DSN string
	// ReadDSN is the connection string of a standby of that database, which answers
	// questions whose callers accept a state that is a little old (package asof); empty
	// for none. ReadStaleness is how old it may be at most; 30 seconds when 0.
	ReadDSN       string
	ReadStaleness time.Duration
	// What PostgreSQL puts an end to: a statement that reads for longer, waiting longer
	// for a lock, and a writing transaction that is idle for longer. 0 is a default
	// (two minutes, 10 and 30 seconds), less is no end.
	StatementTimeout, LockTimeout, IdleTransactionTimeout time.Duration
	// Logger takes what the store has to say; slog.Default when nil.
	Logger *slog.Logger
	// Observer is told what the store does; nil for nobody.
	Observer Observer
	// Unjudged takes records in without applying the rules: for the benchmark that
	// measures what the rules cost, and for nothing else.
	Unjudged bool
}

func (c Config) logger() *slog.Logger {
	if c.Logger != nil {
		return c.Logger
	}
	return slog.Default()
}

// Store keeps things and records. Its methods are safe for concurrent use and
// return *ledger.Error or errors of the context.
type Store struct {
	engine       engine
	log          *slog.Logger
	observer     Observer
	write        *sql.DB // one writer (writer.go), so a connection or two
	line         line    // the writer's
	read         *sql.DB
	long         *sql.DB  // for reads that last as long as somebody takes to receive them
	standby      *standby // nil for none
	lineage      *lineage
	lead         *leadership
	names        *names
	writer       *writer
	insert       inserter
	prepared     statements
	checked      checkStatements
	register     *registerMemory
	treatments   *treatmentMemory
	cycles       *cycleMemory
	certificates *certificateMemory
	work         *workMemory
	tallies      *tallyMemory
	uses         *useMemory
	alarms       *alarmRunner
	auditor      *auditor
	unjudged     bool
	// serving keeps migrations off the embedded database while it is open.
	serving *flock.Flock
	file    *databaseOnDisk // nil for PostgreSQL
}

// Open opens the store. The embedded database is made, backed up and migrated
// as needed, under a lock between processes; a PostgreSQL database must have
// been migrated (MigrateUp). A database that is newer than this binary is
// refused with KindUnavailable, untouched.
func Open(ctx context.Context, c Config) (*Store, error) {
	s := &Store{log: c.logger(), observer: c.observer(), names: newNames(), register: newRegisterMemory(), treatments: newTreatmentMemory(), cycles: newCycleMemory(), certificates: newCertificateMemory(), work: newWorkMemory(), tallies: newTallyMemory(), uses: newUseMemory(), unjudged: c.Unjudged}
	s.lineage, s.lead = &lineage{broken: s.forget}, &leadership{log: s.log}
	var err error
	switch {
	case c.DSN != "":
		s.engine = postgresEngine{}
		err = s.openPostgres(ctx, c)
	case c.ReadDSN != "":
		err = &ledger.Error{Kind: ledger.KindInvalid, Reason: ledger.ReasonInvalidField,
			Message: "a standby to read from needs the PostgreSQL database that it is a standby of; the embedded database has none"}
	default:
		s.engine = sqliteEngine{}
		s.write, s.read, s.long, s.serving, err = openSQLite(ctx, c)
		if err == nil {
			s.file, err = lookAtDatabase(c.DataDir)
		}
	}
	if err != nil {
		return nil, err
	}
	if s.line, err = s.engine.line(ctx, s.write); err == nil {
		s.insert, err = prepareInserts(ctx, s.line, s.engine)
	}
	if err != nil {
		s.closeDatabase() //nolint:errcheck // the first error counts
		return nil, s.fault(err)
	}
	s.alarms = newAlarmRunner(s)
	s.writer = startWriter(s)
	s.auditor = startAuditor(s)
	return s, nil
}

// Close finishes what was accepted, then closes the database.
func (s *Store) Close() error {
	s.alarms.end()
	s.auditor.stop()
	s.writer.stop()
	return s.closeDatabase()
}

func (s *Store) closeDatabase() error {
	if s.standby != nil {
		s.standby.close()
	}
	var err error
	if s.line != nil {
		err = s.line.close()
	}
	for _, db := range []*sql.DB{s.write, s.read, s.long, s.lead.db} {
		if db != nil {
			err = errors.Join(err, db.Close())
		}
	}
	if s.serving != nil {
		s.serving.Unlock() //nolint:errcheck // the end of the process frees it too
	}
	return err
}

// Ping says whether the database answers, and the embedded one is still in its place.
func (s *Store) Ping(ctx context.Context) error {
	if err := s.file.check(); err != nil {
		return err
	}
	return s.notBegun(s.read.PingContext(ctx))
}

// notBegun says why nothing could be asked of the database: once the store is
// closed, that is why.
func (s *Store) notBegun(err error) error {
	if err != nil && s.writer.isStopped() {
		err = errClosed
	}
	return s.fault(err)
}

// Change is how a change is to be made.
type Change struct {
	// ValidateOnly checks and answers as usual, and keeps nothing.
	ValidateOnly bool
	// RequestID is the caller's UUID for this request (AIP-155); empty for none.
	// Digest is the SHA-256 of the request, to tell a repetition from a reuse.
	RequestID string
	Digest    [32]byte
	// Caller is whose records these are; nil for one who may do everything.
	Caller *Caller
	// Queued is called when records are in the queue of what is written, before anything
	// that is put in it later and unless they fail; nil for nobody. It must not take long.
	Queued func()
}

// Caller is what somebody may do at sites that are known only once what a record
// refers to was looked up.
type Caller struct {
	// Sees are the sites whose records the caller may read: those of others are not
	// there for it.
	Sees visible.Sites
	// May says whether the caller may add a record at a site; the error refuses the
	// record alone.
	May func(r ledger.Record, site string) error
	// MayCorrect says whether the caller, who may correct records at a site, may also
	// correct those of a kind; the error refuses the correction alone.
	MayCorrect func(kind ledger.RecordKind, site string) error
}

// OutcomeState says what became of one member of a batch.
type OutcomeState uint8

// Outcome states.
const (
	Taken OutcomeState = iota + 1
	AlreadyKnown
	Refused
)

// Outcome is the answer for one member of a batch.
type Outcome struct {
	State OutcomeState
	// Err says why it was refused; nil otherwise.
	Err *ledger.Error
	// Findings are the rules of the trade that a record breaks; for one already
	// known, what was found when it was taken in.
	Findings []rules.Finding
}

func refused(err *ledger.Error) Outcome { return Outcome{State: Refused, Err: err} }

// Page says which part of a list is wanted.
type Page struct {
	// Size is the most that is given.
	Size int
	// After is the key that the call before returned; empty for the first page.
	After string
}

// tx is one transaction, for reading or for writing.
type tx struct {
	*Store
	sql transaction
	// now is the time at which the server takes in what this transaction writes.
	now time.Time
	// dry checks and writes nothing.
	dry bool
	// found are the keys looked up here; they are shared with other transactions
	// only once this one has committed, since it may have made them itself.
	found map[nameKey]int
	// pipe holds back what is written to PostgreSQL; nil where nothing is.
	pipe *pipeline
	// statements are those of the writer; nil in a transaction that reads.
	statements *statements
	// checking are those of a transaction that only checks records.
	checking *checkStatements
	// epoch is the register's, where it was read; registerChanged says that this
	// transaction changes what is remembered under it (register_memory.go).
	epoch           int64
	epochKnown      bool
	registerChanged bool
	// ahead is what was looked up before for the records (record_ahead.go).
	ahead []*ahead
	// treated is what this transaction has added to chains and joints
	// (treatment_memory.go).
	treated treatedHere
	// usedHere is what is known of the use of tools (cycle_memory.go).
	usedHere usedHere
	// along is what was asked along with the lock on the chains (record_along.go).
	along along
	// learned is what may be remembered once this transaction has committed.
	learned []func()
	// revisions and calibrations are those that were read here.
	revisions    map[int]*ledger.Specification
	calibrations map[int64]*ledger.Calibration
	// cells are those whose joints were all looked up here.
	cells  map[int]bool
	client *ent.Client
	// visible are the sites that this transaction reads; nil for all (visible.go).
	visible *visibleSites
	// callers are those of the records that are being taken in; a record of somebody
	// who may do everything has none.
	callers map[ledger.Record]*Caller
}

func (s *Store) newTx(t transaction, dry bool) *tx {
	return &tx{Store: s, sql: t, dry: dry, now: ledger.Microseconds(time.Now()), found: map[nameKey]int{}, revisions: map[int]*ledger.Specification{}, calibrations: map[int64]*ledger.Calibration{}, cells: map[int]bool{}}
}

// ent gives ent's client over this transaction.
func (t *tx) ent() *ent.Client {
	if t.client == nil {
		t.client = ent.NewClient(ent.Driver(txDriver{entsql.NewDriver(t.engine.dialect(), entsql.Conn{ExecQuerier: t.sql})}))
	}
	return t.client
}

// txDriver is ent's driver over a transaction that is open already: what ent
// would wrap in a transaction of its own runs in this one.
type txDriver struct{ *entsql.Driver }

// Tx gives the open transaction.
func (d txDriver) Tx(context.Context) (dialect.Tx, error) { return dialect.NopTx(d), nil }

// learn runs remember when what was read here is sure to be kept: at once in a
// transaction that only reads what others committed, else after the commit.
func (t *tx) learn(remember func()) {
	if t.dry {
		remember()
		return
	}
	t.learned = append(t.learned, remember)
}

// view runs f in a transaction that reads and always rolls back.
func (s *Store) view(ctx context.Context, f func(*tx) error) error {
	return s.viewOn(ctx, s.read, f)
}

// viewLong is view for what is handed on while it is read: a few who receive
// slowly must not keep everybody else from reading.
func (s *Store) viewLong(ctx context.Context, f func(*tx) error) error {
	return s.viewOn(ctx, s.long, f)
}

// beginner is a pool, or one connection of it.
type beginner interface {
	BeginTx(context.Context, *sql.TxOptions) (*sql.Tx, error)
}

func (s *Store) viewOn(ctx context.Context, db beginner, f func(*tx) error) (err error) {
	begun := time.Now()
	defer func() { s.observer.Transaction(ctx, "read", begun, err) }()
	t, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true, Isolation: s.engine.readIsolation()})
	if err != nil {
		return s.notBegun(err)
	}
	defer t.Rollback() // reading: there is nothing to lose
	reading := s.newTx(t, true)
	if err := reading.see(ctx, visible.From(ctx)); err != nil {
		return s.fault(err)
	}
	return s.fault(f(reading))
}

// query runs a query written with `?` for parameters and calls row for each row.
func (t *tx) query(ctx context.Context, row func(*sql.Rows) error, query string, args ...any) error {
	rows, err := t.rows(ctx, t.engine.bind(query), args)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

func (t *tx) exec(ctx context.Context, query string, args ...any) error {
	if err := t.flush(ctx); err != nil {
		return err
	}
	query = t.engine.bind(query)
	if stmt := t.statements.met(query); stmt != nil {
		_, err := t.sql.StmtContext(ctx, stmt).ExecContext(ctx, args...)
		return err
	}
	_, err := t.sql.ExecContext(ctx, query, args...)
	return err
}

// micro and fromMicro are the one place where times become numbers and back.
func micro(t time.Time) int64 { return t.UnixMicro() }

func fromMicro(us int64) time.Time { return time.UnixMicro(us).UTC() }

// marks gives n groups of `(?,?,…)` with width marks each.
func marks(n, width int) string {
	group := "(?" + repeat(",?", width-1) + ")"
	return group + repeat(","+group, n-1)
}

func repeat(s string, n int) string {
	b := make([]byte, 0, len(s)*max(n, 0))
	for range n {
		b = append(b, s...)
	}
	return string(b)
}

// inKeys calls f for consecutive parts of the keys of an IN list. Each part is
// filled up to a power of two with its last key, so that there are few different
// statements, and those that come often are prepared (statements.go).
func inKeys(keys []any, f func([]any) error) error {
	return inChunks(keys, 1, func(part []any) error {
		size := 1
		for size < len(part) {
			size *= 2
		}
		filled := append(make([]any, 0, size), part...)
		for len(filled) < size && size <= 1024 {
			filled = append(filled, part[len(part)-1])
		}
		return f(filled)
	})
}

// forParts is inKeys where nothing can fail yet.
func forParts(keys []any, f func([]any)) {
	_ = inKeys(keys, func(part []any) error {
		f(part)
		return nil
	})
}

// inChunks calls f for consecutive parts of items, each small enough for the
// engines' limit on parameters at width parameters an item.
func inChunks[T any](items []T, width int, f func([]T) error) error {
	const limit = 30_000 // SQLite allows 32,766, PostgreSQL 65,535
	most := limit / width
	for len(items) > 0 {
		n := min(most, len(items))
		if err := f(items[:n]); err != nil {
			return err
		}
		items = items[n:]
	}
	return nil
}

func (s *Store) String() string { return fmt.Sprintf("store on %s", s.engine.dialect()) }
