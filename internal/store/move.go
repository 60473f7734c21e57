package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"jointledger/internal/ledger"
	"jointledger/migrations"
)

// Moved says what was moved.
type Moved struct {
	// Tables are all of the record, in the order in which they were filled.
	Tables []MovedTable
	// Sites are the chains, the same on both sides.
	Sites []SiteReport
}

// MovedTable is one table of the record.
type MovedTable struct {
	Name string
	Rows int64
	// SHA256 is over every value of every row in the order of the primary key, in
	// hexadecimal; the same on both sides.
	SHA256 string
}

// Move carries the whole embedded database, attachments and all, into a PostgreSQL
// database that has been migrated and is still empty. Which tables and columns there
// are is read from the two databases. Both sides are verified, record by record and sum
// by sum, and every table is read back and compared; all of it happens in one
// transaction, so that the other database has everything or, after any difference,
// error or crash, nothing. The embedded database is only read, and nobody can serve it
// meanwhile. done is told of each table that has been copied; nil for nobody.
//
// Errors: KindUnavailable when somebody serves either database, or one has another
// schema than this program's; KindExists when the other database is not empty;
// KindPrecondition when the embedded database does not verify, holds what PostgreSQL
// can't, or the copy differs.
func Move(ctx context.Context, from, to Config, done func(table string, rows int64)) (m Moved, err error) {
	if from.DSN != "" || to.DSN == "" {
		return m, &ledger.Error{Kind: ledger.KindInvalid, Reason: ledger.ReasonInvalidField,
			Message: "a move goes from a data folder to a PostgreSQL database; say both"}
	}
	if done == nil {
		done = func(string, int64) {}
	}
	if err := databaseThere(from.DataDir); err != nil {
		return m, err
	}
	unlock, err := aloneInFolder(ctx, from.DataDir, "move its record")
	if err != nil {
		return m, err
	}
	defer unlock()
	source, err := openSource(ctx, from)
	if err != nil {
		return m, err
	}
	defer source.close()
	target, err := openTarget(ctx, to)
	if err != nil {
		return m, err
	}
	defer target.close()
	mover := mover{source: source, target: target, lockTimeout: to.LockTimeout, done: done}
	if err := mover.run(ctx); err != nil {
		return m, target.store.fault(err)
	}
	return mover.moved, nil
}

// side is one of the two databases, in one transaction.
type side struct {
	store *Store
	db    *sql.DB
	conn  *sql.Conn
	tx    *sql.Tx
}

func (s *side) close() {
	if s.tx != nil {
		s.tx.Rollback() //nolint:errcheck // after a commit it does nothing
	}
	if s.conn != nil {
		s.conn.Close() //nolint:errcheck // as above
	}
	s.db.Close() //nolint:errcheck // as above
}

// begin opens the one connection and its transaction.
func (s *side) begin(ctx context.Context, o *sql.TxOptions) (err error) {
	s.db.SetMaxOpenConns(1)
	if s.conn, err = s.db.Conn(ctx); err != nil {
		return err
	}
	s.tx, err = s.conn.BeginTx(ctx, o)
	return err
}

func (s *side) verify(ctx context.Context) (Report, error) {
	return s.store.newTx(s.tx, true).verify(ctx)
}

// sideStore is as much of a store as its checks need.
func sideStore(c Config, e engine) *Store {
	return &Store{engine: e, log: c.logger(), names: newNames()}
}

func openSource(ctx context.Context, c Config) (*side, error) {
	st, err := sqliteSchema(ctx, c)
	if err == nil {
		err = st.check()
	}
	if err == nil && st.version < migrations.Latest {
		err = &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: fmt.Sprintf("the embedded database has schema version %d and this program moves version %d; run `trackerd migrate up` on it first", st.version, migrations.Latest)}
	}
	if err != nil {
		return nil, err
	}
	s := &side{store: sideStore(c, sqliteEngine{})}
	if s.db, err = sql.Open("sqlite", sqliteLook(c.DataDir)); err != nil {
		return nil, err
	}
	if err := s.begin(ctx, &sql.TxOptions{ReadOnly: true}); err != nil {
		s.close()
		return nil, folderFault(c.DataDir, err)
	}
	return s, nil
}

