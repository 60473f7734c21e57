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
	newest, err := t.recordsWhere(ctx, ledger.KindCalibration, &c, " ORDER BY r.occur_time DESC, r.id DESC LIMIT 1")
	if err != nil {
		return err
	}
	since := int64(-1) << 62
	if len(newest) == 1 {
		in.Last = newest[0].Record.(*ledger.Calibration)
		since = micro(in.Last.OccurTime)
	}
	// Use by the hour is fine enough for a due date and bounds what is read.
	const hour = int64(3_600_000_000)
	err = t.query(ctx, func(rows *sql.Rows) error {
		var at int64
		var use analysis.Use
		err := rows.Scan(&at, &use.Fasteners)
		use.At = fromMicro(at)
		in.Uses = append(in.Uses, use)
		return err
	}, `SELECT MAX(r.occur_time), SUM(x.fasteners) FROM records r JOIN tightenings x ON x.id = r.id
WHERE r.tool_id = ? AND r.occur_time > ? AND r.occur_time <= ? GROUP BY r.occur_time / ? ORDER BY 1`, tool, since, asOf, hour)
	if err != nil {
		return err
	}
	return t.query(ctx, func(rows *sql.Rows) error {
		var at int64
		var uid []byte
		var e analysis.Event
		if err := rows.Scan(&at, &uid, &e.Kind); err != nil {
			return err
		}
		e.At = fromMicro(at)
		copy(e.ID[:], uid)
		in.Events = append(in.Events, e)
		return nil
	}, `SELECT r.occur_time, r.uid, x.kind FROM records r JOIN incidents x ON x.id = r.id
WHERE r.tool_id = ? AND r.occur_time > ? AND r.occur_time <= ? AND x.kind = ? ORDER BY r.occur_time, r.id`, tool, since, asOf, uint8(ledger.DroppedTool))
}
