package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// These queries read what befell tools, each for all of them at once. The tools
// are handed over with how far back each is looked at, so that no more is read
// than counts.

// numbered is the JSON object that engine.numbers makes a table of.
func numbered(n int, each func(put func(key, value int64))) string {
	b := make([]byte, 0, 24*n+2)
	b = append(b, '{')
	each(func(key, value int64) {
		if len(b) > 1 {
			b = append(b, ',')
		}
		b = append(b, '"')
		b = strconv.AppendInt(b, key, 10)
		b = append(b, '"', ':')
		b = strconv.AppendInt(b, value, 10)
	})
	return string(append(b, '}'))
}

func (a *trackedRows) numbered(value func(*trackedRow) int64) string {
	return numbered(len(a.rows), func(put func(key, value int64)) {
		for _, r := range a.rows {
			put(int64(r.key), value(r))
		}
	})
}

// custodyOf reads the newest change of custody of each tool that says who has it,
// as package known has it: a drop or an overload only when nothing else is on
// record.
func (t *tx) custodyOf(ctx context.Context, all *trackedRows, asOf int64) error {
	return t.query(ctx, func(rows *sql.Rows) error {
		var key int
		var at int64
		c := &analysis.ToolCustody{}
		if err := rows.Scan(&key, &at, &c.Kind, &c.Site, &c.Holder, &c.HolderName); err != nil {
			return err
		}
		c.Since = fromMicro(at)
		all.byKey[key].tool.Custody = c
		return nil
	}, `SELECT b.key, o.occur_time, x.kind, s.code, COALESCE(p.code, ''), COALESCE(p.name, '') FROM `+t.engine.numbers()+` b CROSS JOIN records o JOIN custodies x ON x.id = o.id
JOIN sites s ON s.id = o.site_id LEFT JOIN people p ON p.id = x.holder_id
WHERE o.id = COALESCE((SELECT r.id FROM records r JOIN custodies m ON m.id = r.id
WHERE r.tool_id = b.key AND r.kind = 7 AND r.occur_time <= ? AND m.kind NOT IN (?, ?) AND `+notCorrected+` ORDER BY r.occur_time DESC, r.id DESC LIMIT 1),
(SELECT r.id FROM records r WHERE r.tool_id = b.key AND r.kind = 7 AND r.occur_time <= ? AND `+notCorrected+` ORDER BY r.occur_time DESC, r.id DESC LIMIT 1))`,
		all.numbered(func(*trackedRow) int64 { return 0 }), asOf, uint8(ledger.CustodyDropped), uint8(ledger.CustodyOverloaded), asOf)
}

// actionBits hold the action beside a tool's key.
const actionBits = 3

// checksOf reads when each action that a policy of the tool asks for was last
// done; of two at one moment the one that was failed. It also says how far back
// the policies look.
func (t *tx) checksOf(ctx context.Context, all *trackedRows, asOf int64) error {
	wanted := 0
	list := numbered(len(all.rows), func(put func(key, value int64)) {
		for _, r := range all.rows {
			for _, p := range r.tool.Policies {
				if p.Action != ledger.ActionCalibration {
					put(int64(r.key)<<actionBits|int64(p.Action), 0)
					wanted++
				}
			}
		}
	})
	if wanted > 0 {
		err := t.query(ctx, func(rows *sql.Rows) error {
			var key, at int64
			var result ledger.InspectionResult
			if err := rows.Scan(&key, &at, &result); err != nil {
				return err
			}
			r := all.byKey[int(key>>actionBits)]
			r.tool.Done = append(r.tool.Done, analysis.ActionDone{
				Action: ledger.PolicyAction(key & (1<<actionBits - 1)), At: fromMicro(at), Failed: result == ledger.InspectionFail,
			})
			return nil
		}, `SELECT l.key, r.occur_time, x.result FROM (SELECT b.key, b.key / 8 AS tool_id, b.key % 8 AS action, (SELECT r.occur_time FROM records r JOIN tool_checks x ON x.id = r.id
WHERE r.tool_id = b.key / 8 AND r.kind = 12 AND r.occur_time <= ? AND x.action = b.key % 8 AND `+notCorrected+` ORDER BY r.occur_time DESC LIMIT 1) AS at FROM `+t.engine.numbers()+` b) l
JOIN records r ON r.tool_id = l.tool_id AND r.kind = 12 AND r.occur_time = l.at JOIN tool_checks x ON x.id = r.id AND x.action = l.action
WHERE `+notCorrected+` ORDER BY l.key, r.id`, asOf, list)
		if err != nil {
			return err
		}
	}
	for _, r := range all.rows {
		r.back = r.lookBack()
	}
	return nil
}

