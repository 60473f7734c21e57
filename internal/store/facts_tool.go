package store

import (
	"context"
	"database/sql"
	"math"
	"slices"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"

	"jointledger/internal/analysis"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// microsPerHour is the width of a bucket of tool_uses.
const microsPerHour = int64(time.Hour / time.Microsecond)

// perHour is the same for a query.
const perHour = "3600000000"

// toolRegister is what the rules need about a tool and its use does not change.
type toolRegister struct {
	// past has no calibrations and no uses: those are read when they are needed. It is
	// shared and never written.
	past *known.ToolPast
	tool *ledger.Tool // that of past
	// calibrations prove something and are in order of time.
	calibrations []recordAt
}

// toolFacts is what the rules need about a tool.
type toolFacts struct {
	toolRegister
	key int
	// most is the use in a span of hours that holds all that the wave asks about.
	most hourSum
	// sums are of use between two hours, hours the single uses in an hour, each
	// read when it is first needed.
	sums  map[[2]int64]int64
	hours map[int64][]use
	// wave are uses by records before this one in the same wave, which the
	// database does not have yet.
	wave []use
}

type recordAt struct {
	id int64
	at time.Time
}

type use struct{ at, fasteners int64 }

func (t *tx) toolFacts(ctx context.Context, keys []any) (map[int]*toolFacts, error) {
	of := func(m *registerMemory) *lru.Cache[int, toolRegister] { return m.tools }
	registers, err := recall(t, of, keys, func(keys []any) (map[int]toolRegister, error) { return t.toolRegisters(ctx, keys) })
	if err != nil {
		return nil, err
	}
	tools := make(map[int]*toolFacts, len(registers))
	for key, r := range registers {
		tools[key] = &toolFacts{toolRegister: r, key: key, sums: map[[2]int64]int64{}, hours: map[int64][]use{}}
	}
	return tools, nil
}

func (t *tx) toolRegisters(ctx context.Context, keys []any) (map[int]toolRegister, error) {
	tools := map[int]*toolRegister{}
	holds, err := t.holdSpans(ctx, "tool_id", keys)
	if err != nil {
		return nil, err
	}
	err = inKeys(keys, func(part []any) error {
		return t.query(ctx, func(rows *sql.Rows) error {
			past, key, zone := &known.ToolPast{}, 0, ""
			v := &past.Tool
			var policies []byte
			err := rows.Scan(&key, &v.Serial, &v.Kind, &v.TypeClass, &v.MinimumNewtonMetres, &v.MaximumNewtonMetres, &v.ResolutionNewtonMetres,
				&v.IntervalMonths, &v.IntervalCycles, &v.DueAfterEvent, &policies, &v.HomeSite, &zone)
			if err != nil {
				return err
			}
			if v.Policies, err = policiesIn(policies); err != nil {
				return err
			}
			tools[key], past.Holds = &toolRegister{past: past, tool: v}, holds[key]
			past.Home, err = t.names.zone(zone)
			return err
		}, `SELECT x.id, x.serial, x.kind, x.type_class, x.min_nm, x.max_nm, x.resolution_nm, x.interval_months, x.interval_cycles, x.due_after_event, x.policies, s.code, s.time_zone
FROM tools x JOIN sites s ON s.id = x.home_site_id WHERE x.id IN `+marks(1, len(part)), part...)
	})
	if err != nil {
		return nil, err
	}
	if err := inKeys(keys, func(part []any) error { return t.toolPast(ctx, tools, part) }); err != nil {
		return nil, err
	}
	registers := make(map[int]toolRegister, len(tools))
	for key, f := range tools {
		registers[key] = *f
	}
	return registers, nil
}

// toolPast reads the calibrations, custody, events and checks of tools.
func (t *tx) toolPast(ctx context.Context, tools map[int]*toolRegister, keys []any) error {
	in := "r.tool_id IN " + marks(1, len(keys)) + " AND r.kind = ? AND " + notCorrected
	err := t.query(ctx, func(rows *sql.Rows) error {
		var tool int
		var c recordAt
		var at int64
		var document ledger.CalibrationDocument
		if err := rows.Scan(&tool, &c.id, &at, &document); err != nil {
			return err
		}
		c.at = fromMicro(at)
		// As ledger.Proving has it.
		if f := tools[tool]; document != ledger.DeclarationOfConformance || len(f.calibrations) == 0 {
			f.calibrations = append(f.calibrations, c)
		}
		return nil
	}, "SELECT r.tool_id, r.id, r.occur_time, x.document FROM records r JOIN calibrations x ON x.id = r.id WHERE "+in+" ORDER BY r.tool_id, r.occur_time, r.id", append(keys[:len(keys):len(keys)], uint8(ledger.KindCalibration))...)
	if err != nil {
		return err
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var tool int
		var at int64
		var uid []byte
		var c ledger.Custody
		if err := rows.Scan(&tool, &uid, &at, &c.Kind, &c.Site, &c.Holder); err != nil {
			return err
		}
		f := tools[tool]
		c.ID, c.Tool, c.OccurTime = idOf(uid), f.tool.Serial, fromMicro(at)
		f.past.Custody = append(f.past.Custody, c)
		return nil
	}, `SELECT r.tool_id, r.uid, r.occur_time, x.kind, s.code, COALESCE(p.code, '') FROM records r JOIN custodies x ON x.id = r.id JOIN sites s ON s.id = r.site_id
LEFT JOIN people p ON p.id = x.holder_id WHERE `+in+` ORDER BY r.tool_id, r.occur_time, r.id`, append(keys[:len(keys):len(keys)], uint8(ledger.KindCustody))...)
	if err != nil {
		return err
	}
	if err := t.toolChecks(ctx, tools, in, keys); err != nil {
		return err
	}
	return t.query(ctx, func(rows *sql.Rows) error {
		var tool int
		var at int64
		if err := rows.Scan(&tool, &at); err != nil {
			return err
		}
		past := tools[tool].past
		past.Dropped = append(past.Dropped, fromMicro(at))
		return nil
	}, "SELECT r.tool_id, r.occur_time FROM records r JOIN incidents x ON x.id = r.id WHERE "+in+" AND x.kind = ? ORDER BY r.tool_id, r.occur_time, r.id",
		append(keys[:len(keys):len(keys)], uint8(ledger.KindIncident), uint8(ledger.DroppedTool))...)
}

