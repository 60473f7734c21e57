package store

import (
	"context"
	"database/sql"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// DueItems answers which actions on tools are due. It is TrackedTools and
// analysis.TrackedDue in one state of the database, but of a whole fleet it reads only
// the tools that may fall due, and where a tool is and who has it only for those that
// do: they are few. KindNotFound when the query names an unknown site, person or tool.
func (s *Store) DueItems(ctx context.Context, q analysis.TrackedQuery, question analysis.DueQuestion) (items []analysis.DueItem, err error) {
	err = s.withUses(ctx, func(t *tx, m *useMemory, done func()) error {
		if q.Visiting || q.Holder != "" || q.Lent {
			done()
			tools, err := t.trackedTools(ctx, q)
			if err == nil {
				items, err = analysis.TrackedDue(tools, question)
			}
			return err
		}
		all, err := t.toolsToLookAt(ctx, m, q, question)
		if err != nil || len(all.rows) == 0 {
			return err
		}
		for _, read := range []func(context.Context, *trackedRows, int64) error{t.checksOf, func(ctx context.Context, all *trackedRows, asOf int64) error { return t.usesOf(ctx, all, m, asOf) }, t.eventsThatMatter} {
			if err := read(ctx, all, micro(q.AsOf)); err != nil {
				return err
			}
		}
		done()
		items, err = analysis.TrackedDueOf(func(yield func(*analysis.TrackedTool) bool) {
			for _, r := range all.rows {
				if !yield(&r.tool) {
					return
				}
			}
		}, question)
		if err != nil {
			return err
		}
		bySerial := make(map[string]*trackedRow, len(items))
		for _, item := range items {
			bySerial[item.Tool.Serial] = nil
		}
		due := &trackedRows{}
		for _, r := range all.rows {
			if _, is := bySerial[r.tool.Due.Tool.Serial]; is {
				due.rows, bySerial[r.tool.Due.Tool.Serial] = append(due.rows, r), r
			}
		}
		due.index()
		if err := t.custodyOf(ctx, due, micro(q.AsOf)); err != nil {
			return err
		}
		for i := range items {
			items[i].Place(bySerial[items[i].Tool.Serial].tool)
		}
		return nil
	})
	return items, err
}

// eventsThatMatter is eventsOf for the tools that an event makes due: to look for one, all
// that was ever noticed with a tool is gone through.
func (t *tx) eventsThatMatter(ctx context.Context, all *trackedRows, asOf int64) error {
	some := &trackedRows{byKey: all.byKey}
	for _, r := range all.rows {
		if r.tool.Due.Tool.DueAfterEvent || len(r.tool.Policies) > 0 {
			some.rows = append(some.rows, r)
		}
	}
	if len(some.rows) == 0 {
		return nil
	}
	return t.eventsOf(ctx, some, asOf)
}

// toolsToLookAt reads the tools that are asked for, each with its newest calibration.
// Of a whole fleet those are left out that nothing makes due by then; what is asked of
// a few tools, or of some sites, is read at once.
func (t *tx) toolsToLookAt(ctx context.Context, m *useMemory, q analysis.TrackedQuery, question analysis.DueQuestion) (*trackedRows, error) {
	c, err := t.trackedClause(ctx, q)
	if err != nil {
		return nil, err
	}
	if len(q.Sites) == 0 && len(q.Serials) == 0 {
		keys, err := t.mayFallDue(ctx, m, *c, question)
		if err != nil {
			return nil, err
		}
		c = &clause{}
		c.add("x.id IN (SELECT b.key FROM "+t.engine.numbers()+" b)", listed(keys))
	}
	return t.toolsWhere(ctx, c, micro(q.AsOf), 0)
}

// A month has at least so many microseconds when many follow one another, less the
// slack: two years have 730 days of 729.6, February has 28 of 26.4. The slack covers
// the local day's end too.
const (
	leastMonth = int64(304 * 24 * time.Hour / 10 / time.Microsecond)
	monthSlack = int64(4 * 24 * time.Hour / time.Microsecond)
)

// usedByThen gives the keys of the tools whose cycles may be used up by the horizon, so
// many days ahead. Used is at most what was used since a calibration must have been made
// for the months to go beyond the horizon.
func (t *tx) usedByThen(ctx context.Context, m *useMemory, c clause, asOf, young, days int64) (used []int64, err error) {
	c.add("x.interval_cycles > 0")
	err = t.query(ctx, func(rows *sql.Rows) error {
		var key, months, cycles int64
		err := rows.Scan(&key, &months, &cycles)
		if months == 0 || m.mayRunOut(key, m.since(key, floorHour(young-months*leastMonth)-1), cycles, asOf, days) {
			used = append(used, key)
		}
		return err
	}, "SELECT x.id, x.interval_months, x.interval_cycles FROM tools x"+c.where(), c.args...)
	return used, err
}

const day = 24 * time.Hour

// mayFallDue gives the keys of the tools of a fleet that something may make due by the
// horizon, and perhaps others: a tool is left out when no policy but its calibration's
// binds it, each calibration that it ever had is proof, the newest is so young that its
// months go beyond the horizon, its cycles last as long, and nothing ever befell it.
// Whether a tool that is given falls due is for package analysis.
func (t *tx) mayFallDue(ctx context.Context, m *useMemory, c clause, q analysis.DueQuestion) (keys []int64, err error) {
	unproven, err := t.unproven(ctx)
	if err != nil {
		return nil, err
	}
	asOf, young := micro(q.AsOf), micro(q.AsOf.Add(q.Within))+monthSlack
	used, err := t.usedByThen(ctx, m, c, asOf, young, int64(q.Within/day)+2)
	if err != nil {
		return nil, err
	}
	c.add(`(COALESCE(CAST(x.policies AS text), '[]') NOT IN ('[]', 'null')
OR x.interval_months > 0 AND NOT EXISTS (SELECT 1 FROM records r WHERE r.tool_id = x.id AND r.kind = 3 AND r.occur_time <= ? AND r.occur_time > ? - x.interval_months * ? AND `+notCorrected+`)
OR x.id IN (SELECT b.key FROM `+t.engine.numbers()+` b)
OR x.due_after_event AND x.id IN (SELECT o.tool_id FROM incidents i CROSS JOIN records o WHERE o.id = i.id AND i.kind = ? AND o.tool_id IS NOT NULL
UNION ALL SELECT o.tool_id FROM custodies i CROSS JOIN records o WHERE o.id = i.id AND i.kind >= ?)
OR x.id IN (SELECT o.tool_id FROM `+t.engine.numbers()+` b CROSS JOIN records o WHERE o.id = b.key))`,
		asOf, young, leastMonth, listed(used),
		uint8(ledger.DroppedTool), uint8(ledger.CustodyDropped), listed(unproven))
	err = t.query(ctx, func(rows *sql.Rows) error {
		var key int64
		err := rows.Scan(&key)
		keys = append(keys, key)
		return err
	}, "SELECT x.id FROM tools x"+c.where(), c.args...)
	return keys, err
}

// listed hands keys over as numbered does.
func listed(keys []int64) string {
	return numbered(len(keys), func(put func(key, value int64)) {
		for _, key := range keys {
			put(key, 0)
		}
	})
}

// DueInputs reads what the due dates of calibrations hang on, as TrackedTools has
// it. KindNotFound when a site is unknown.
func (s *Store) DueInputs(ctx context.Context, q analysis.DueQuery) (inputs []analysis.DueInput, err error) {
	tools, err := s.TrackedTools(ctx, analysis.TrackedQuery{AsOf: q.AsOf, Sites: q.Sites, Kinds: q.Kinds})
	for _, t := range tools {
		inputs = append(inputs, t.Due)
	}
	return inputs, err
}
