package store

import (
	"context"
	"database/sql"
	"maps"
	"slices"
	"time"

	"jointledger/internal/ledger"
)

// Progress says how far the work at a place has come.
type Progress struct {
	// Joints at the place, and how many of them are in each state.
	Joints int64
	States map[ledger.JointState]int64
	// OnHold are those with an open hold on them or on their cell.
	OnHold int64
	// Days are the joints finished on each day, oldest day first.
	Days []DayCount
	// PlannedFinish is that of the tower or, for a site, the last of its towers';
	// YYYY-MM-DD or empty.
	PlannedFinish string
}

// DayCount is how many joints had their last fastener brought to torque on a day.
type DayCount struct {
	Day    string // at the site, YYYY-MM-DD
	Joints int64
}

// Progress counts the joints at or below a place by state and by the day on
// which they were finished; of all joints for no place. KindNotFound when the
// place does not exist.
func (s *Store) Progress(ctx context.Context, place ledger.Place) (progress Progress, err error) {
	var keys placeKeys
	var joints []*countedJoint
	err = s.withWork(ctx, func(t *tx, m *workMemory) (err error) {
		if keys, err = t.place(ctx, place); err != nil {
			return err
		}
		revisions, err := t.revisionsNow(ctx)
		if err == nil {
			joints, err = t.jointsOf(ctx, m, keys, revisions)
		}
		return err
	}, func(t *tx) (err error) {
		if err := t.readJudgements(ctx, keys, joints); err != nil {
			return err
		}
		progress = countProgress(joints)
		progress.PlannedFinish, err = t.plannedFinish(ctx, keys)
		return err
	})
	return progress, err
}

// countedJoint is as much of a joint as is counted.
type countedJoint struct {
	id, cell, tower int
	work            ledger.JointWork
	full            time.Time
	fullDay         int
}

func countProgress(joints []*countedJoint) Progress {
	p := Progress{Joints: int64(len(joints)), States: map[ledger.JointState]int64{}}
	days := map[int]int64{}
	for _, j := range joints {
		status := j.work.Status()
		p.States[status.State]++
		if status.OnHold {
			p.OnHold++
		}
		if !j.full.IsZero() {
			days[j.fullDay]++
		}
	}
	for _, day := range slices.Sorted(maps.Keys(days)) {
		p.Days = append(p.Days, DayCount{Day: dateOf(day), Joints: days[day]})
	}
	return p
}

// dateOf writes a day that is counted from 1970-01-01.
func dateOf(day int) string { return time.Unix(int64(day)*86400, 0).UTC().Format(time.DateOnly) }

func (t *tx) plannedFinish(ctx context.Context, keys placeKeys) (finish string, err error) {
	var c clause
	switch {
	case keys.tower != 0:
		c.add("id = ?", keys.tower)
	case keys.site != 0:
		c.add("site_id = ?", keys.site)
	}
	t.addVisible(&c, "site_id")
	err = t.query(ctx, func(rows *sql.Rows) error { return rows.Scan(&finish) },
		"SELECT COALESCE(MAX(planned_finish), '') FROM towers"+c.where(), c.args...)
	return finish, err
}
