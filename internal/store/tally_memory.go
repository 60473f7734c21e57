package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"slices"
	"strings"
	"sync"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// tallyMemory remembers the tallies, so that a question adds up numbers that are at
// hand instead of reading hundreds of thousands of rows again; those that differ in
// nothing but the day are added up already. The tallies of a site
// change only with its chain: each question reads anew those of the sites whose chain
// has grown. What sites and lots are called is read again when the register's epoch has
// moved.
type tallyMemory struct {
	// lock holds a value while somebody uses the memory; waiting for it ends with the
	// context.
	lock    chan struct{}
	lengths map[int]int64
	groups  map[int][]talliedGroup // by key of the site
	epoch   int64
	sites   map[int]talliedSite
	lots    map[int]talliedLot
	lineage int64
	// ofStandby says that it is remembered of a standby, which may give an older state
	// than before.
	ofStandby bool
}

// talliedGroup are the tallies of a site that differ in nothing but the day: their sum,
// which is all that most questions want, however many days there are, and the days
// themselves, packed.
type talliedGroup struct {
	talliedKey
	sum         int64
	first, last int32
	// days are, in the order of days, a varint whose higher bits are the fasteners of a day,
	// and whose lowest says that it is the next after the one before; otherwise another
	// varint says how many days after (the first since first). Those of a site's groups lie
	// in one piece, one after another.
	days []byte
}

// talliedKey is what tallies are kept by besides site and day.
type talliedKey struct {
	lot, revision              int32
	treatment, method, outcome uint8
}

// add adds the tally of a day that is not before the last.
func (g *talliedGroup) add(day int32, fasteners int64) {
	if len(g.days) == 0 {
		g.first, g.last = day, day
	}
	if day == g.last+1 {
		g.days = binary.AppendUvarint(g.days, uint64(fasteners)<<1|nextDay)
	} else {
		g.days = binary.AppendUvarint(g.days, uint64(fasteners)<<1)
		g.days = binary.AppendUvarint(g.days, uint64(day-g.last))
	}
	g.sum, g.last = g.sum+fasteners, day
}

// nextDay is the bit of a packed day that says so.
const nextDay = 1

// each gives the days with their fasteners.
func (g *talliedGroup) each(give func(day int32, fasteners int64)) {
	day := g.first
	for rest := g.days; len(rest) > 0; {
		head, n := binary.Uvarint(rest)
		if rest = rest[n:]; head&nextDay != 0 {
			day++
		} else {
			since, n := binary.Uvarint(rest)
			day, rest = day+int32(since), rest[n:]
		}
		give(day, int64(head)>>1)
	}
}

type talliedSite struct{ code, region string }

type talliedLot struct {
	number, supplier, thread string
	material                 uint8
}

func newTallyMemory() *tallyMemory {
	m := &tallyMemory{lock: make(chan struct{}, 1)}
	m.begin()
	return m
}

// begin forgets everything.
func (m *tallyMemory) begin() {
	m.epoch, m.lengths, m.groups = -1, map[int]int64{}, map[int][]talliedGroup{}
}

// withTallies runs use in a read transaction with the memory brought up to the state of
// the database that the transaction sees, and then the rest in the same transaction.
// Nobody else uses the memory during use, which must keep nothing of it.
// Both may run twice, see figures.
func (s *Store) withTallies(ctx context.Context, use func(*tx, *tallyMemory) error, then func(*tx) error) error {
	return s.figures(ctx, func(from source) error { return s.withTalliesOf(ctx, from, use, then) })
}

func (s *Store) withTalliesOf(ctx context.Context, from source, use func(*tx, *tallyMemory) error, then func(*tx) error) error {
	m := from.tallies
	select {
	case m.lock <- struct{}{}:
	case <-ctx.Done():
		return s.fault(ctx.Err())
	}
	unlock := sync.OnceFunc(func() { <-m.lock })
	defer unlock()
	return s.viewFrom(ctx, from, func(t *tx) error {
		if err := t.bringUpTallies(ctx, m); err != nil {
			return err
		}
		if err := use(t, m); err != nil {
			return err
		}
		unlock()
		return then(t)
	})
}

// bringUpTallies reads what has changed. A site that was read is whole, so that what
// fails halfway leaves nothing wrong behind.
func (t *tx) bringUpTallies(ctx context.Context, m *tallyMemory) error {
	if breaks := t.lineage.breaks.Load(); breaks != m.lineage {
		m.begin()
		m.lineage = breaks
	}
	lengths, err := t.chainLengths(ctx)
	if err != nil {
		return err
	}
	epoch, err := t.epochNow(ctx)
	if err != nil {
		return err
	}
	if older(lengths, m.lengths, epoch, m.epoch) {
		if m.ofStandby {
			return errOlder
		}
		m.begin()
	}
	for site, length := range lengths {
		if m.lengths[site] == length {
			continue
		}
		groups, err := t.readTallies(ctx, site)
		if err != nil {
			return err
		}
		m.groups[site], m.lengths[site] = groups, length
	}
	if m.epoch == epoch {
		return nil
	}
	if err := t.readTalliedNames(ctx, m); err != nil {
		return err
	}
	m.epoch = epoch
	return nil
}

