package store

import (
	"cmp"
	"context"
	"database/sql"
	"math"
	"slices"
	"sync"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// useMemory remembers by day how many fasteners each tool has tightened, so that
// whether the cycles of a tool may be used up is no sum over a year of its hours. What
// chains have grown by since says which days of which tools to read again.
type useMemory struct {
	// lock holds a value while somebody uses the memory.
	lock    chan struct{}
	lengths map[int]int64
	tools   map[int64][]usedDay // by key of the tool, in the order of days
	lineage int64
}

// usedDay is the use of a tool on a day of UTC: the day, counted from 1970-01-01, and in
// its lower bits the fasteners. There are very many: a tool has one for each day of work.
// Of more fasteners than fit it says only that they are many.
type usedDay uint32

// The bits of a day's fasteners leave 19 for the day: enough for the year 3000 and more.
const (
	usedBits = 13
	mostUsed = 1<<usedBits - 1
	// many stands for what does not fit: it is beyond all cycles that a policy can give,
	// so that the tool's hours are read.
	many = math.MaxInt32
)

func newUsedDay(day int32, fasteners int64) usedDay {
	return usedDay(day<<usedBits) | usedDay(min(max(fasteners, 0), mostUsed))
}

func (d usedDay) day() int32 { return int32(d >> usedBits) }

func (d usedDay) fasteners() int64 {
	if n := int64(d & mostUsed); n < mostUsed {
		return n
	}
	return many
}

// findDay gives the place of the first day that is not before a day.
func findDay(days []usedDay, day int32) int {
	i, _ := slices.BinarySearchFunc(days, day, func(d usedDay, day int32) int { return cmp.Compare(d.day(), day) })
	return i
}

// mostFollowed bounds how many new records are looked through; after more the whole is
// read again.
const mostFollowed = 50_000

const hoursPerDay = 24

func newUseMemory() *useMemory {
	m := &useMemory{lock: make(chan struct{}, 1)}
	m.begin()
	return m
}

// begin forgets everything.
func (m *useMemory) begin() { m.lengths, m.tools = map[int]int64{}, nil }

// since is what a tool has tightened from the day of an hour on, with all of that day:
// at least what it was since that hour.
func (m *useMemory) since(tool, hour int64) (fasteners int64) {
	days := m.tools[tool]
	for _, d := range days[findDay(days, dayOfHour(hour)):] {
		fasteners += d.fasteners()
	}
	return fasteners
}

// mayRunOut says whether the cycles of a tool may be used up so many days after a moment,
// when it has tightened at most used since its calibration. With c cycles, of which u are
// used at r a day, the rest lasts until then or less when c <= u + r·days. The use is
// averaged over the window or, where the calibration lies within it, since then, but over
// no less than a day: it may have been on any day of it.
func (m *useMemory) mayRunOut(tool, used, cycles, asOf, days int64) bool {
	const window = int64(metrology.ForecastWindow / day)
	today := floorDay(asOf)
	if cycles*window <= used*window+m.since(tool, (today-window-1)*hoursPerDay)*days {
		return true
	}
	since, uses := int64(0), m.tools[tool]
	for ago := int64(1); ago <= window; ago++ {
		// Of a calibration so many days and some hours ago.
		for len(uses) > 0 && int64(uses[len(uses)-1].day()) >= today-ago-1 {
			since, uses = since+uses[len(uses)-1].fasteners(), uses[:len(uses)-1]
		}
		if cycles*ago <= since*(ago+days) {
			return true
		}
	}
	return false
}

// fill gives a tool the days that count as a whole, those before the window that its use
// is forecast from together and those within it, and says from which hours on the
// others must be read, each to the end of its day: those of its newest calibration, of
// the start of the window, and of the moment asked for. It gives none where days would not
// do: the tool has policies of other actions, or its cycles may be used up, and then the
// hour in which they were matters.
func (m *useMemory) fill(r *trackedRow, asOf int64) (hours []int64, ok bool) {
	if m == nil || r.back < r.since || len(r.tool.Policies) > 0 {
		return nil, false
	}
	since := floorHour(max(r.since, 0))
	key, cycles := int64(r.key), int64(r.tool.Due.Tool.IntervalCycles)
	first, last := dayOfHour(since), dayOfHour(floorHour(asOf))
	window := dayOfHour(floorHour(asOf - int64(metrology.ForecastWindow/time.Microsecond)))
	if last <= first || cycles > 0 && m.since(key, since) >= cycles {
		return nil, false
	}
	hours = []int64{since, int64(last) * hoursPerDay}
	if window > first {
		hours = append(hours, int64(window)*hoursPerDay)
	}
	// Whether a day is within the window is all that is asked of when it was.
	var before, within int64
	for _, d := range m.tools[key] {
		switch day := d.day(); {
		case day <= first || day >= last || day == window:
		case d.fasteners() == many:
			return nil, false
		case day < window:
			before += d.fasteners()
		default:
			within += d.fasteners()
		}
	}
	for _, u := range []struct {
		day       int32
		fasteners int64
	}{{first + 1, before}, {max(first, window) + 1, within}} {
		if u.fasteners > 0 {
			r.tool.Due.Uses = append(r.tool.Due.Uses, analysis.Use{At: fromMicro(int64(u.day) * hoursPerDay * microsPerHour), Fasteners: u.fasteners})
		}
	}
	return hours, true
}

// toolDay is a tool and an hour from which on its day is read.
type toolDay struct{ tool, hour int64 }

// fillAll is fill for many tools: byHour are those whose hours must all be read, byDay
// the tools and hours from which on a day must be.
func (m *useMemory) fillAll(all *trackedRows, asOf int64) (byHour *trackedRows, byDay []toolDay) {
	byHour = &trackedRows{}
	for _, r := range all.rows {
		hours, ok := m.fill(r, asOf)
		for _, hour := range hours {
			byDay = append(byDay, toolDay{int64(r.key), hour})
		}
		if !ok {
			byHour.rows = append(byHour.rows, r)
		}
	}
	return byHour, byDay
}

func dayOfHour(hour int64) int32 { return int32(floorDay(hour * microsPerHour)) }

// withUses runs use in a transaction that reads, with the memory brought up to the state
// of the database that it sees, until done is called.
func (s *Store) withUses(ctx context.Context, use func(t *tx, m *useMemory, done func()) error) error {
	m := s.uses
	select {
	case m.lock <- struct{}{}:
	case <-ctx.Done():
		return s.fault(ctx.Err())
	}
	done := sync.OnceFunc(func() { <-m.lock })
	defer done()
	return s.view(ctx, func(t *tx) error {
		if err := t.bringUpUses(ctx, m); err != nil {
			m.begin()
			return err
		}
		return use(t, m, done)
	})
}

func (t *tx) bringUpUses(ctx context.Context, m *useMemory) error {
	if breaks := t.lineage.breaks.Load(); breaks != m.lineage {
		m.begin()
		m.lineage = breaks
	}
	lengths, err := t.chainLengths(ctx)
	if err != nil {
		return err
	}
	grown := int64(0)
	for site, length := range lengths {
		grown += length - m.lengths[site]
	}
	if m.tools == nil || grown > mostFollowed || older(lengths, m.lengths, 0, 0) {
		m.tools, err = t.readUses(ctx)
	} else if grown > 0 {
		err = t.followUses(ctx, m, lengths)
	}
	m.lengths = lengths
	return err
}

// readUses reads the use of all tools: in the order of the table, for by that of the key
// a large one takes ten times as long.
func (t *tx) readUses(ctx context.Context) (map[int64][]usedDay, error) {
	tools := map[int64][]usedDay{}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var tool, hour, fasteners int64
		err := rows.Scan(&tool, &hour, &fasteners)
		tools[tool] = addUse(tools[tool], hour, fasteners)
		return err
	}, "SELECT tool_id, hour, fasteners FROM tool_uses")
	for tool, days := range tools {
		tools[tool] = byDay(days)
	}
	return tools, err
}