// toolChecks reads the inspections, proof tests and checks of tools; in is the
// condition on the records, with keys and the kind for its marks.
func (t *tx) toolChecks(ctx context.Context, tools map[int]*toolRegister, in string, keys []any) error {
	return t.query(ctx, func(rows *sql.Rows) error {
		var tool int
		var at int64
		var d analysis.ActionDone
		var result ledger.InspectionResult
		if err := rows.Scan(&tool, &at, &d.Action, &result); err != nil {
			return err
		}
		d.At, d.Failed = fromMicro(at), result == ledger.InspectionFail
		past := tools[tool].past
		past.Checks = append(past.Checks, d)
		return nil
	}, "SELECT r.tool_id, r.occur_time, x.action, x.result FROM records r JOIN tool_checks x ON x.id = r.id WHERE "+in+" ORDER BY r.tool_id, r.occur_time, r.id",
		append(keys[:len(keys):len(keys)], uint8(ledger.KindToolCheck))...)
}

// fill puts in what the rules need of the tool at the record's time.
func (f *toolFacts) fill(ctx context.Context, t *tx, r *staged, p *known.Pieces) (err error) {
	p.Tool = f.past
	if i := f.inForce(r.OccurTime()); i >= 0 {
		if p.Calibration, err = t.calibrationByKey(ctx, f.calibrations[i].id); err != nil {
			return err
		}
	}
	if f.tool.IntervalCycles == 0 {
		return nil
	}
	at := micro(r.OccurTime())
	since := f.since(at)
	p.Cycles, err = f.cycles(ctx, t, since, at)
	if r.instead.tool == f.key && r.instead.at > since && r.instead.at < at {
		p.Cycles = max(0, p.Cycles-r.instead.fasteners)
	}
	return err
}

// inForce is the index of the calibration in force at a moment; -1 for none.
func (f *toolRegister) inForce(at time.Time) int {
	return known.LastBy(f.calibrations, at, func(c *recordAt) time.Time { return c.at })
}

// hourSum is the use of a tool strictly between two hours.
type hourSum struct{ first, last, fasteners int64 }

// askedHours is a tool and the hours between which its use is asked for. As a row of
// values, since SQLite would parse a condition with GROUP BY anew at each run.
const askedHours = "(CAST(? AS BIGINT), CAST(? AS BIGINT), CAST(? AS BIGINT))"

// readMost finds for each tool a sum that is at least what any row of the wave asks for:
// few tools are near their interval, and the others need no more. It is what is
// remembered or read of the tool to this day, or, where that comes to the interval, what
// is read up to the last of the rows.
func (k *knownFacts) readMost(ctx context.Context, rows []*staged) error {
	spans := map[int]hourSum{}
	var tools []int
	for _, r := range rows {
		f := k.tools[r.tool]
		if f == nil || f.tool.IntervalCycles == 0 || f.counted() {
			continue
		}
		at := micro(r.OccurTime())
		first, last := floorHour(max(f.since(at), 0))-1, floorHour(at)+1
		s, seen := spans[r.tool]
		if !seen {
			tools, s = append(tools, r.tool), hourSum{first: first, last: last}
		}
		spans[r.tool] = hourSum{first: min(s.first, first), last: max(s.last, last)}
	}
	var anew, bounded []int
	for _, tool := range tools {
		f, s := k.tools[tool], spans[tool]
		used, known := k.t.rememberedUse(tool)
		switch {
		case known && used.hour <= s.first && used.fasteners < int64(f.tool.IntervalCycles):
			f.most = hourSum{used.hour, math.MaxInt64, used.fasteners}
		case known && used.hour == s.first || !k.t.usedHere.known:
			f.most = s
			bounded = append(bounded, tool)
		default:
			f.most = hourSum{first: s.first, last: math.MaxInt64}
			anew = append(anew, tool)
		}
	}
	if err := k.readSums(ctx, anew); err != nil {
		return err
	}
	for _, tool := range anew {
		f := k.tools[tool]
		k.t.rememberUse(tool, usedAfter{f.most.first, f.most.fasteners})
		if f.most.fasteners >= int64(f.tool.IntervalCycles) {
			f.most = spans[tool]
			bounded = append(bounded, tool)
		}
	}
	return k.readSums(ctx, bounded)
}