// failedChecksOf reads the checks that were failed and not passed since, of actions that
// no policy of the tool asks for; those that one asks for checksOf has read. What was
// before the newest calibration is over, see analysis.TrackedTool.LendingRefusals.
func (t *tx) failedChecksOf(ctx context.Context, all *trackedRows, asOf int64) error {
	return t.query(ctx, func(rows *sql.Rows) error {
		var key int
		var at int64
		d := analysis.ActionDone{Failed: true}
		if err := rows.Scan(&key, &d.Action, &at); err != nil {
			return err
		}
		r := all.byKey[key]
		if !slices.ContainsFunc(r.tool.Policies, func(p ledger.Policy) bool { return p.Action == d.Action }) {
			d.At = fromMicro(at)
			r.tool.Done = append(r.tool.Done, d)
		}
		return nil
	}, `SELECT b.key, x.action, r.occur_time FROM `+t.engine.numbers()+` b CROSS JOIN records r JOIN tool_checks x ON x.id = r.id
WHERE r.tool_id = b.key AND r.kind = 12 AND r.occur_time >= b.value AND r.occur_time <= ? AND x.result = ? AND `+notCorrected+`
AND NOT EXISTS (SELECT 1 FROM records l JOIN tool_checks y ON y.id = l.id WHERE l.tool_id = b.key AND l.kind = 12 AND l.occur_time > r.occur_time AND l.occur_time <= ?
AND y.action = x.action AND NOT EXISTS (SELECT 1 FROM corrections c WHERE c.corrected_id = l.id)) ORDER BY b.key, r.occur_time, r.id`,
		all.numbered(func(r *trackedRow) int64 { return r.since }), asOf, uint8(ledger.InspectionFail), asOf)
}

// lookBack is the earliest last time of what the tool's policies count from: its
// calibration, and any action that has to do with use or events.
func (r *trackedRow) lookBack() int64 {
	back := r.since
	for _, p := range r.tool.Policies {
		if !p.AfterEvent && p.Cycles == 0 || p.Action == ledger.ActionCalibration {
			continue
		}
		last := longAgo
		for _, d := range r.tool.Done {
			if d.Action == p.Action {
				last = micro(d.At)
			}
		}
		back = min(back, last)
	}
	return back
}

// manyTools is from how many on it costs less to go through all that ever befell
// any tool than to look for each.
const manyTools = 5000

// eventsOf reads what befell tools: dropped, overloaded, repaired.
func (t *tx) eventsOf(ctx context.Context, all *trackedRows, asOf int64) error {
	return t.eventsFrom(ctx, all, asOf, len(all.rows) >= manyTools)
}

func (t *tx) eventsFrom(ctx context.Context, all *trackedRows, asOf int64, many bool) error {
	query, args := t.eventsQuery(all, asOf, many)
	err := t.query(ctx, func(rows *sql.Rows) error {
		var key int
		var at int64
		var uid []byte
		var e analysis.Event
		if err := rows.Scan(&key, &at, &uid, &e.Kind, &e.Custody); err != nil {
			return err
		}
		r := all.byKey[key]
		if r == nil || at <= r.back {
			return nil
		}
		e.At, e.ID = fromMicro(at), idOf(uid)
		if at > r.since {
			r.tool.Due.Events = append(r.tool.Due.Events, e)
		}
		if r.back < r.since {
			r.tool.PolicyEvents = append(r.tool.PolicyEvents, e)
		}
		return nil
	}, query, args...)
	for _, r := range all.rows {
		if r.back < r.since && r.tool.PolicyEvents == nil {
			r.tool.PolicyEvents = []analysis.Event{}
		}
	}
	return err
}