func openTarget(ctx context.Context, c Config) (_ *side, err error) {
	s := &side{store: sideStore(c, postgresEngine{})}
	if s.db, err = connectPostgres(c, migrating(), nil); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			s.close()
		}
	}()
	st, err := postgresState(ctx, s.db)
	if err == nil {
		err = st.check()
	}
	if err == nil && st.version < migrations.Latest {
		err = &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: fmt.Sprintf("the PostgreSQL database has schema version %d and this program needs %d; run `trackerd migrate up` on it first", st.version, migrations.Latest)}
	}
	if err != nil {
		return nil, err
	}
	if err = s.begin(ctx, nil); err == nil {
		err = noTimeouts(ctx, s.tx)
	}
	if err == nil {
		_, err = s.tx.ExecContext(ctx, "SELECT pg_advisory_xact_lock($1)", int64(migrationLock))
	}
	if err != nil {
		return nil, s.store.fault(err)
	}
	return s, nil
}

// mover carries tables from one side to the other.
type mover struct {
	source, target *side
	tables         []movedTable
	lockTimeout    time.Duration
	done           func(table string, rows int64)
	moved          Moved
}

func (m *mover) run(ctx context.Context) error {
	var err error
	if m.tables, err = tablesToMove(ctx, m.source.tx, m.target.tx); err != nil {
		return err
	}
	if err := m.reserveTarget(ctx); err != nil {
		return err
	}
	for _, check := range databaseChecks {
		if err := soundBy(ctx, m.source.tx, check); err != nil {
			return different("the embedded database is damaged; nothing was moved", []string{err.Error()})
		}
	}
	before, err := m.source.verify(ctx)
	if err != nil {
		return m.source.store.fault(err)
	}
	if !before.OK() {
		return different("the embedded database does not verify; nothing was moved (`trackerd verify` tells more)", problemsOf(before))
	}
	for _, t := range m.tables {
		copied, err := t.copy(ctx, m.source.tx, m.target.conn)
		if err != nil {
			return err
		}
		m.moved.Tables = append(m.moved.Tables, copied)
		m.done(t.name, copied.Rows)
	}
	if err := m.setSequences(ctx); err != nil {
		return err
	}
	if err := m.compare(ctx, before); err != nil {
		return err
	}
	m.moved.Sites = before.Sites
	return m.target.tx.Commit()
}

// targetPatience is how long a server that was stopped just now may take to be gone.
const targetPatience = 2 * time.Second

// serversAtTarget counts the sessions of other servers. One that has ended is there for
// a moment longer.
func (m *mover) serversAtTarget(ctx context.Context) (servers int, err error) {
	for begun := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		// By a function that looks anew: within a transaction the view shows one moment.
		if _, err = m.target.tx.ExecContext(ctx, "SELECT pg_stat_clear_snapshot()"); err != nil {
			return 0, err
		}
		err = m.target.tx.QueryRowContext(ctx, "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND application_name = 'trackerd' AND pid <> pg_backend_pid()").Scan(&servers)
		if err != nil || servers == 0 || time.Since(begun) > targetPatience {
			return servers, err
		}
	}
}

// reserveTarget makes sure that nobody else uses the target, and that it holds
// nothing but what the migrations put there, which is taken away: the source has it
// too.
func (m *mover) reserveTarget(ctx context.Context) error {
	servers, err := m.serversAtTarget(ctx)
	if err != nil {
		return err
	}
	if servers > 0 {
		return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
			Message: "a trackerd is connected to the PostgreSQL database; stop it before you move a record there"}
	}
	var names []string
	for _, t := range m.tables {
		names = append(names, quoted(t.name))
	}
	wait := orDefault(m.lockTimeout, 10*time.Second)
	if _, err := m.target.tx.ExecContext(ctx, fmt.Sprintf("SET LOCAL lock_timeout = %d", wait.Milliseconds())); err != nil {
		return err
	}
	if _, err := m.target.tx.ExecContext(ctx, "LOCK TABLE "+strings.Join(names, ", ")+" IN EXCLUSIVE MODE"); err != nil {
		if conflict(err) {
			return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable, Cause: err,
				Message: "somebody uses the tables of the PostgreSQL database; end that before you move a record there"}
		}
		return err
	}
	made, err := digestsOfFresh(ctx, m.source.store, m.tables)
	if err != nil {
		return err
	}
	for _, t := range m.tables {
		found, err := t.digest(ctx, m.target.tx, true)
		if err != nil {
			return err
		}
		if found.Rows == 0 {
			continue
		}
		if found != made[t.name] {
			return &ledger.Error{Kind: ledger.KindExists, Reason: ledger.ReasonResourceExists,
				Message: fmt.Sprintf("the PostgreSQL database is not empty: %s has %d rows; move into one that was migrated and never used", t.name, found.Rows)}
		}
		if _, err := m.target.tx.ExecContext(ctx, "DELETE FROM "+quoted(t.name)); err != nil {
			return err
		}
	}
	return nil
}

