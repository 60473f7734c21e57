package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"slices"

	"jointledger/ent/column"
	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// CalibratedTools calls yield with each tool that was calibrated as of a moment
// and its calibrations that were not corrected, without declarations of conformance
// that prove nothing (ledger.Proving). Tools come in the order of their
// keys, one at a time: the readings of a large fleet are not held all at once. An
// error of yield ends it. KindNotFound when a tool asked for is unknown.
func (s *Store) CalibratedTools(ctx context.Context, q analysis.ReliabilityQuery, yield func(analysis.CalibratedTool) error) error {
	return s.viewLong(ctx, func(t *tx) error {
		tools, err := t.calibratedTools(ctx, q, "", 0)
		if err != nil {
			return err
		}
		cycles, err := t.cyclesBetween(ctx, q)
		if err != nil {
			return err
		}
		return t.eachCalibrated(ctx, q, tools, cycles, yield)
	})
}

// CalibratedPage reads a page of tools that were calibrated, in the order of their
// serials, without their cycles; errors as CalibratedTools.
func (s *Store) CalibratedPage(ctx context.Context, q analysis.ReliabilityQuery, p Page) (items []analysis.CalibratedTool, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		tools, err := t.calibratedTools(ctx, q, p.After, p.Size+1)
		if err != nil || len(tools) == 0 {
			return err
		}
		serials := make([]string, 0, len(tools))
		for _, v := range tools {
			serials = append(serials, v.Serial)
		}
		slices.Sort(serials)
		serials, next = cut(serials, p, func(serial string) string { return serial })
		q.Serials = serials
		err = t.eachCalibrated(ctx, q, tools, nil, func(c analysis.CalibratedTool) error {
			items = append(items, c)
			return nil
		})
		slices.SortFunc(items, func(a, b analysis.CalibratedTool) int {
			return slices.Index(serials, a.Tool.Serial) - slices.Index(serials, b.Tool.Serial)
		})
		return err
	})
	return items, next, err
}

// calibrationsOf gives the conditions of the question over tools x and the
// records r of their calibrations.
func (t *tx) calibrationsOf(ctx context.Context, q analysis.ReliabilityQuery) (*clause, error) {
	c := t.toolsOf(q)
	if len(q.TypeClasses) > 0 {
		texts, err := t.typeClasses(ctx, q.TypeClasses)
		if err != nil {
			return nil, err
		}
		if len(texts) == 0 {
			c.add("1 = 0")
		} else {
			c.add("x.type_class IN "+marks(1, len(texts)), texts...)
		}
	}
	c.add("r.kind = ?", uint8(ledger.KindCalibration))
	c.add("r.occur_time <= ?", micro(q.AsOf))
	c.add(notCorrected)
	c.add(proving)
	return c, nil
}

func (t *tx) toolsOf(q analysis.ReliabilityQuery) *clause {
	c := &clause{}
	if len(q.Kinds) > 0 {
		kinds := make([]any, len(q.Kinds))
		for i, k := range q.Kinds {
			kinds[i] = uint8(k)
		}
		c.add("x.kind IN "+marks(1, len(kinds)), kinds...)
	}
	if len(q.Serials) > 0 {
		serials := make([]any, len(q.Serials))
		for i, s := range q.Serials {
			serials[i] = askable(s)
		}
		c.add("x.serial IN "+marks(1, len(serials)), serials...)
	}
	return c
}

// typeClasses gives the types and classes as they are written in the register for
// the codes asked for: `ii a` and `II-A` are the same.
func (t *tx) typeClasses(ctx context.Context, codes []string) (texts []any, err error) {
	err = t.query(ctx, func(rows *sql.Rows) error {
		var text string
		if err := rows.Scan(&text); err != nil {
			return err
		}
		if code, err := analysis.TypeClassCode(text); err == nil && slices.Contains(codes, code) {
			texts = append(texts, text)
		}
		return nil
	}, "SELECT DISTINCT type_class FROM tools WHERE type_class <> ''")
	return texts, err
}

