package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"maps"
	"slices"
)

// commitAlarms keeps what rules have counted: where they stand, their counters and
// the alarms, all or nothing. A rule that was stopped, or that another server holds
// or has advanced since it was read, is left out: what it counted is read again.
func (t *tx) commitAlarms(ctx context.Context, work []*advance) error {
	mine, err := t.lockRules(ctx, work)
	if err != nil || len(mine) == 0 {
		return err
	}
	var states, rows = []any{}, []*staged{}
	for _, a := range mine {
		for _, group := range slices.Sorted(maps.Keys(a.changed)) {
			s := a.states[group]
			states = append(states, a.id, group, s.Points, s.Failures, s.Attempts, s.Records, s.Signals, s.Verdict)
		}
		positions, err := json.Marshal(a.positions)
		if err != nil {
			return err
		}
		awaited, err := json.Marshal(append([]int64{}, a.sortedAwaited()...))
		if err != nil {
			return err
		}
		if err := t.exec(ctx, "UPDATE alarm_progress SET turn = turn + 1, positions = ?, awaited = ? WHERE id = ?", string(positions), string(awaited), a.id); err != nil {
			return err
		}
		for _, r := range a.raised {
			rows = append(rows, &staged{Record: r.alarm, keys: placeKeys{site: r.site}, lot: r.lot, about: recordKey{id: r.cause}, alarmRule: a.id})
		}
	}
	if err := t.insertRows(ctx, alarmStatesTable, states); err != nil {
		return err
	}
	return t.writeAlarms(ctx, rows)
}

// lockRules holds the rules that nobody else is advancing until the commit, and
// gives those that stand where they were read. It waits for no other server: who
// holds a rule counts the same.
func (t *tx) lockRules(ctx context.Context, work []*advance) (mine []*advance, err error) {
	byID := map[int]*advance{}
	var ids []any
	for _, a := range work {
		byID[a.id], ids = a, append(ids, a.id)
	}
	err = inKeys(ids, func(part []any) error {
		return t.query(ctx, func(rows *sql.Rows) error {
			var id int
			var turn int64
			if err := rows.Scan(&id, &turn); err != nil {
				return err
			}
			if byID[id].turn == turn {
				mine = append(mine, byID[id])
			}
			return nil
		}, "SELECT p.id, p.turn FROM alarm_progress p JOIN alarm_rules r ON r.id = p.id WHERE r.active AND p.id IN "+marks(1, len(part))+" ORDER BY p.id"+t.engine.lockFreeRows("p"), part...)
	})
	return mine, err
}

// writeAlarms puts alarms into the chains of their sites, like any record.
func (t *tx) writeAlarms(ctx context.Context, rows []*staged) error {
	if len(rows) == 0 {
		return nil
	}
	chains, err := t.lockChains(ctx, rows)
	if err != nil {
		return err
	}
	t.assign(rows, chains)
	t.learn(t.alarms.tell)
	return t.writeRows(ctx, rows, chains)
}
