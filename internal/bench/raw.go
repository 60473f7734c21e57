package main

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	_ "github.com/jackc/pgx/v5/stdlib"
	_ "modernc.org/sqlite"

	"jointledger/internal/store"
)

// rawOpen opens the database with the pragmas that the store uses.
func rawOpen(engine string, c store.Config) (*sql.DB, error) {
	if engine == "sqlite" {
		return sql.Open("sqlite", "file:"+filepath.Join(c.DataDir, "jointledger.db")+
			"?_txlock=immediate&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=temp_store(MEMORY)&_pragma=cache_size(-10240)&_pragma=wal_autocheckpoint(4000)&_pragma=foreign_keys(1)")
	}
	return rawOpenDSN(c.DSN)
}

func rawOpenDSN(dsn string) (*sql.DB, error) { return sql.Open("pgx", dsn) }

func rawOpenMemory() (*sql.DB, error) { return sql.Open("sqlite", ":memory:") }

func createDatabase(ctx context.Context, dsn, name string) error {
	db, err := rawOpenDSN(dsn)
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, "CREATE DATABASE "+name); err != nil {
		return err
	}
	_, _, err = store.MigrateUp(ctx, store.Config{DSN: strings.Replace(dsn, "/postgres?", "/"+name+"?", 1)})
	return err
}

// dropDatabase drops the database of a connection string.
func dropDatabase(ctx context.Context, dsn, of string) error {
	u, err := url.Parse(of)
	if err != nil {
		return err
	}
	db, err := rawOpenDSN(dsn)
	if err != nil {
		return err
	}
	defer db.Close()
	_, err = db.ExecContext(ctx, "DROP DATABASE "+strings.TrimPrefix(u.Path, "/")+" WITH (FORCE)")
	return err
}

// rawWriter writes the rows that tightenings make (record, tightening, and the tally,
// stock, uses of tools and head of the chain that the writer folds for each commit) into
// the schema of the store, durably, with the plain driver: row by row, or all rows of a
// table in one statement.
type rawWriter struct {
	db       *sql.DB
	engine   string
	together bool
	mu       sync.Mutex
	sequence int64
	prepared map[string]*sql.Stmt
}

// Tables and columns of the rows.
const (
	rawRecord     = "records (id, uid, kind, site_id, joint_id, lot_id, tool_id, person_id, occur_time, offset_minutes, local_day, receive_time, device, note, link)"
	rawTightening = "tightenings (id, specification_revision_id, treatment, compound_batch, torque_nm, torque_as_typed, fasteners, pass, method)"
	rawTally      = "tallies (site_id, day, lot_id, specification_revision_id, treatment, method, outcome, fasteners)"
	rawTallied    = " ON CONFLICT (site_id, day, lot_id, specification_revision_id, treatment, method, outcome) DO UPDATE SET fasteners = tallies.fasteners + excluded.fasteners"
	rawStock      = "lot_sums (lot_id, site_id, received, removed, used, on_hand, count_time)"
	rawStocked    = " ON CONFLICT (lot_id, site_id) DO UPDATE SET used = lot_sums.used + excluded.used, on_hand = lot_sums.on_hand + excluded.on_hand"
	rawUse        = "tool_uses (tool_id, hour, fasteners, last_time)"
	rawUsed       = " ON CONFLICT (tool_id, hour) DO UPDATE SET fasteners = tool_uses.fasteners + excluded.fasteners, last_time = excluded.last_time"
	rawHead       = "UPDATE chains SET sequence = ?, link = ? WHERE id = ?"
)

// newRawWriter opens a writer on a database in which the fixture is registered.
func newRawWriter(engine string, c store.Config, together bool) (*rawWriter, error) {
	db, err := rawOpen(engine, c)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	return &rawWriter{db: db, engine: engine, together: together, sequence: firstSequence, prepared: map[string]*sql.Stmt{}}, nil
}

