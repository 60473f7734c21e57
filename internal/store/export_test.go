package store

import (
	"context"
	"time"

	"jointledger/internal/analysis"
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