// calibratedTools reads the register's part of the tools that were calibrated, by
// key, after a serial and at most so many of them; limit 0 means all.
func (t *tx) calibratedTools(ctx context.Context, q analysis.ReliabilityQuery, after string, limit int) (map[int]ledger.Tool, error) {
	for _, serial := range q.Serials {
		if _, err := t.needNamed(ctx, toolNoun, serial); err != nil {
			return nil, err
		}
	}
	c, err := t.calibrationsOf(ctx, q)
	if err != nil {
		return nil, err
	}
	if after != "" {
		c.add("x.serial > ?", askable(after))
	}
	tail, args := " ORDER BY x.serial", c.args
	if limit > 0 {
		tail, args = tail+" LIMIT ?", append(args, limit)
	}
	tools := map[int]ledger.Tool{}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var key int
		var v ledger.Tool
		err := rows.Scan(&key, &v.Serial, &v.Kind, &v.TypeClass, &v.MinimumNewtonMetres, &v.MaximumNewtonMetres, &v.ResolutionNewtonMetres,
			&v.IntervalMonths, &v.IntervalCycles, &v.HomeSite)
		tools[key] = v
		return err
	}, `SELECT DISTINCT x.id, x.serial, x.kind, x.type_class, x.min_nm, x.max_nm, x.resolution_nm, x.interval_months, x.interval_cycles, s.code
FROM tools x JOIN sites s ON s.id = x.home_site_id JOIN records r ON r.tool_id = x.id`+c.where()+tail, args...)
	return tools, err
}

// calibratedAt is a calibration of a tool.
type calibratedAt struct {
	tool int
	at   int64
}

// cyclesBetween sums the use of tools from each calibration to the next, by the
// hour: of the hours in which a tool was calibrated, all its use goes to the side
// of its last tightening in that hour.
func (t *tx) cyclesBetween(ctx context.Context, q analysis.ReliabilityQuery) (map[calibratedAt]int64, error) {
	c, err := t.calibrationsOf(ctx, q)
	if err != nil {
		return nil, err
	}
	cycles := map[calibratedAt]int64{}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var of calibratedAt
		var fasteners int64
		err := rows.Scan(&of.tool, &of.at, &fasteners)
		cycles[of] = fasteners
		return err
	}, `WITH c AS (
SELECT r.tool_id, r.occur_time AS start_time, LEAD(r.occur_time) OVER (PARTITION BY r.tool_id ORDER BY r.occur_time, r.id) AS end_time
FROM records r JOIN tools x ON x.id = r.tool_id`+c.where()+`
)
SELECT c.tool_id, c.start_time, SUM(u.fasteners) FROM c JOIN tool_uses u ON u.tool_id = c.tool_id
AND u.hour >= c.start_time / `+perHour+` AND u.hour <= c.end_time / `+perHour+` AND u.last_time > c.start_time AND u.last_time <= c.end_time
GROUP BY c.tool_id, c.start_time`, c.args...)
	return cycles, err
}

// eachCalibrated reads the calibrations, oldest first within each tool, and hands
// on each tool with its own.
func (t *tx) eachCalibrated(ctx context.Context, q analysis.ReliabilityQuery, tools map[int]ledger.Tool, cycles map[calibratedAt]int64, yield func(analysis.CalibratedTool) error) error {
	c, err := t.calibrationsOf(ctx, q)
	if err != nil {
		return err
	}
	current := 0
	var one analysis.CalibratedTool
	hand := func() error {
		if current == 0 {
			return nil
		}
		return yield(one)
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var of calibratedAt
		var points, verdict []byte
		if err := rows.Scan(&of.tool, &of.at, &points, &verdict); err != nil {
			return err
		}
		if of.tool != current {
			if err := hand(); err != nil {
				return err
			}
			current, one = of.tool, analysis.CalibratedTool{Tool: tools[of.tool]}
		}
		seen, err := calibrationSeen(of.at, points, verdict)
		seen.CyclesToNext = cycles[of]
		one.Calibrations = append(one.Calibrations, seen)
		return err
	}, `SELECT r.tool_id, r.occur_time, b.points, b.verdict FROM records r JOIN calibrations b ON b.id = r.id JOIN tools x ON x.id = r.tool_id`+
		c.where()+" ORDER BY r.tool_id, r.occur_time, r.id", c.args...)
	if err != nil {
		return err
	}
	return hand()
}

func calibrationSeen(at int64, points, verdict []byte) (seen analysis.CalibrationSeen, err error) {
	var columns []column.Point
	if err := json.Unmarshal(points, &columns); err != nil {
		return seen, err
	}
	seen.At, seen.Points = fromMicro(at), pointsOf(columns)
	seen.Verdict, err = verdictOf(verdict)
	return seen, err
}