func (t *tx) eventsQuery(all *trackedRows, asOf int64, many bool) (query string, args []any) {
	dropped, befell := uint8(ledger.DroppedTool), uint8(ledger.CustodyDropped)
	if many {
		return `SELECT r.tool_id, r.occur_time, r.uid, x.kind, 0 FROM incidents x CROSS JOIN records r
WHERE r.id = x.id AND x.kind = ? AND r.tool_id IS NOT NULL AND r.occur_time <= ? AND ` + notCorrected + `
UNION ALL
SELECT r.tool_id, r.occur_time, r.uid, 0, x.kind FROM custodies x CROSS JOIN records r
WHERE r.id = x.id AND x.kind >= ? AND r.occur_time <= ? AND ` + notCorrected + `
ORDER BY 1, 2, 3`, []any{dropped, asOf, befell, asOf}
	}
	list := all.numbered(func(r *trackedRow) int64 { return r.back })
	return `SELECT b.key, r.occur_time, r.uid, x.kind, 0 FROM ` + t.engine.numbers() + ` b CROSS JOIN records r JOIN incidents x ON x.id = r.id
WHERE r.tool_id = b.key AND r.kind = 2 AND r.occur_time > b.value AND r.occur_time <= ? AND x.kind = ? AND ` + notCorrected + `
UNION ALL
SELECT b.key, r.occur_time, r.uid, 0, x.kind FROM ` + t.engine.numbers() + ` b CROSS JOIN records r JOIN custodies x ON x.id = r.id
WHERE r.tool_id = b.key AND r.kind = 7 AND r.occur_time > b.value AND r.occur_time <= ? AND x.kind >= ? AND ` + notCorrected + `
ORDER BY 1, 2, 3`, []any{list, asOf, dropped, list, asOf, befell}
}

// toolHoldsOf reads the holds on tools that were open.
func (t *tx) toolHoldsOf(ctx context.Context, all *trackedRows, asOf int64) error {
	return t.query(ctx, func(rows *sql.Rows) error {
		var key int
		var uid []byte
		var at int64
		var h analysis.ToolHold
		if err := rows.Scan(&key, &uid, &at, &h.Reason); err != nil {
			return err
		}
		h.ID, h.Since = idOf(uid), fromMicro(at)
		if r := all.byKey[key]; r != nil {
			r.tool.Holds = append(r.tool.Holds, h)
		}
		return nil
	}, `SELECT h.tool_id, r.uid, r.occur_time, h.reason FROM holds h JOIN records r ON r.id = h.id
LEFT JOIN holds x ON x.released_hold_id = h.id LEFT JOIN records e ON e.id = x.id
WHERE h.tool_id IS NOT NULL AND h.action = 1 AND r.occur_time <= ? AND (e.id IS NULL OR e.occur_time > ?) ORDER BY h.tool_id, r.occur_time, r.id`, asOf, asOf)
}

// usesOf reads the use of tools by the hour: fine enough for a due date, and it
// bounds what is read. The hours at the ends are counted from the records where
// not all of the hour counts. Where days at hand in the memory will do they are taken
// from it, unless that is nil.
func (t *tx) usesOf(ctx context.Context, all *trackedRows, m *useMemory, asOf int64) error {
	last := floorHour(asOf)
	var ends []any
	counted := func(r *trackedRow, u analysis.Use) {
		at := micro(u.At)
		if at > r.since {
			r.tool.Due.Uses = append(r.tool.Due.Uses, u)
		}
		if r.back < r.since && at > r.back {
			r.tool.PolicyUses = append(r.tool.PolicyUses, u)
		}
	}
	read := func(rows *sql.Rows) error {
		var key int
		var hour, at int64
		var u analysis.Use
		if err := rows.Scan(&key, &hour, &at, &u.Fasteners); err != nil {
			return err
		}
		r := all.byKey[key]
		u.At = fromMicro(at)
		// The last use of an hour tells whether a bound can part it.
		if hour == floorHour(r.since) && at > r.since || hour == floorHour(r.back) && at > r.back || hour == last && at > asOf {
			ends = append(ends, key, hour*microsPerHour, (hour+1)*microsPerHour)
			return nil
		}
		counted(r, u)
		return nil
	}
	byHour, byDay := m.fillAll(all, asOf)
	if len(byHour.rows) > 0 {
		query := "SELECT b.key, u.hour, u.last_time, u.fasteners FROM " + t.engine.numbers() + ` b CROSS JOIN tool_uses u
WHERE u.tool_id = b.key AND u.hour >= b.value AND u.fasteners > 0 AND u.hour <= ?`
		if err := t.query(ctx, read, query, byHour.numbered(func(r *trackedRow) int64 { return floorHour(max(r.back, 0)) }), last); err != nil {
			return err
		}
	}
	if err := t.usesOfDays(ctx, byDay, last, read); err != nil {
		return err
	}
	if err := t.usesInHours(ctx, all, ends, asOf); err != nil {
		return err
	}
	byTime := func(a, b analysis.Use) int { return a.At.Compare(b.At) }
	for _, r := range all.rows {
		if len(r.tool.Due.Uses)+len(r.tool.PolicyUses) == 0 {
			continue
		}
		// The index mostly gave them in order; to have the engine sort them costs more.
		slices.SortFunc(r.tool.Due.Uses, byTime)
		slices.SortFunc(r.tool.PolicyUses, byTime)
	}
	return nil
}

