package store

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"time"

	"github.com/google/uuid"

	"jointledger/ent"
	"jointledger/ent/tool"
	"jointledger/internal/analysis"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// tools reads those whose home is the site, that are there, or that a record was
// made about there lately, with what happened to them.
func (c *carriedReader) tools(ctx context.Context) error {
	here, err := c.toolsOnRecord(ctx)
	if err != nil {
		return err
	}
	keys := make([]int, 0, len(here))
	for key := range here {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	rows, err := c.ent().Tool.Query().Where(tool.Or(tool.HomeSiteID(c.site), tool.IDIn(keys...))).Order(tool.BySerial()).WithHomeSite().All(ctx)
	if err != nil {
		return err
	}
	past, err := c.toolsPast(ctx, rows)
	if err != nil {
		return err
	}
	c.holders = map[string]bool{}
	horizon := c.now.Add(-carriedPast)
	for _, r := range rows {
		one := past[r.ID]
		last := lastSaying(one.Custody)
		away := last == nil || last.Site != c.out.Site.Code
		if r.HomeSiteID != c.site && away && here[r.ID] < micro(c.now.Add(-usedLately)) {
			continue
		}
		if last != nil && last.Holder != "" {
			c.holders[last.Holder] = true
		}
		shorten(one, horizon)
		c.out.Tools = append(c.out.Tools, *one)
	}
	return c.uses(ctx, rows)
}

// toolsOnRecord gives, for the tools that records of the site name, when the newest
// of these happened.
func (c *carriedReader) toolsOnRecord(ctx context.Context) (map[int]int64, error) {
	newest := map[int]int64{}
	return newest, c.query(ctx, func(rows *sql.Rows) error {
		var key int
		var at int64
		err := rows.Scan(&key, &at)
		newest[key] = at
		return err
	}, "SELECT r.tool_id, MAX(r.occur_time) FROM records r WHERE r.id >= ? AND r.id < ? AND r.tool_id IS NOT NULL GROUP BY r.tool_id", c.chain()...)
}

// toolsPast reads everything that ever happened to tools, save their use.
func (c *carriedReader) toolsPast(ctx context.Context, rows []*ent.Tool) (map[int]*known.ToolPast, error) {
	past, bySerial := map[int]*known.ToolPast{}, map[string]*known.ToolPast{}
	keys := make([]int, len(rows))
	asked := make([]any, len(rows))
	for i, r := range rows {
		one := &known.ToolPast{}
		var err error
		if one.Tool, err = toolOf(r); err != nil {
			return nil, err
		}
		if one.Home, err = c.names.zone(r.Edges.HomeSite.TimeZone); err != nil {
			return nil, err
		}
		past[r.ID], bySerial[r.Serial], keys[i], asked[i] = one, one, r.ID, r.ID
	}
	held, err := c.spansOf(ctx, "tool_id", keys)
	if err != nil {
		return nil, err
	}
	for key, spans := range held {
		past[key].Holds = spans
	}
	records, err := c.recordsIn(ctx, ledger.KindCalibration, "r.tool_id", asked)
	if err != nil {
		return nil, err
	}
	slices.SortFunc(records, func(a, b keyed) int {
		return cmp.Or(a.Head().OccurTime.Compare(b.Head().OccurTime), cmp.Compare(a.id, b.id))
	})
	for _, k := range records {
		v := k.Record.(*ledger.Calibration)
		// As ledger.Proving has it.
		if one := bySerial[v.Tool]; v.CorrectedBy == uuid.Nil && (v.Document != ledger.DeclarationOfConformance || len(one.Calibrations) == 0) {
			one.Calibrations = append(one.Calibrations, *v)
		}
	}
	return past, c.befell(ctx, past, asked)
}

// befell reads changes of custody, drops and checks of tools.
func (c *carriedReader) befell(ctx context.Context, past map[int]*known.ToolPast, keys []any) error {
	const inOrder = " ORDER BY r.tool_id, r.occur_time, r.id"
	err := c.queryIn(ctx, func(rows *sql.Rows) error {
		var key int
		var at int64
		var uid []byte
		var one ledger.Custody
		if err := rows.Scan(&key, &uid, &at, &one.Kind, &one.Site, &one.Holder); err != nil {
			return err
		}
		one.ID, one.Tool, one.OccurTime = idOf(uid), past[key].Tool.Serial, fromMicro(at)
		past[key].Custody = append(past[key].Custody, one)
		return nil
	}, `SELECT r.tool_id, r.uid, r.occur_time, x.kind, s.code, COALESCE(p.code, '') FROM records r JOIN custodies x ON x.id = r.id
JOIN sites s ON s.id = r.site_id LEFT JOIN people p ON p.id = x.holder_id WHERE r.kind = 7 AND `+notCorrected+" AND r.tool_id", keys, inOrder)
	if err != nil {
		return err
	}
	err = c.queryIn(ctx, func(rows *sql.Rows) error {
		var key int
		var at int64
		err := rows.Scan(&key, &at)
		past[key].Dropped = append(past[key].Dropped, fromMicro(at))
		return err
	}, "SELECT r.tool_id, r.occur_time FROM records r JOIN incidents x ON x.id = r.id WHERE r.kind = 2 AND x.kind = 11 AND "+notCorrected+" AND r.tool_id", keys, inOrder)
	if err != nil {
		return err
	}
	return c.queryIn(ctx, func(rows *sql.Rows) error {
		var key int
		var at int64
		var one analysis.ActionDone
		var result ledger.InspectionResult
		if err := rows.Scan(&key, &at, &one.Action, &result); err != nil {
			return err
		}
		one.At, one.Failed = fromMicro(at), result == ledger.InspectionFail
		past[key].Checks = append(past[key].Checks, one)
		return nil
	}, "SELECT r.tool_id, r.occur_time, x.action, x.result FROM records r JOIN tool_checks x ON x.id = r.id WHERE r.kind = 12 AND "+notCorrected+" AND r.tool_id", keys, inOrder)
}

// saysWho tells changes of custody that say who has the tool from those that leave
// it in the hands it was in.
func saysWho(k ledger.CustodyKind) bool {
	return k != ledger.CustodyDropped && k != ledger.CustodyOverloaded
}

// lastSaying is the newest change of custody that says who has the tool; nil for
// none.
func lastSaying(custody []ledger.Custody) *ledger.Custody {
	for i := len(custody) - 1; i >= 0; i-- {
		if saysWho(custody[i].Kind) {
			return &custody[i]
		}
	}
	return nil
}

// shorten leaves out what happened before the horizon and can't tell any more: who
// had the tool before the last change until then, checks before the last of their
// kind, holds that had ended. Drops, overloads and repairs stay: a tool is due after
// one until it is calibrated.
func shorten(p *known.ToolPast, horizon time.Time) {
	var custody []ledger.Custody
	found := false
	for _, c := range slices.Backward(p.Custody) {
		last := !found && saysWho(c.Kind)
		if !c.OccurTime.Before(horizon) || last || c.Kind >= ledger.CustodyDropped {
			custody = append(custody, c)
		}
		found = found || last && c.OccurTime.Before(horizon)
	}
	slices.Reverse(custody)
	p.Custody = custody

	var checks []analysis.ActionDone
	newest := map[ledger.PolicyAction]time.Time{}
	for _, d := range slices.Backward(p.Checks) {
		before := d.At.Before(horizon)
		at, seen := newest[d.Action]
		if !before || !seen || at.Equal(d.At) {
			checks = append(checks, d)
		}
		if before && !seen {
			newest[d.Action] = d.At
		}
	}
	slices.Reverse(checks)
	p.Checks = checks
	p.Holds = slices.DeleteFunc(p.Holds, func(s known.Span) bool { return !s.To.IsZero() && s.To.Before(horizon) })
}

// uses reads the use since the newest calibration of the carried tools that fall due
// by cycles.
func (c *carriedReader) uses(ctx context.Context, rows []*ent.Tool) error {
	keys := map[string]int{}
	for _, r := range rows {
		keys[r.Serial] = r.ID
	}
	for i := range c.out.Tools {
		one := &c.out.Tools[i]
		if one.Tool.IntervalCycles == 0 {
			continue
		}
		since := longAgo
		if n := len(one.Calibrations); n > 0 {
			since = micro(one.Calibrations[n-1].OccurTime)
		}
		err := c.query(ctx, func(rows *sql.Rows) error {
			var at int64
			var u analysis.Use
			err := rows.Scan(&at, &u.Fasteners)
			u.At = fromMicro(at)
			one.Uses = append(one.Uses, u)
			return err
		}, "SELECT r.occur_time, x.fasteners FROM records r JOIN tightenings x ON x.id = r.id WHERE r.tool_id = ? AND r.kind = 1 AND r.occur_time > ? AND "+notCorrected+" ORDER BY r.occur_time, r.id",
			keys[one.Tool.Serial], since)
		if err != nil {
			return err
		}
	}
	return nil
}