// digestsOfFresh are those of the tables as the migrations leave them.
func digestsOfFresh(ctx context.Context, s *Store, tables []movedTable) (map[string]MovedTable, error) {
	dir, err := os.MkdirTemp("", "jointledger-fresh-")
	if err != nil {
		return nil, folderFault(os.TempDir(), err)
	}
	defer os.RemoveAll(dir)
	if _, _, err := migrateSQLite(ctx, Config{DataDir: dir, Logger: s.log}); err != nil {
		return nil, err
	}
	db, err := sql.Open("sqlite", sqliteLook(dir))
	if err != nil {
		return nil, err
	}
	defer db.Close()
	made := map[string]MovedTable{}
	for _, t := range tables {
		if made[t.name], err = t.digest(ctx, db, false); err != nil {
			return nil, err
		}
	}
	return made, nil
}

// setSequences has new rows take keys after those that were moved, or were ever given
// in the embedded database.
func (m *mover) setSequences(ctx context.Context) error {
	for _, t := range m.tables {
		for _, column := range t.key {
			var sequence sql.NullString
			err := m.target.tx.QueryRowContext(ctx, "SELECT pg_get_serial_sequence($1, $2)", quoted(t.name), column).Scan(&sequence)
			if err != nil {
				return err
			}
			if !sequence.Valid {
				continue
			}
			var last int64
			err = m.source.tx.QueryRowContext(ctx, "SELECT max(COALESCE((SELECT max("+quoted(column)+") FROM "+quoted(t.name)+"), 0), COALESCE((SELECT seq FROM sqlite_sequence WHERE name = ?), 0))", t.name).Scan(&last)
			if err != nil {
				return err
			}
			if _, err := m.target.tx.ExecContext(ctx, "SELECT setval($1::regclass, $2, $3)", sequence.String, max(last, 1), last > 0); err != nil {
				return err
			}
		}
	}
	return nil
}

// compare reads everything back from the target and verifies it, before the commit.
func (m *mover) compare(ctx context.Context, before Report) error {
	var problems []string
	for i, t := range m.tables {
		got, err := t.digest(ctx, m.target.tx, true)
		if err != nil {
			return err
		}
		if want := m.moved.Tables[i]; got != want {
			problems = append(problems, fmt.Sprintf("%s: %d rows with SHA-256 %s were sent, %d rows with %s are there", t.name, want.Rows, want.SHA256, got.Rows, got.SHA256))
		}
		// Without it the next queries would be planned as for empty tables.
		if _, err := m.target.tx.ExecContext(ctx, "ANALYZE "+quoted(t.name)); err != nil {
			return err
		}
	}
	after, err := m.target.verify(ctx)
	if err != nil {
		return err
	}
	problems = append(problems, problemsOf(after)...)
	heads := map[string]SiteReport{}
	for _, s := range after.Sites {
		heads[s.Site] = s
	}
	for _, want := range before.Sites {
		if got := heads[want.Site]; got.Head != want.Head || got.Records != want.Records {
			problems = append(problems, fmt.Sprintf("chain of site %s: %d records up to %s, and %d up to %s in the copy", want.Site, want.Records, want.Head, got.Records, got.Head))
		}
	}
	if len(after.Sites) != len(before.Sites) {
		problems = append(problems, fmt.Sprintf("%d chains, and %d in the copy", len(before.Sites), len(after.Sites)))
	}
	if len(problems) > 0 {
		return different("the copy differs from the embedded database, so that it was taken back; nothing was moved", problems)
	}
	return nil
}

func problemsOf(r Report) []string {
	var problems []string
	for _, s := range r.Sites {
		for _, p := range s.Problems {
			problems = append(problems, s.Site+": "+p)
		}
	}
	problems = append(problems, r.TallyProblems...)
	problems = append(problems, r.GuardProblems...)
	return append(problems, r.AttachmentProblems...)
}

// different is a move that can't be, with what is in its way.
func different(message string, problems []string) error {
	e := &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonConflict, Message: message}
	if len(problems) > 0 {
		const most = 20
		shown := problems[:min(len(problems), most)]
		if more := len(problems) - len(shown); more > 0 {
			shown = append(shown[:len(shown):len(shown)], fmt.Sprintf("and %d more", more))
		}
		e.Cause = errors.New(strings.Join(shown, "\n  "))
	}
	return e
}