// readTallies reads the tallies of a site.
func (t *tx) readTallies(ctx context.Context, site int) ([]talliedGroup, error) {
	var groups []talliedGroup
	index := map[talliedKey]int{}
	// In the order of days, which is that of the key.
	err := t.query(ctx, func(r *sql.Rows) error {
		var k talliedKey
		var day int32
		var fasteners int64
		if err := r.Scan(&day, &k.lot, &k.revision, &k.treatment, &k.method, &k.outcome, &fasteners); err != nil {
			return err
		}
		i, known := index[k]
		if !known {
			i = len(groups)
			index[k], groups = i, append(groups, talliedGroup{talliedKey: k})
		}
		groups[i].add(day, fasteners)
		return nil
	}, "SELECT day, lot_id, specification_revision_id, treatment, method, outcome, fasteners FROM tallies WHERE site_id = ? ORDER BY day", site)
	return inOnePiece(groups), err
}

// inOnePiece gives the groups with their days in one piece, and no room to grow: there are
// very many, of a few dozen bytes each.
func inOnePiece(groups []talliedGroup) []talliedGroup {
	size := 0
	for i := range groups {
		size += len(groups[i].days)
	}
	piece, whole := make([]byte, 0, size), slices.Clone(groups)
	for i := range whole {
		from := len(piece)
		piece = append(piece, whole[i].days...)
		whole[i].days = piece[from:len(piece):len(piece)]
	}
	return whole
}

// older says whether a state of the database is older than one that is remembered, as
// another standby's may be.
func older(lengths, remembered map[int]int64, epoch, rememberedEpoch int64) bool {
	for site, length := range remembered {
		if lengths[site] < length {
			return true
		}
	}
	return epoch < rememberedEpoch
}

// epochNow reads the register's epoch.
func (t *tx) epochNow(ctx context.Context) (epoch int64, err error) {
	err = t.query(ctx, func(rows *sql.Rows) error { return rows.Scan(&epoch) }, "SELECT epoch FROM register_epoch WHERE id = 1")
	return epoch, err
}

func (t *tx) readTalliedNames(ctx context.Context, m *tallyMemory) error {
	sites, lots := map[int]talliedSite{}, map[int]talliedLot{}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var id int
		var s talliedSite
		err := rows.Scan(&id, &s.code, &s.region)
		sites[id] = s
		return err
	}, "SELECT id, code, region FROM sites")
	if err != nil {
		return err
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var id int
		var l talliedLot
		err := rows.Scan(&id, &l.number, &l.supplier, &l.thread, &l.material)
		lots[id] = l
		return err
	}, "SELECT id, number, supplier, thread, material FROM lots")
	m.sites, m.lots = sites, lots
	return err
}

// summed is what tallies are added up by before anything is called by its name.
type summed struct {
	site                       int
	day, lot                   int32
	treatment, method, outcome uint8
}

// distinction says what a question tells apart: what it does not is left out of what is
// added up by, so that there are as few sums as can be.
type distinction struct{ site, lot, treatment, method, day bool }

func distinctions(q analysis.CountQuery) (d distinction) {
	groupings := slices.Clone(q.GroupBy)
	for _, f := range q.Filters {
		groupings = append(groupings, f.Grouping)
	}
	for _, g := range groupings {
		switch {
		case isPeriod(g):
			d.day = true
		case g == analysis.BySite || g == analysis.ByRegion:
			d.site = true
		case g == analysis.ByTreatment:
			d.treatment = true
		case g == analysis.ByDrivingMethod:
			d.method = true
		default: // the lot, or what hangs on it
			d.lot = true
		}
	}
	return d
}

func (d distinction) key(site int, g *talliedGroup) (k summed) {
	k.outcome = g.outcome
	if d.site {
		k.site = site
	}
	if d.lot {
		k.lot = g.lot
	}
	if d.treatment {
		k.treatment = g.treatment
	}
	if d.method {
		k.method = g.method
	}
	return k
}

