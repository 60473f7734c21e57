package store

import (
	"context"
	"database/sql"
	"slices"
	"strings"
	"sync"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// tallyMemory remembers the tallies, so that a question adds up numbers that are at
// hand instead of reading hundreds of thousands of rows again. The tallies of a site
// change only with its chain: each question reads anew those of the sites whose chain
// has grown. What sites and lots are called is read again when the register's epoch has
// moved.
type tallyMemory struct {
	// lock holds a value while somebody uses the memory; waiting for it ends with the
	// context.
	lock    chan struct{}
	lengths map[int]int64
	rows    map[int][]tallyRow // by key of the site
	epoch   int64
	sites   map[int]talliedSite
	lots    map[int]talliedLot
	lineage int64
	// ofStandby says that it is remembered of a standby, which may give an older state
	// than before.
	ofStandby bool
}

// tallyRow is one tally of a site.
type tallyRow struct {
	fasteners                  int64
	day, lot, revision         int32
	treatment, method, outcome uint8
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
	m.epoch, m.lengths, m.rows = -1, map[int]int64{}, map[int][]tallyRow{}
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
		var rows []tallyRow
		err := t.query(ctx, func(r *sql.Rows) error {
			var k tallyRow
			err := r.Scan(&k.day, &k.lot, &k.revision, &k.treatment, &k.method, &k.outcome, &k.fasteners)
			rows = append(rows, k)
			return err
		}, "SELECT day, lot_id, specification_revision_id, treatment, method, outcome, fasteners FROM tallies WHERE site_id = ?", site)
		if err != nil {
			return err
		}
		m.rows[site], m.lengths[site] = slices.Clip(rows), length
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

// counts adds the tallies of the sites that are seen up by the groupings of a question,
// as counts of the records does (count.go). The question was checked.
func (m *tallyMemory) counts(q analysis.CountQuery, sees func(site int) bool) ([]analysis.Count, error) {
	first, last, err := daysOf(q)
	if err != nil {
		return nil, err
	}
	byDay := slices.ContainsFunc(q.GroupBy, isPeriod) || slices.ContainsFunc(q.Filters, func(f analysis.GroupValue) bool { return isPeriod(f.Grouping) })
	sums := map[summed]int64{}
	for site, rows := range m.rows {
		if !sees(site) {
			continue
		}
		for _, r := range rows {
			if r.day < first || r.day > last {
				continue
			}
			k := summed{site, 0, r.lot, r.treatment, r.method, r.outcome}
			if byDay {
				k.day = r.day
			}
			sums[k] += r.fasteners
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
