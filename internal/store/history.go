package store

import (
	"context"
	"database/sql"
	"slices"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// HistoryItem is one record with what belongs to it.
type HistoryItem struct {
	Record      ledger.Record
	Findings    []rules.Finding
	Attachments []Attachment
}

// JointHistory reads everything on record about one joint, in the order in which
// it happened: its own records, holds of its cell, sign-offs of its cell and
// tower, and corrections of any of them. Records that were withdrawn or replaced
// are there too and say by what. KindNotFound when there is no such joint.
func (s *Store) JointHistory(ctx context.Context, place ledger.Place) (status JointStatus, items []HistoryItem, err error) {
	err = s.view(ctx, func(t *tx) error {
		keys, err := t.placeOf(ctx, jointNoun, place, 4)
		if err != nil {
			return err
		}
		joints, err := t.jointsAt(ctx, keys, "", 0)
		if err != nil {
			return err
		}
		if err := t.readWork(ctx, joints); err != nil {
			return err
		}
		told, err := t.histories(ctx, joints)
		if err != nil {
			return err
		}
		status, items = told[0].Status, told[0].Items
		return nil
	})
	return status, items, err
}

// histories reads everything on record about joints whose work was read, in the
// order of the joints, in a number of queries that does not grow with theirs.
func (t *tx) histories(ctx context.Context, joints []*jointWork) ([]HandoverJoint, error) {
	statuses, err := t.statuses(ctx, joints)
	if err != nil {
		return nil, err
	}
	b := &historyBook{of: map[int64][]int{}, kinds: map[ledger.RecordKind][]any{}}
	if err := t.fillHistory(ctx, b, indexJoints(joints)); err != nil {
		return nil, err
	}
	keys := b.keys()
	findings, err := t.findingsOf(ctx, keys)
	if err != nil {
		return nil, err
	}
	attached, err := t.attachments(ctx, keys, nil)
	if err != nil {
		return nil, err
	}
	told := make([]HandoverJoint, len(joints))
	place := map[int]*HandoverJoint{}
	for i, j := range joints {
		told[i].Status = statuses[i]
		place[j.id] = &told[i]
	}
	for kind, ids := range b.kinds {
		records, err := t.recordsIn(ctx, kind, "x.id", ids)
		if err != nil {
			return nil, err
		}
		for _, k := range records {
			for _, joint := range b.of[k.id] {
				place[joint].Items = append(place[joint].Items, HistoryItem{k.Record, findings[k.id], attached[k.id]})
			}
		}
	}
	for _, h := range told {
		slices.SortFunc(h.Items, func(a, b HistoryItem) int { return earlier(a.Record, b.Record) })
	}
	return told, nil
}

// historyBook gathers the keys of records, by kind, and for each of them the
// keys of the joints that it tells about.
type historyBook struct {
	kinds map[ledger.RecordKind][]any
	of    map[int64][]int
}

func (b *historyBook) add(kind ledger.RecordKind, id int64, joints ...int) {
	if _, known := b.of[id]; !known {
		b.kinds[kind] = append(b.kinds[kind], id)
	}
	for _, j := range joints {
		if !slices.Contains(b.of[id], j) {
			b.of[id] = append(b.of[id], j)
		}
	}
}

func (b *historyBook) keys() []any {
	keys := make([]any, 0, len(b.of))
	for id := range b.of {
		keys = append(keys, id)
	}
	return keys
}

// fillHistory looks up which records tell about the joints: those that name
// them, holds of their cells, sign-offs of their cells and towers, corrections
// of any of these, and corrections that one of these came to replace something
// by.
func (t *tx) fillHistory(ctx context.Context, b *historyBook, x jointIndex) error {
	err := t.queryIn(ctx, func(rows *sql.Rows) error {
		var joint int
		var id int64
		var kind ledger.RecordKind
		err := rows.Scan(&joint, &id, &kind)
		b.add(kind, id, joint)
		return err
	}, "SELECT r.joint_id, r.id, r.kind FROM records r WHERE r.joint_id", x.joints, "")
	if err != nil {
		return err
	}
	for _, above := range []struct {
		kind  ledger.RecordKind
		table string
		level
	}{
		{ledger.KindHold, "holds", x.cellLevel()},
		{ledger.KindSignOff, "sign_offs", x.cellLevel()},
		{ledger.KindSignOff, "sign_offs", x.towerLevel()},
	} {
		err := t.queryIn(ctx, func(rows *sql.Rows) error {
			var key int
			var id int64
			err := rows.Scan(&key, &id)
			for _, j := range above.joints(key) {
				b.add(above.kind, id, j.id)
			}
			return err
		}, "SELECT "+above.column+", x.id FROM "+above.table+" x WHERE "+above.column, above.keys, "")
		if err != nil {
			return err
		}
	}
	keys := b.keys()
	for _, column := range []string{"x.corrected_id", "x.replacement_id"} {
		err := t.queryIn(ctx, func(rows *sql.Rows) error {
			var id, about int64
			err := rows.Scan(&id, &about)
			b.add(ledger.KindCorrection, id, b.of[about]...)
			return err
		}, "SELECT x.id, "+column+" FROM corrections x WHERE "+column, keys, "")
		if err != nil {
			return err
		}
	}
	return nil
}