// readSums reads the use of tools in the hours of their most, in one query.
func (k *knownFacts) readSums(ctx context.Context, tools []int) error {
	keys := make([]any, len(tools))
	for i, tool := range tools {
		keys[i] = tool
	}
	// Three parameters a tool stay within the engines' limit: a wave is no longer
	// than mostRecords.
	return inKeys(keys, func(part []any) error {
		args := make([]any, 0, 3*len(part))
		for _, tool := range part {
			s := k.tools[tool.(int)].most
			args = append(args, tool, s.first, s.last)
		}
		return k.t.query(ctx, func(rows *sql.Rows) error {
			var tool int
			var n int64
			err := rows.Scan(&tool, &n)
			k.tools[tool].most.fasteners = n
			return err
		}, `SELECT a.column1, (SELECT COALESCE(SUM(u.fasteners), 0) FROM tool_uses u WHERE u.tool_id = a.column1 AND u.hour > a.column2 AND u.hour < a.column3)
FROM (VALUES `+askedHours+repeat(","+askedHours, len(part)-1)+") a", args...)
	})
}

// since is the time of the calibration in force at a time; long ago for none.
func (f *toolRegister) since(at int64) int64 {
	if i := f.inForce(fromMicro(at)); i >= 0 {
		return micro(f.calibrations[i].at)
	}
	return int64(-1) << 62
}

// counted says whether it matters how many cycles there were, and not only whether they
// have come to the interval: for a policy of another action counts them too.
func (f *toolFacts) counted() bool {
	return slices.ContainsFunc(f.tool.Policies, func(p ledger.Policy) bool { return p.Cycles > 0 })
}

// cycles counts the fasteners tightened with the tool after since and before at.
// While readMost has found no more than the interval, that is the answer: an upper
// bound, for all that is asked is whether they have come to it. Otherwise, and where
// the number matters, the hours at the ends are counted one by one.
func (f *toolFacts) cycles(ctx context.Context, t *tx, since, at int64) (int64, error) {
	first, last := floorHour(max(since, 0)), floorHour(at)
	wave := between(f.wave, since, at)
	if !f.counted() && f.most.first < first && f.most.last > last && f.most.fasteners+wave < int64(f.tool.IntervalCycles) {
		return f.most.fasteners + wave, nil
	}
	n, err := f.sum(ctx, t, first, last)
	if err != nil {
		return 0, err
	}
	ends := []int64{first, last}
	if first == last {
		ends = ends[:1]
	}
	for _, hour := range ends {
		uses, err := f.inHour(ctx, t, hour)
		if err != nil {
			return 0, err
		}
		n += between(uses, since, at)
	}
	return n + wave, nil
}

func floorHour(at int64) int64 { return at / microsPerHour }

func between(uses []use, since, at int64) (n int64) {
	for _, u := range uses {
		if u.at > since && u.at < at {
			n += u.fasteners
		}
	}
	return n
}

// sum adds up the hours strictly between two.
func (f *toolFacts) sum(ctx context.Context, t *tx, first, last int64) (int64, error) {
	key := [2]int64{first, last}
	if n, ok := f.sums[key]; ok {
		return n, nil
	}
	var n int64
	err := t.sql.QueryRowContext(ctx, t.engine.bind("SELECT COALESCE(SUM(fasteners), 0) FROM tool_uses WHERE tool_id = ? AND hour > ? AND hour < ?"), f.key, first, last).Scan(&n)
	f.sums[key] = n
	return n, err
}

func (f *toolFacts) inHour(ctx context.Context, t *tx, hour int64) ([]use, error) {
	if uses, ok := f.hours[hour]; ok {
		return uses, nil
	}
	uses := []use{}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var u use
		err := rows.Scan(&u.at, &u.fasteners)
		uses = append(uses, u)
		return err
	}, usesInHour, f.key, uint8(ledger.KindTightening), hour*microsPerHour, (hour+1)*microsPerHour)
	f.hours[hour] = uses
	return uses, err
}

// calibrationByKey reads one calibration. Records never change, so each is read
// once.
func (t *tx) calibrationByKey(ctx context.Context, key int64) (*ledger.Calibration, error) {
	if c, ok := t.calibrations[key]; ok {
		return c, nil
	}
	if c, ok := t.names.calibrations.Get(key); ok {
		return c, nil
	}
	r, err := t.recordByKey(ctx, ledger.KindCalibration, key)
	if err != nil {
		return nil, err
	}
	c := r.(*ledger.Calibration)
	t.calibrations[key] = c
	t.learn(func() { t.names.calibrations.Add(key, c) })
	return c, nil
}