// fewDays is up to how many days of tools are looked for one by one: a planner that does
// not know how few they are goes through the use of all tools.
const fewDays = 250

// usesOfDays reads the hours of days, each from an hour to its end, up to the last hour.
func (t *tx) usesOfDays(ctx context.Context, days []toolDay, last int64, read func(*sql.Rows) error) error {
	if len(days) == 0 {
		return nil
	}
	end := func(d toolDay) int64 { return min(last+1, (d.hour/hoursPerDay+1)*hoursPerDay) }
	if len(days) <= fewDays {
		const one = "u.tool_id = ? AND u.hour >= ? AND u.hour < ?"
		args := make([]any, 0, 3*len(days))
		for _, d := range days {
			args = append(args, d.tool, d.hour, end(d))
		}
		return t.query(ctx, read, "SELECT u.tool_id, u.hour, u.last_time, u.fasteners FROM tool_uses u WHERE u.fasteners > 0 AND ("+one+repeat(" OR "+one, len(days)-1)+")", args...)
	}
	list := numbered(len(days), func(put func(key, value int64)) {
		for _, d := range days {
			put(d.tool, d.hour)
		}
	})
	// SQLite takes one upper bound to the index: with a sign it is not this one.
	return t.query(ctx, read, "SELECT b.key, u.hour, u.last_time, u.fasteners FROM "+t.engine.numbers()+fmt.Sprintf(` b CROSS JOIN tool_uses u
WHERE u.tool_id = b.key AND u.hour >= b.value AND u.fasteners > 0 AND +u.hour <= ? AND u.hour < (b.value / %d + 1) * %[1]d`, hoursPerDay), list, last)
}

// usesByHour is usesOf without a memory.
func (t *tx) usesByHour(ctx context.Context, all *trackedRows, asOf int64) error {
	return t.usesOf(ctx, all, nil, asOf)
}

// usesInHours counts single hours from the records: ends are key of the tool,
// start and end of the hour. What lies on either side of a bound is kept apart.
func (t *tx) usesInHours(ctx context.Context, all *trackedRows, ends []any, asOf int64) error {
	type part struct {
		key        int
		hour       int64
		sinceCount bool
	}
	sums := map[part]*analysis.Use{}
	var order []part
	for len(ends) > 0 {
		n := min(len(ends), 3*250)
		conditions := "(r.tool_id = ? AND r.kind = 1 AND r.occur_time >= ? AND r.occur_time < ?)" +
			repeat(" OR (r.tool_id = ? AND r.kind = 1 AND r.occur_time >= ? AND r.occur_time < ?)", n/3-1)
		err := t.query(ctx, func(rows *sql.Rows) error {
			var key int
			var at, fasteners int64
			if err := rows.Scan(&key, &at, &fasteners); err != nil {
				return err
			}
			r := all.byKey[key]
			if at > asOf || at <= r.back {
				return nil
			}
			p := part{key, floorHour(at), at > r.since}
			u := sums[p]
			if u == nil {
				u = &analysis.Use{}
				sums[p], order = u, append(order, p)
			}
			u.Fasteners += fasteners
			if moment := fromMicro(at); moment.After(u.At) {
				u.At = moment
			}
			return nil
		}, "SELECT r.tool_id, r.occur_time, x.fasteners FROM records r JOIN tightenings x ON x.id = r.id WHERE ("+conditions+") AND "+notCorrected, ends[:n]...)
		if err != nil {
			return err
		}
		ends = ends[n:]
	}
	for _, p := range order {
		r := all.byKey[p.key]
		if p.sinceCount {
			r.tool.Due.Uses = append(r.tool.Due.Uses, *sums[p])
		}
		if r.back < r.since {
			r.tool.PolicyUses = append(r.tool.PolicyUses, *sums[p])
		}
	}
	return nil
}
