package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"slices"
	"strconv"

	"jointledger/ent/column"
	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// TrackedTools reads tools with all that says whether they may be used as of a
// moment: what their due dates rest on, custody, open holds. They come in the
// order of their serials; it takes a handful of queries, however many there are.
// Of the newest calibration only what is asked of it is read: when, by whom, under
// which certificate, and the outcome; readings and figures only where the tool did
// not pass or no verdict is kept. KindNotFound when the query names an unknown site, person or tool.
func (s *Store) TrackedTools(ctx context.Context, q analysis.TrackedQuery) (tools []analysis.TrackedTool, err error) {
	err = s.view(ctx, func(t *tx) error {
		tools, err = t.trackedTools(ctx, q)
		return err
	})
	return tools, err
}

// TrackedToolsPage is TrackedTools by pages.
func (s *Store) TrackedToolsPage(ctx context.Context, q analysis.TrackedQuery, p Page) (tools []analysis.TrackedTool, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		// What custody does not bear out drops out of what was read, so that it may
		// take more than one reading to fill a page.
		for after := p.After; len(tools) <= p.Size; {
			part, last, err := t.trackedPart(ctx, q, after, p.Size+1)
			if err != nil {
				return err
			}
			tools = append(tools, part...)
			if last == "" {
				break
			}
			after = last
		}
		tools, next = cut(tools, p, func(v analysis.TrackedTool) string { return v.Due.Tool.Serial })
		return nil
	})
	return tools, next, err
}

func (t *tx) trackedTools(ctx context.Context, q analysis.TrackedQuery) ([]analysis.TrackedTool, error) {
	tools, _, err := t.trackedPart(ctx, q, "", 0)
	return tools, err
}

// trackedPart reads those after a serial, at most so many unless 0; last is the
// serial to go on after, empty when these were the last.
func (t *tx) trackedPart(ctx context.Context, q analysis.TrackedQuery, after string, most int) (tools []analysis.TrackedTool, last string, err error) {
	all, err := t.toolsWithCalibrations(ctx, q, after, most)
	if err != nil || len(all.rows) == 0 {
		return nil, "", err
	}
	if all.more {
		last = all.rows[len(all.rows)-1].tool.Due.Tool.Serial
	}
	if err := t.custodyOf(ctx, all, micro(q.AsOf)); err != nil {
		return nil, "", err
	}
	if q.Visiting || q.Holder != "" || q.Lent {
		all.rows = slices.DeleteFunc(all.rows, func(r *trackedRow) bool { return !present(r.tool, q) })
		all.index()
	}
	if err := t.pastOf(ctx, all, micro(q.AsOf)); err != nil {
		return nil, "", err
	}
	tools = make([]analysis.TrackedTool, len(all.rows))
	for i, r := range all.rows {
		tools[i] = r.tool
	}
	return tools, last, nil
}

// pastOf reads everything about the tools but their newest change of custody.
func (t *tx) pastOf(ctx context.Context, all *trackedRows, asOf int64) error {
	for _, read := range []func(context.Context, *trackedRows, int64) error{t.checksOf, t.failedChecksOf, t.usesByHour, t.eventsOf, t.toolHoldsOf} {
		if err := read(ctx, all, asOf); err != nil {
			return err
		}
	}
	return nil
}

// present says whether the newest change of custody bears out what was asked.
func present(t analysis.TrackedTool, q analysis.TrackedQuery) bool {
	if q.Holder != "" && t.Holder() != q.Holder || q.Lent && t.Holder() == "" {
		return false
	}
	return len(q.Sites) == 0 || slices.Contains(q.Sites, t.Due.Tool.HomeSite) || t.Custody != nil && slices.Contains(q.Sites, t.Custody.Site)
}

// trackedRow is one tool as it is being read. since is the time of its newest
// calibration, long ago for none; back is how far its policies look back.
type trackedRow struct {
	key         int
	since, back int64
	// calibration is the key of the newest one; 0 for none.
	calibration int64
	tool        analysis.TrackedTool
}