// statement prepares once what was asked for before.
func (w *rawWriter) statement(ctx context.Context, query string) (*sql.Stmt, error) {
	if s := w.prepared[query]; s != nil {
		return s, nil
	}
	s, err := w.db.PrepareContext(ctx, marked(w.engine, query))
	if err != nil {
		return nil, err
	}
	w.prepared[query] = s
	return s, nil
}

// insert writes rows of one table, in one statement or in one for each.
func (w *rawWriter) insert(ctx context.Context, tx *sql.Tx, table, after string, width int, values []any) error {
	rows := len(values) / width
	if !w.together {
		rows = 1
	}
	for ; len(values) > 0; values = values[rows*width:] {
		if err := w.exec(ctx, tx, "INSERT INTO "+table+" VALUES "+manyMarks(rows, width)+after, values[:rows*width]...); err != nil {
			return err
		}
	}
	return nil
}

func (w *rawWriter) exec(ctx context.Context, tx *sql.Tx, query string, values ...any) error {
	s := w.prepared[query]
	if s == nil {
		return fmt.Errorf("%q was not prepared", query)
	}
	_, err := tx.StmtContext(ctx, s).ExecContext(ctx, values...)
	return err
}

// prepare prepares what a commit of n records of so many crews needs: the only
// connection is taken once the transaction has begun.
func (w *rawWriter) prepare(ctx context.Context, n, crews int) error {
	rows := func(all int) int {
		if w.together {
			return all
		}
		return 1
	}
	for _, query := range []string{
		"INSERT INTO " + rawRecord + " VALUES " + manyMarks(rows(n), 15), "INSERT INTO " + rawTightening + " VALUES " + manyMarks(rows(n), 9),
		"INSERT INTO " + rawTally + " VALUES " + manyMarks(1, 8) + rawTallied, "INSERT INTO " + rawStock + " VALUES " + manyMarks(1, 7) + rawStocked,
		"INSERT INTO " + rawUse + " VALUES " + manyMarks(rows(crews), 4) + rawUsed, rawHead,
	} {
		if _, err := w.statement(ctx, query); err != nil {
			return err
		}
	}
	return nil
}

// commit writes n records of so many crews in one transaction.
func (w *rawWriter) commit(ctx context.Context, n, crews int) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if err := w.prepare(ctx, n, crews); err != nil {
		return err
	}
	now := time.Now().UnixMicro()
	var link [32]byte
	var records, tightenings, uses []any
	for i := range n {
		w.sequence++
		id := int64(1)<<40 | w.sequence
		uid, err := uuid.NewV7()
		if err != nil {
			return err
		}
		joint, crew := 1+int(w.sequence*7919)%benchJoints, 1+i%crews
		records = append(records, id, uid[:], 1, 1, joint, 1, crew, crew, now, 0, int(now/86_400_000_000), now, "bench", "", link[:])
		tightenings = append(tightenings, id, 1, 2, "AS-1", 32.0, "32 N.m", 12, 1, 1)
	}
	for crew := range crews {
		uses = append(uses, 1+crew, now/3_600_000_000, 12*n/crews, now)
	}
	tx, err := w.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // after a commit it does nothing
	for _, t := range []struct {
		table, after string
		width        int
		values       []any
	}{
		{rawRecord, "", 15, records}, {rawTightening, "", 9, tightenings},
		{rawTally, rawTallied, 8, []any{1, int(now / 86_400_000_000), 1, 1, 2, 1, 0, 12 * n}},
		{rawStock, rawStocked, 7, []any{1, 1, 0, 0, 12 * n, -12 * n, 0}}, {rawUse, rawUsed, 4, uses},
	} {
		if err := w.insert(ctx, tx, t.table, t.after, t.width, t.values); err != nil {
			return err
		}
	}
	if err := w.exec(ctx, tx, rawHead, w.sequence, link[:], 1); err != nil {
		return err
	}
	return tx.Commit()
}

// gatherStatistics does what PostgreSQL does by itself within a minute. SQLite plans
// without statistics, and nobody gathers any for it.
func gatherStatistics(ctx context.Context, engine string, db *sql.DB) error {
	if engine != "postgres" {
		return nil
	}
	_, err := db.ExecContext(ctx, "ANALYZE")
	return err
}