// counts adds the tallies of the sites that are seen up by the groupings of a question,
// as counts of the records does (count.go). The question was checked.
func (m *tallyMemory) counts(q analysis.CountQuery, sees func(site int) bool) ([]analysis.Count, error) {
	first, last, err := daysOf(q)
	if err != nil {
		return nil, err
	}
	by := distinctions(q)
	sums := map[summed]int64{}
	for site, groups := range m.groups {
		if !sees(site) {
			continue
		}
		for i := range groups {
			g := &groups[i]
			if g.last < first || g.first > last {
				continue
			}
			k := by.key(site, g)
			if !by.day && g.first >= first && g.last <= last {
				sums[k] += g.sum
				continue
			}
			g.each(func(day int32, fasteners int64) {
				if day < first || day > last {
					return
				}
				if by.day {
					k.day = day
				}
				sums[k] += fasteners
			})
		}
	}
	counts, index := []analysis.Count(nil), map[string]int{}
	values := make([]string, len(q.GroupBy))
	for k, fasteners := range sums {
		if fasteners == 0 || !m.matches(k, q.Filters) {
			continue
		}
		for i, g := range q.GroupBy {
			values[i] = m.valueOf(k, g)
		}
		key := strings.Join(values, "\x00")
		i, ok := index[key]
		if !ok {
			i = len(counts)
			index[key] = i
			counts = append(counts, analysis.Count{Values: slices.Clone(values)})
		}
		if k.outcome == outcomeTightened {
			counts[i].Tightened += fasteners
		} else {
			counts[i].Incidents[k.outcome] += fasteners
		}
	}
	slices.SortFunc(counts, func(a, b analysis.Count) int { return slices.Compare(a.Values, b.Values) })
	return counts, nil
}

// daysOf gives the first and the last day of a question, counted from 1970-01-01.
func daysOf(q analysis.CountQuery) (first, last int32, err error) {
	first, last = -1<<31, 1<<31-1
	for _, limit := range []struct {
		field, day string
		into       *int32
	}{{"start_date", q.StartDay, &first}, {"end_date", q.EndDay, &last}} {
		if limit.day == "" {
			continue
		}
		d, err := time.Parse(time.DateOnly, limit.day)
		if err != nil {
			return 0, 0, ledger.InvalidField("question", limit.field, "%q is not a date; expected YYYY-MM-DD", limit.day)
		}
		*limit.into = int32(d.Unix() / 86400)
	}
	return first, last, nil
}

// matches says whether a sum is among the values that filters ask for: those of one
// grouping are alternatives, different groupings must all match.
func (m *tallyMemory) matches(k summed, filters []analysis.GroupValue) bool {
	asked, met := [32]bool{}, [32]bool{}
	for _, f := range filters {
		asked[f.Grouping] = true
		met[f.Grouping] = met[f.Grouping] || m.valueOf(k, f.Grouping) == f.Value
	}
	return asked == met
}

// valueOf is the value of a grouping, as the store counts records by it.
func (m *tallyMemory) valueOf(k summed, g analysis.Grouping) string {
	switch g {
	case analysis.BySite:
		return m.sites[k.site].code
	case analysis.ByRegion:
		return m.sites[k.site].region
	case analysis.ByLot:
		return m.lots[int(k.lot)].number
	case analysis.BySupplier:
		return m.lots[int(k.lot)].supplier
	case analysis.ByThread:
		return m.lots[int(k.lot)].thread
	case analysis.ByTreatment:
		return wordOf(g, k.treatment)
	case analysis.ByMaterial:
		return wordOf(g, m.lots[int(k.lot)].material)
	case analysis.ByDrivingMethod:
		return wordOf(g, k.method)
	case analysis.ByMonth:
		return time.Unix(int64(k.day)*86400, 0).UTC().Format("2006-01")
	default: // the others go on below
	}
	return analysis.PeriodName(g, int(k.day))
}

// isPeriod says whether a grouping is one of time.
func isPeriod(g analysis.Grouping) bool { return g == analysis.ByMonth || isDays(g) }

// spelt gives the filters of a question with words as the ledger spells them, and
// periods by their usual names, so that values can be compared as they are written. The
// error names what can't be read.
func spelt(filters []analysis.GroupValue) ([]analysis.GroupValue, error) {
	out := slices.Clone(filters)
	for i, f := range out {
		switch {
		case isWord(f.Grouping):
			n, err := numberOf(f.Grouping, f.Value)
			if err != nil {
				return nil, err
			}
			out[i].Value = wordOf(f.Grouping, n)
		case isDays(f.Grouping):
			day, err := analysis.PeriodStart(f.Grouping, f.Value)
			if err != nil {
				return nil, ledger.InvalidField("filter", "filters", "%v", err)
			}
			out[i].Value = analysis.PeriodName(f.Grouping, day)
		}
	}
	return out, nil
}
