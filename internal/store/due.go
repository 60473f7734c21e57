package store

import (
	"context"
	"database/sql"

	"jointledger/ent/site"
	"jointledger/ent/tool"
	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// DueInputs reads what the due dates of tools hang on: the newest calibration
// of each, its use and what befell it since. KindNotFound when a site is
// unknown.
func (s *Store) DueInputs(ctx context.Context, q analysis.DueQuery) (inputs []analysis.DueInput, err error) {
	err = s.view(ctx, func(t *tx) error {
		query := t.ent().Tool.Query().WithHomeSite().Order(tool.BySerial())
		if len(q.Sites) > 0 {
			for _, code := range q.Sites {
				if _, err := t.needNamed(ctx, siteNoun, code); err != nil {
					return err
				}
			}
			query.Where(tool.HasHomeSiteWith(site.CodeIn(q.Sites...)))
		}
		if len(q.Kinds) > 0 {
			kinds := make([]uint8, len(q.Kinds))
			for i, k := range q.Kinds {
				kinds[i] = uint8(k)
			}
			query.Where(tool.KindIn(kinds...))
		}
		rows, err := query.All(ctx)
		if err != nil {
			return err
		}
		for _, r := range rows {
			in := analysis.DueInput{}
			if in.Tool, err = toolOf(r); err != nil {
				return err
			}
			if in.Location, err = t.names.zone(r.Edges.HomeSite.TimeZone); err != nil {
				return err
			}
			if err := t.toolHistory(ctx, r.ID, micro(q.AsOf), &in); err != nil {
				return err
			}
			inputs = append(inputs, in)
		}
		return nil
	})
	return inputs, err
}

// toolHistory reads the newest calibration up to asOf, and use and events after
// it.
func (t *tx) toolHistory(ctx context.Context, tool int, asOf int64, in *analysis.DueInput) error {
	var c clause
	c.add("r.tool_id = ?", tool)
	c.add("r.occur_time <= ?", asOf)
	c.add(notCorrected)
	newest, err := t.recordsWhere(ctx, ledger.KindCalibration, &c, " ORDER BY r.occur_time DESC, r.id DESC LIMIT 1")
	if err != nil {
		return err
	}
	since := int64(-1) << 62
	if len(newest) == 1 {
		in.Last = newest[0].Record.(*ledger.Calibration)
		since = micro(in.Last.OccurTime)
	}
	if err := t.toolUses(ctx, tool, since, asOf, in); err != nil {
		return err
	}
	return t.toolEvents(ctx, tool, since, asOf, in)
}

// toolUses reads the use of a tool by the hour: fine enough for a due date, and
// it bounds what is read. The hours at the ends are counted from the records.
func (t *tx) toolUses(ctx context.Context, tool int, since, asOf int64, in *analysis.DueInput) error {
	f := &toolFacts{key: tool, hours: map[int64][]use{}}
	first, last := floorHour(max(since, 0)), floorHour(asOf)
	add := func(hour int64) error {
		uses, err := f.inHour(ctx, t, hour)
		var sum use
		for _, u := range uses {
			if u.at > since && u.at <= asOf {
				sum = use{max(sum.at, u.at), sum.fasteners + u.fasteners}
			}
		}
		if sum.fasteners > 0 {
			in.Uses = append(in.Uses, analysis.Use{At: fromMicro(sum.at), Fasteners: sum.fasteners})
		}
		return err
	}
	if err := add(first); err != nil {
		return err
	}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var at int64
		var u analysis.Use
		err := rows.Scan(&at, &u.Fasteners)
		u.At = fromMicro(at)
		in.Uses = append(in.Uses, u)
		return err
	}, "SELECT last_time, fasteners FROM tool_uses WHERE tool_id = ? AND hour > ? AND hour < ? AND fasteners > 0 ORDER BY hour", tool, first, last)
	if err != nil || first == last {
		return err
	}
	return add(last)
}

// toolEvents reads what befell a tool: dropped, overloaded, repaired.
func (t *tx) toolEvents(ctx context.Context, tool int, since, asOf int64, in *analysis.DueInput) error {
	return t.query(ctx, func(rows *sql.Rows) error {
		var at int64
		var uid []byte
		var e analysis.Event
		if err := rows.Scan(&at, &uid, &e.Kind, &e.Custody); err != nil {
			return err
		}
		e.At, e.ID = fromMicro(at), idOf(uid)
		in.Events = append(in.Events, e)
		return nil
	}, `SELECT r.occur_time, r.uid, x.kind, 0 FROM records r JOIN incidents x ON x.id = r.id
WHERE r.tool_id = ? AND r.kind = 2 AND r.occur_time > ? AND r.occur_time <= ? AND x.kind = ? AND `+notCorrected+`
UNION ALL
SELECT r.occur_time, r.uid, 0, x.kind FROM records r JOIN custodies x ON x.id = r.id
WHERE r.tool_id = ? AND r.kind = 7 AND r.occur_time > ? AND r.occur_time <= ? AND x.kind >= ? AND `+notCorrected+`
ORDER BY 1, 2`, tool, since, asOf, uint8(ledger.DroppedTool), tool, since, asOf, uint8(ledger.CustodyDropped))
}