// trackedRows are tools in the order of their serials, and by their keys.
type trackedRows struct {
	rows  []*trackedRow
	byKey map[int]*trackedRow
	// more says that others follow that were not read.
	more bool
}

func (a *trackedRows) index() {
	a.byKey = make(map[int]*trackedRow, len(a.rows))
	for _, r := range a.rows {
		a.byKey[r.key] = r
	}
}

// longAgo is before anything that is on record.
const longAgo = int64(-1) << 62

// newestCalibration is when the newest calibration of the tool x was made; its mark
// is the moment looked from. Only the index's own order is asked for: of two at one
// moment the later taken in is picked from the rows. The newest of few tools is a
// declaration of conformance, from which no interval may be counted:
// wholeCalibrations reads those anew.
const newestCalibration = `(SELECT r.occur_time FROM records r WHERE r.tool_id = x.id AND r.kind = 3 AND r.occur_time <= ? AND ` +
	notCorrected + ` ORDER BY r.occur_time DESC LIMIT 1)`

// toolsWithCalibrations reads the tools that are asked for, those after a serial, at
// most so many unless 0, each with its newest calibration.
func (t *tx) toolsWithCalibrations(ctx context.Context, q analysis.TrackedQuery, after string, most int) (*trackedRows, error) {
	c, err := t.trackedClause(ctx, q)
	if err != nil {
		return nil, err
	}
	if after != "" {
		c.add("x.serial > ?", after)
	}
	return t.toolsWhere(ctx, c, micro(q.AsOf), most)
}

// toolsWhere reads the tools x that meet conditions, each with its newest
// calibration, at most so many unless 0, in one query.
func (t *tx) toolsWhere(ctx context.Context, c *clause, asOf int64, most int) (*trackedRows, error) {
	limit := ""
	if most > 0 {
		limit = " LIMIT " + strconv.Itoa(most+1)
	}
	all, read := &trackedRows{}, 0
	scan := t.calibratedScanner()
	err := t.query(ctx, func(rows *sql.Rows) error {
		r, err := scan(rows)
		read++
		if n := len(all.rows); err == nil && n > 0 && all.rows[n-1].key == r.key {
			if r.calibration > all.rows[n-1].calibration {
				all.rows[n-1] = r
			}
			return nil
		}
		all.rows = append(all.rows, r)
		return err
	}, `SELECT x.id, x.serial, x.kind, x.type_class, x.min_nm, x.max_nm, x.resolution_nm, x.interval_months, x.interval_cycles, x.due_after_event,
x.rated_load_kg, x.policies, x.version, x.create_time, x.update_time, h.code, h.time_zone,
r.id, r.uid, r.occur_time, k.laboratory, k.certificate, k.document, k.verdict
FROM tools x JOIN sites h ON h.id = x.home_site_id
LEFT JOIN records r ON r.tool_id = x.id AND r.kind = 3 AND r.occur_time = `+newestCalibration+` AND `+notCorrected+`
LEFT JOIN calibrations k ON k.id = r.id`+
		c.where()+" ORDER BY x.serial"+limit, append([]any{asOf}, c.args...)...)
	if err != nil {
		return nil, err
	}
	// There may be more rows of the last tool than were read: it comes with the next.
	if all.more = most > 0 && read > most; all.more && len(all.rows) > 1 {
		all.rows = all.rows[:len(all.rows)-1]
	}
	all.index()
	return all, t.wholeCalibrations(ctx, all, asOf)
}

