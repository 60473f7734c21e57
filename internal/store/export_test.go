package store

import (
	"context"
	"database/sql"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// CountsFrom is Counts with the choice left to the test: from the tallies, or
// counted anew from the records.
func (s *Store) CountsFrom(ctx context.Context, q analysis.CountQuery, fromRecords bool) (counts []analysis.Count, err error) {
	err = s.view(ctx, func(t *tx) error {
		if err := t.checkFilters(ctx, q.Filters); err != nil {
			return err
		}
		counts, err = t.counts(ctx, q, fromRecords)
		return err
	})
	return counts, err
}

// Fault is how the store tells of a driver's error.
func (s *Store) Fault(err error) error { return s.fault(err) }

// MayBeRunAgain says whether the store would run the transaction again after
// this error.
func MayBeRunAgain(err error) bool { return conflict(err) }

// AdvanceAlarmsAt is AdvanceAlarms with the time left to the test.
func (s *Store) AdvanceAlarmsAt(ctx context.Context, now time.Time) (more bool, err error) {
	return s.advanceAt(ctx, now)
}

// PostgresSetting reads what PostgreSQL holds the sessions of a pool to.
func (s *Store) PostgresSetting(ctx context.Context, pool, name string) (value string, err error) {
	db := map[string]*sql.DB{"write": s.write, "read": s.read, "long": s.long, "lead": s.lead.db}[pool]
	err = db.QueryRowContext(ctx, "SELECT current_setting($1)", name).Scan(&value)
	return value, err
}

// BoundWork bounds what is remembered of the work of joints.
func (s *Store) BoundWork(bytes int) { s.work.budget = bytes }

// RememberedSites is of how many sites it is.
func (s *Store) RememberedSites() int { return len(s.work.sites) }

// UsesAreFollowed brings the memory of what tools are used up to the state of the
// database and says how it differs from what is read anew; and of how many tools and
// days it is.
func (s *Store) UsesAreFollowed(ctx context.Context) (diff string, tools, days int, err error) {
	err = s.withUses(ctx, func(t *tx, m *useMemory, _ func()) error {
		anew, err := t.readUses(ctx)
		diff = cmp.Diff(anew, m.tools)
		tools = len(m.tools)
		for _, used := range m.tools {
			days += len(used)
		}
		return err
	})
	return diff, tools, days, err
}

// WriterPlans are PostgreSQL's plans, as the writer's sessions would run them, of what the
// rules read of the records of joints and of an hour of a tool.
func (s *Store) WriterPlans(ctx context.Context, joints []any, tool int) (plans []string, err error) {
	for _, q := range []struct {
		query string
		args  []any
	}{{treatmentsOf(len(joints)), joints}, {usesInHour, []any{tool, uint8(ledger.KindTightening), 0, time.Now().UnixMicro()}}} {
		plan, err := s.writerPlan(ctx, q.query, q.args)
		if err != nil {
			return nil, err
		}
		plans = append(plans, plan)
	}
	return plans, nil
}

func (s *Store) writerPlan(ctx context.Context, query string, args []any) (plan string, err error) {
	rows, err := s.write.QueryContext(ctx, "EXPLAIN "+s.engine.bind(query), args...)
	if err != nil {
		return "", err
	}
	defer rows.Close()
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			return "", err
		}
		plan += line + "\n"
	}
	return plan, rows.Err()
}

// RecordAfter is Record of records that were looked up before, whatever happened between.
func (s *Store) RecordAfter(ctx context.Context, records []ledger.Record, between func()) ([]Outcome, error) {
	a := s.lookAhead(ctx, records)
	between()
	j := &job{ctx: ctx, records: records, ahead: a}
	err := s.writer.submit(j)
	return j.outcomes, err
}

// AskAndPanic runs a change that asks two questions, of which what reads the answer to the
// first panics.
func (s *Store) AskAndPanic(ctx context.Context, what string) error {
	return s.change(ctx, Change{}, func(t *tx) error {
		return t.ask(ctx, question{"SELECT id FROM sites", nil, func(row) error { panic(what) }}, question{"SELECT id FROM tools", nil, func(row) error { return nil }})
	})
}
