package main

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	_ "github.com/jackc/pgx/v5/stdlib"
	_ "modernc.org/sqlite"

	"jointledger/internal/store"
)

// rawInserts measures the plain driver writing the rows that a tightening makes
// (record, tightening, tally, head of the chain) into the same schema, durably:
// one a commit, 64 a commit, 100 a commit. The rows are made beforehand, so that
// nothing but the driver and the database is timed.
func rawInserts(ctx context.Context, engine string, c store.Config, span time.Duration) ([]figure, error) {
	if _, _, err := store.MigrateUp(ctx, c); err != nil {
		return nil, err
	}
	s, err := store.Open(ctx, c)
	if err != nil {
		return nil, err
	}
	if err := fixture(ctx, s); err != nil {
		return nil, err
	}
	if err := s.Close(); err != nil {
		return nil, err
	}
	db, err := rawOpen(engine, c)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	w, err := newRawWriter(ctx, engine, db)
	if err != nil {
		return nil, err
	}
	var figures []figure
	for _, rows := range []int{1, 64, 100} {
		f, err := load(ctx, span, 1, rows, func(ctx context.Context, _, _ int) error { return w.commit(ctx, rows) })
		if err != nil {
			return nil, err
		}
		f.Engine, f.What = engine, fmt.Sprintf("driver, %d a commit", rows)
		figures = append(figures, f)
	}
	return figures, nil
}

// rawOpen opens the database with the pragmas that the store uses.
func rawOpen(engine string, c store.Config) (*sql.DB, error) {
	if engine == "sqlite" {
		return sql.Open("sqlite", "file:"+filepath.Join(c.DataDir, "jointledger.db")+
			"?_txlock=immediate&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=temp_store(MEMORY)&_pragma=cache_size(-32768)&_pragma=wal_autocheckpoint(4000)&_pragma=foreign_keys(1)")
	}
	return sql.Open("pgx", c.DSN)
}

func createDatabase(ctx context.Context, dsn, name string) error {
	db, err := sql.Open("pgx", dsn)
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

type rawWriter struct {
	db                              *sql.DB
	record, tightening, tally, head *sql.Stmt
	sequence                        int64
	mu                              sync.Mutex
}

func newRawWriter(ctx context.Context, engine string, db *sql.DB) (*rawWriter, error) {
	w := &rawWriter{db: db, sequence: 1000} // above what the fixture recorded
	for _, p := range []struct {
		stmt  **sql.Stmt
		query string
	}{
		{&w.record, "INSERT INTO records (id, uid, kind, site_id, joint_id, lot_id, tool_id, person_id, occur_time, offset_minutes, local_day, receive_time, device, note, link) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)"},
		{&w.tightening, "INSERT INTO tightenings (id, specification_revision_id, treatment, compound_batch, torque_nm, torque_as_typed, fasteners, pass, method) VALUES (?,?,?,?,?,?,?,?,?)"},
		{&w.tally, "INSERT INTO tallies (site_id, day, lot_id, specification_revision_id, treatment, method, outcome, fasteners) VALUES (?,?,?,?,?,?,?,?) ON CONFLICT (site_id, day, lot_id, specification_revision_id, treatment, method, outcome) DO UPDATE SET fasteners = tallies.fasteners + excluded.fasteners"},
		{&w.head, "UPDATE chains SET sequence = ?, link = ? WHERE id = ?"},
	} {
		query := p.query
		if engine == "postgres" {
			for n := 1; strings.Contains(query, "?"); n++ {
				query = strings.Replace(query, "?", "$"+strconv.Itoa(n), 1)
			}
		}
		var err error
		if *p.stmt, err = db.PrepareContext(ctx, query); err != nil {
			return nil, err
		}
	}
	return w, nil
}

// commit writes n records in one transaction, the tally and the head once.
func (w *rawWriter) commit(ctx context.Context, n int) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	tx, err := w.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // after a commit it does nothing
	record, tightening := tx.StmtContext(ctx, w.record), tx.StmtContext(ctx, w.tightening)
	now := time.Now().UnixMicro()
	var link [32]byte
	for range n {
		w.sequence++
		id := int64(1)<<40 | w.sequence
		uid, err := uuid.NewV7()
		if err != nil {
			return err
		}
		joint := 1 + int(w.sequence)%benchJoints
		if _, err := record.ExecContext(ctx, id, uid[:], 1, 1, joint, 1, 1, 1, now, 0, int(now/86_400_000_000), now, "bench", "", link[:]); err != nil {
			return err
		}
		if _, err := tightening.ExecContext(ctx, id, 1, 2, "AS-1", 32.0, "32 N.m", 12, 1, 1); err != nil {
			return err
		}
	}
	if _, err := tx.StmtContext(ctx, w.tally).ExecContext(ctx, 1, int(now/86_400_000_000), 1, 1, 2, 1, 0, 12*n); err != nil {
		return err
	}
	if _, err := tx.StmtContext(ctx, w.head).ExecContext(ctx, w.sequence, link[:], 1); err != nil {
		return err
	}
	return tx.Commit()
}