// wholeCalibrations reads the calibrations that more is asked of than the outcome:
// those that did not let the tool pass, those without a verdict, and in place of
// a declaration of conformance the calibration that holds.
func (t *tx) wholeCalibrations(ctx context.Context, all *trackedRows, asOf int64) error {
	wanted := map[int64]*trackedRow{}
	var declared []*trackedRow
	for _, r := range all.rows {
		switch c := r.tool.Due.Last; {
		case c == nil:
		case c.Document == ledger.DeclarationOfConformance:
			declared = append(declared, r)
		case c.Verdict == nil:
			wanted[r.calibration] = r
		}
	}
	if len(declared) > 0 {
		list := numbered(len(declared), func(put func(key, value int64)) {
			for _, r := range declared {
				put(int64(r.key), 0)
			}
		})
		err := t.query(ctx, func(rows *sql.Rows) error {
			var key int
			var id int64
			err := rows.Scan(&key, &id)
			wanted[id] = all.byKey[key]
			return err
		}, "SELECT b.key, (SELECT r.id FROM records r WHERE r.tool_id = b.key AND r.kind = 3 AND r.occur_time <= ? AND "+notCorrected+" AND "+proving+
			" ORDER BY r.occur_time DESC, r.id DESC LIMIT 1) FROM "+t.engine.numbers()+" b", asOf, list)
		if err != nil {
			return err
		}
	}
	if len(wanted) == 0 {
		return nil
	}
	list := numbered(len(wanted), func(put func(key, value int64)) {
		for id := range wanted {
			put(id, 0)
		}
	})
	return t.query(ctx, func(rows *sql.Rows) error {
		var uid, points, judged []byte
		var id, at int64
		c := &ledger.Calibration{}
		err := rows.Scan(&id, &uid, &at, &c.Laboratory, &c.Certificate, &c.Document, &points, &judged)
		if err != nil {
			return err
		}
		r := wanted[id]
		c.Tool, c.ID, c.OccurTime = r.tool.Due.Tool.Serial, idOf(uid), fromMicro(at)
		if c.Points, err = pointsIn(points); err != nil {
			return err
		}
		r.tool.Due.Last, r.since, r.calibration = c, at, id
		c.Verdict, err = verdictOf(judged)
		return err
	}, "SELECT r.id, r.uid, r.occur_time, k.laboratory, k.certificate, k.document, k.points, k.verdict FROM "+t.engine.numbers()+
		" b CROSS JOIN records r JOIN calibrations k ON k.id = r.id WHERE r.id = b.key", list)
}

// trackedClause gives the conditions of a question; what it names must exist.
func (t *tx) trackedClause(ctx context.Context, q analysis.TrackedQuery) (*clause, error) {
	c := &clause{}
	var sites []any
	for _, code := range q.Sites {
		key, err := t.needNamed(ctx, siteNoun, code)
		if err != nil {
			return nil, err
		}
		sites = append(sites, key)
	}
	if len(sites) > 0 {
		at := "x.home_site_id IN " + marks(1, len(sites))
		args := sites
		for i := 0; q.Visiting && i < len(sites); i++ {
			// A site's records are one range of the key.
			at += " OR x.id IN (SELECT v.tool_id FROM custodies o JOIN records v ON v.id = o.id WHERE o.id >= ? AND o.id < ?)"
			site := int64(sites[i].(int))
			args = append(args[:len(args):len(args)], site<<sequenceBits, (site+1)<<sequenceBits)
		}
		c.add("("+at+")", args...)
	}
	if q.Holder != "" {
		key, err := t.needNamed(ctx, personNoun, q.Holder)
		if err != nil {
			return nil, err
		}
		c.add("x.id IN (SELECT v.tool_id FROM custodies o JOIN records v ON v.id = o.id WHERE o.holder_id = ?)", key)
	}
	if q.Lent {
		c.add("x.id IN (SELECT v.tool_id FROM custodies o JOIN records v ON v.id = o.id WHERE o.holder_id IS NOT NULL)")
	}
	if len(q.Kinds) > 0 {
		kinds := make([]any, len(q.Kinds))
		for i, k := range q.Kinds {
			kinds[i] = uint8(k)
		}
		c.add("x.kind IN "+marks(1, len(kinds)), kinds...)
	}
	if len(q.Serials) > 0 {
		serials := make([]any, len(q.Serials))
		for i, serial := range q.Serials {
			if _, err := t.needNamed(ctx, toolNoun, serial); err != nil {
				return nil, err
			}
			serials[i] = serial
		}
		c.add("x.serial IN "+marks(1, len(serials)), serials...)
	}
	return c, nil
}