// byDay puts days in their order, and those that are there more than once together.
func byDay(days []usedDay) []usedDay {
	slices.Sort(days)
	var out []usedDay
	for _, d := range days {
		out = addUse(out, int64(d.day())*hoursPerDay, d.fasteners())
	}
	return slices.Clone(out) // without the room that it grew by
}

// addUse adds the use of an hour after the others.
func addUse(days []usedDay, hour, fasteners int64) []usedDay {
	day := dayOfHour(hour)
	if n := len(days); n == 0 || days[n-1].day() != day {
		return append(days, newUsedDay(day, fasteners))
	}
	last := &days[len(days)-1]
	*last = newUsedDay(day, last.fasteners()+fasteners)
	return days
}

// followUses reads again what the records since have changed.
func (t *tx) followUses(ctx context.Context, m *useMemory, lengths map[int]int64) error {
	from := map[int64]int64{} // the first hour of each tool that has changed
	for site, length := range lengths {
		before := m.lengths[site]
		if before == length {
			continue
		}
		first, last := int64(site)<<sequenceBits|(before+1), int64(site)<<sequenceBits|length
		err := t.query(ctx, func(rows *sql.Rows) error {
			var tool, at int64
			err := rows.Scan(&tool, &at)
			if hour, known := from[tool]; !known || floorHour(at) < hour {
				from[tool] = floorHour(at)
			}
			return err
			// The signs keep the engine to the order of the records.
		}, `SELECT r.tool_id, r.occur_time FROM records r WHERE r.id >= ? AND r.id <= ? AND +r.kind = ? AND +r.tool_id IS NOT NULL
UNION ALL SELECT o.tool_id, o.occur_time FROM corrections c CROSS JOIN records o WHERE o.id = c.corrected_id AND c.id >= ? AND c.id <= ? AND o.tool_id IS NOT NULL`,
			first, last, uint8(ledger.KindTightening), first, last)
		if err != nil {
			return err
		}
	}
	for tool, hour := range from {
		days := m.tools[tool]
		days = days[:findDay(days, dayOfHour(hour))]
		err := t.query(ctx, func(rows *sql.Rows) error {
			var hour, fasteners int64
			err := rows.Scan(&hour, &fasteners)
			days = addUse(days, hour, fasteners)
			return err
		}, "SELECT hour, fasteners FROM tool_uses WHERE tool_id = ? AND hour >= ? ORDER BY hour", tool, int64(dayOfHour(hour))*hoursPerDay)
		if err != nil {
			return err
		}
		m.tools[tool] = days
	}
	return nil
}
