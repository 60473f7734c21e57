package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"slices"

	"jointledger/internal/ledger"
)

// window is a part of a site's chain: the records after the sequence from, up to
// and with to.
type window struct {
	site     int
	from, to int64
}

func (w window) first() int64 { return int64(w.site)<<sequenceBits | (w.from + 1) }
func (w window) last() int64  { return int64(w.site)<<sequenceBits | w.to }

// attempts is what alarm rules count of one record: a tightening in the first
// pass, or a thread failure.
type attempts struct {
	id       int64
	lot      int
	occur    int64
	failure  ledger.IncidentKind // 0 for a tightening
	quantity int64
	// replaces is the record that it was written instead of; 0 for none.
	replaces int64
	// corrected says that a correction withdrew or replaced it, and replacement by
	// what; 0 for nothing.
	corrected   bool
	replacement int64
}

func (a attempts) site() int { return int(a.id >> sequenceBits) }

// attemptsReader reads windows of chains for several rules, each window once.
type attemptsReader struct {
	*tx
	read map[window][]attempts
}

// in gives what counts in the windows, in the order in which it happened: a file
// that is handed in has its tightenings first and then its incidents, and a tablet
// without signal sends its day in the evening.
func (r *attemptsReader) in(ctx context.Context, windows []window) ([]attempts, error) {
	var all []attempts
	for _, w := range windows {
		part, known := r.read[w]
		if !known {
			var err error
			if part, err = r.attemptsIn(ctx, w); err != nil {
				return nil, err
			}
			r.read[w] = part
		}
		all = append(all, part...)
	}
	slices.SortFunc(all, func(a, b attempts) int { return cmp.Or(cmp.Compare(a.occur, b.occur), cmp.Compare(a.id, b.id)) })
	return all, nil
}

func (t *tx) attemptsIn(ctx context.Context, w window) ([]attempts, error) {
	var found []attempts
	err := t.query(ctx, func(rows *sql.Rows) error {
		var a attempts
		err := rows.Scan(&a.id, &a.lot, &a.occur, &a.failure, &a.quantity)
		found = append(found, a)
		return err
	}, `SELECT x.id, COALESCE(r.lot_id, 0), r.occur_time, 0, x.fasteners FROM tightenings x JOIN records r ON r.id = x.id WHERE x.id >= ? AND x.id <= ? AND x.pass = ?
UNION ALL
SELECT x.id, COALESCE(r.lot_id, 0), r.occur_time, x.kind, x.fasteners FROM incidents x JOIN records r ON r.id = x.id WHERE x.id >= ? AND x.id <= ? AND x.kind <= ? AND x.fasteners > 0
ORDER BY 1`, w.first(), w.last(), uint8(ledger.PassFirst), w.first(), w.last(), uint8(ledger.BrokenFastener))
	if err != nil || len(found) == 0 {
		return nil, err
	}
	at := func(id int64) *attempts {
		i, ok := slices.BinarySearchFunc(found, id, func(a attempts, id int64) int { return cmp.Compare(a.id, id) })
		if !ok {
			return nil
		}
		return &found[i]
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var corrected, replacement int64
		if err := rows.Scan(&corrected, &replacement); err != nil {
			return err
		}
		// A replacement at another site is a new record there.
		if corrected>>sequenceBits != replacement>>sequenceBits {
			replacement = 0
		}
		if a := at(corrected); a != nil {
			a.corrected, a.replacement = true, replacement
		}
		if a := at(replacement); a != nil {
			a.replaces = corrected
		}
		return nil
	}, `SELECT corrected_id, COALESCE(replacement_id, 0) FROM corrections WHERE corrected_id >= ? AND corrected_id <= ?
UNION
SELECT corrected_id, replacement_id FROM corrections WHERE replacement_id >= ? AND replacement_id <= ?`, w.first(), w.last(), w.first(), w.last())
	return found, err
}

// original follows a record back to the first one that it stands instead of.
func (t *tx) original(ctx context.Context, a attempts) (int64, error) {
	if a.replaces == 0 {
		return a.id, nil
	}
	for id := a.replaces; ; {
		var earlier int64
		err := t.sql.QueryRowContext(ctx, t.engine.bind("SELECT corrected_id FROM corrections WHERE replacement_id = ?"), id).Scan(&earlier)
		if errors.Is(err, sql.ErrNoRows) || err == nil && earlier>>sequenceBits != id>>sequenceBits {
			return id, nil
		}
		if err != nil {
			return 0, err
		}
		id = earlier
	}
}

// standing follows a record on to the last one that stands instead of it; 0 when
// that was withdrawn.
func (t *tx) standing(ctx context.Context, id int64) (int64, error) {
	for {
		var replacement sql.NullInt64
		err := t.sql.QueryRowContext(ctx, t.engine.bind("SELECT replacement_id FROM corrections WHERE corrected_id = ?"), id).Scan(&replacement)
		if errors.Is(err, sql.ErrNoRows) {
			return id, nil
		}
		if err != nil || !replacement.Valid {
			return 0, err
		}
		id = replacement.Int64
	}
}

// settled gives the end of a window up to which it may be counted: what is being
// handed in from files or by tablets that were without signal waits until no more
// of it comes, so that it is counted in the order in which it happened, but not for
// ever.
func (t *tx) settled(ctx context.Context, w window, length int64) (int64, error) {
	base := int64(w.site) << sequenceBits
	var newest, first, since sql.NullInt64
	err := t.sql.QueryRowContext(ctx, t.engine.bind("SELECT MAX(receive_time) FROM records WHERE id > ? AND id <= ? AND offline = 1"),
		base|max(w.from, length-handedInTail), base|length).Scan(&newest)
	if err != nil || !newest.Valid || t.now.Sub(fromMicro(newest.Int64)) > handedInQuiet {
		return w.to, err
	}
	err = t.sql.QueryRowContext(ctx, t.engine.bind("SELECT MIN(id), MIN(receive_time) FROM records WHERE id >= ? AND id <= ? AND offline = 1"), w.first(), w.last()).Scan(&first, &since)
	if err != nil || !first.Valid || t.now.Sub(fromMicro(since.Int64)) > handedInLongest {
		return w.to, err
	}
	return first.Int64 - 1 - base, nil
}