// calibratedScanner reads rows of toolsWithCalibrations.
func (t *tx) calibratedScanner() func(*sql.Rows) (*trackedRow, error) {
	var (
		v                       ledger.Tool
		zone                    string
		created, updated        int64
		policies, uid, judged   sql.RawBytes
		id, occur               sql.NullInt64
		document                sql.NullByte
		laboratory, certificate sql.NullString
		key                     int
	)
	targets := []any{
		&key, &v.Serial, &v.Kind, &v.TypeClass, &v.MinimumNewtonMetres, &v.MaximumNewtonMetres, &v.ResolutionNewtonMetres,
		&v.IntervalMonths, &v.IntervalCycles, &v.DueAfterEvent, &v.RatedLoadKilograms, &policies, &v.Version, &created, &updated, &v.HomeSite, &zone,
		&id, &uid, &occur, &laboratory, &certificate, &document, &judged,
	}
	return func(rows *sql.Rows) (*trackedRow, error) {
		if err := rows.Scan(targets...); err != nil {
			return nil, err
		}
		r := &trackedRow{key: key, since: longAgo}
		r.tool.Due.Tool, r.tool.CapacityKilograms = v, v.RatedLoadKilograms
		tool := &r.tool.Due.Tool
		tool.CreateTime, tool.UpdateTime = fromMicro(created), fromMicro(updated)
		var err error
		if tool.Policies, err = policiesIn(policies); err != nil {
			return nil, err
		}
		r.tool.Policies = tool.Policies
		if r.tool.Due.Location, err = t.names.zone(zone); err != nil || !id.Valid {
			return r, err
		}
		r.since = occur.Int64
		c := &ledger.Calibration{
			Entry: ledger.Entry{ID: idOf(uid), OccurTime: fromMicro(r.since)}, Tool: v.Serial,
			Laboratory: laboratory.String, Certificate: certificate.String, Document: ledger.CalibrationDocument(document.Byte),
		}
		r.tool.Due.Last = c
		c.Verdict, r.calibration = passedVerdict(judged), id.Int64
		return r, nil
	}
}

// passedVerdict gives the outcome of a verdict that let its tool pass, and nothing
// else of it: to decode all of it, and the readings, for each of very many tools
// costs more than to read them. Nil for any other.
func passedVerdict(kept []byte) *ledger.CalibrationVerdict {
	v := &ledger.CalibrationVerdict{AsFound: verdictAt(kept, `"as_found"`), AsLeft: verdictAt(kept, `"as_left"`)}
	if v.Left() == 0 || !v.Left().Accepted() {
		return nil
	}
	return v
}

// verdictAt reads the number after a key; 0 for none.
func verdictAt(kept []byte, key string) ledger.Verdict {
	i := bytes.Index(kept, []byte(key))
	if i < 0 {
		return 0
	}
	rest := bytes.TrimLeft(kept[i+len(key):], ": ")
	if len(rest) == 0 || rest[0] < '0' || rest[0] > '9' {
		return 0
	}
	return ledger.Verdict(rest[0] - '0')
}

func policiesIn(kept []byte) ([]ledger.Policy, error) {
	if len(kept) == 0 || string(kept) == "[]" || string(kept) == "null" {
		return nil, nil
	}
	var columns []column.Policy
	err := json.Unmarshal(kept, &columns)
	return policiesOf(columns), err
}

func pointsIn(kept []byte) ([]ledger.CalibrationPoint, error) {
	var columns []column.Point
	err := json.Unmarshal(kept, &columns)
	return pointsOf(columns), err
}
