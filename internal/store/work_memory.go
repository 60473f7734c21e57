package store

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"sync"
)

// workMemory remembers of the joints of sites what their records say about how far the
// work has come: the first passes and whether it is sealed (work_packed.go). Chains only
// grow, so each question about a site reads what came since the one before, and the first
// reads all. Joints themselves are read again when the register's epoch has moved.
// Anything else (inspections, sign-offs, holds, specifications) is few and is read anew.
// Sites that do not fit into workBudget are read again when they are asked about.
// Everything in it can be read again from the records; nothing is ever written back.
type workMemory struct {
	// lock holds a value while somebody uses the memory; waiting for it ends with the
	// context, which a mutex would not.
	lock chan struct{}
	// epoch and lengths of the chains are those of the state that was looked at last.
	epoch   int64
	lengths map[int]int64
	sites   map[int]*siteWork
	// size is about how many bytes the sites take, uses counts what was asked of them.
	size, uses int
	// budget is workBudget, and less in tests.
	budget int
	// lineage is the one of the database that all this was read from (lineage.go).
	lineage int64
	// ofStandby says that it is remembered of a standby, which may give an older state
	// than before.
	ofStandby bool
}

// siteWork is a site: its cells as the register has them at an epoch, and those and
// perhaps others of which only records are known yet by their keys; upTo is how many
// records of its chain were taken in, and used when it was last asked for.
type siteWork struct {
	cells      []*workedCell
	byKey      map[int32]*workedCell
	epoch      int64
	upTo       int64
	size, used int
}

// workBudget bounds what is remembered: some ten bytes a joint, for 800,000 of them.
const workBudget = 8 << 20

// cellSize is about what a cell takes besides what is packed.
const cellSize = 120

func newWorkMemory() *workMemory {
	m := &workMemory{lock: make(chan struct{}, 1), budget: workBudget}
	m.begin()
	return m
}

// begin forgets everything.
func (m *workMemory) begin() {
	m.epoch, m.lengths, m.sites, m.size = -1, map[int]int64{}, map[int]*siteWork{}, 0
}

// withWork runs use in a read transaction with the memory brought up to the state of
// the database that the transaction sees, and then the rest in the same transaction.
// Nobody else uses the memory during use, which must keep nothing of it and be short.
// Both may run twice, see figures.
func (s *Store) withWork(ctx context.Context, use func(*tx, *workMemory) error, then func(*tx) error) error {
	return s.figures(ctx, func(from source) error { return s.withWorkOf(ctx, from, use, then) })
}

func (s *Store) withWorkOf(ctx context.Context, from source, use func(*tx, *workMemory) error, then func(*tx) error) error {
	m := from.work
	select {
	case m.lock <- struct{}{}:
	case <-ctx.Done():
		return s.fault(ctx.Err())
	}
	unlock := sync.OnceFunc(func() { <-m.lock })
	defer unlock()
	// The transaction begins under the lock: what it sees is never older than the memory,
	// unless it is that of another standby than the last one's.
	return s.viewFrom(ctx, from, func(t *tx) error {
		if err := t.bringUp(ctx, m); err != nil {
			return err
		}
		if err := use(t, m); err != nil {
			return err
		}
		unlock()
		return then(t)
	})
}

// withBoth is withWork with the tallies at hand before, all from one state of the
// database. Nobody waits for the tallies while the work is read.
func (s *Store) withBoth(ctx context.Context, tallied func(*tx, *tallyMemory) error, use func(*tx, *workMemory) error, then func(*tx) error) error {
	// The tallies' lock is taken second, here and nowhere the other way round.
	return s.figures(ctx, func(from source) error {
		return s.withWorkOf(ctx, from, func(t *tx, m *workMemory) error {
			if err := t.useTallies(ctx, from.tallies, tallied); err != nil {
				return err
			}
			return use(t, m)
		}, then)
	})
}

// useTallies brings the tallies up and uses them, alone.
func (t *tx) useTallies(ctx context.Context, m *tallyMemory, use func(*tx, *tallyMemory) error) error {
	select {
	case m.lock <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-m.lock }()
	if err := t.bringUpTallies(ctx, m); err != nil {
		return err
	}
	return use(t, m)
}

// ReadAhead brings what is remembered for reading up to the present state, and what is of
// certificates, so that neither the first question nor the first calibration after a
// start need wait for it. It changes nothing, and ends with the context.
func (s *Store) ReadAhead(ctx context.Context) error {
	err := s.withBoth(ctx, func(*tx, *tallyMemory) error { return nil }, func(t *tx, m *workMemory) error { return t.readAhead(ctx, m) }, func(*tx) error { return nil })
	if err != nil {
		return err
	}
	return s.withUses(ctx, func(t *tx, _ *useMemory, done func()) error {
		done()
		_, err := t.unproven(ctx)
		return err
	})
}

// bringUp looks at the state of the database; what it says of a site is read when that
// is asked for.
func (t *tx) bringUp(ctx context.Context, m *workMemory) error {
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
	m.lengths, m.epoch = lengths, epoch
	return nil
}

// readAhead reads sites for as long as there is room.
func (t *tx) readAhead(ctx context.Context, m *workMemory) error {
	sites, err := t.everySite(ctx)
	for _, site := range sites {
		if err == nil && m.size < m.budget*3/4 {
			_, err = t.workOf(ctx, m, site)
		}
	}
	return err
}

func (t *tx) everySite(ctx context.Context) (keys []int, err error) {
	err = t.query(ctx, func(rows *sql.Rows) error {
		var key int
		err := rows.Scan(&key)
		keys = append(keys, key)
		return err
	}, "SELECT id FROM sites ORDER BY id")
	return keys, err
}

// eachWork gives the cells of all sites that are wanted, one site after another. Where
// they do not fit together, it is the last one that makes room for the next: to go by who
// was used the longest ago would drop each just before its turn comes again.
func (t *tx) eachWork(ctx context.Context, m *workMemory, wanted func(site int) bool, give func(site int, cells []*workedCell)) error {
	sites, err := t.everySite(ctx)
	last := 0
	for _, site := range sites {
		if err != nil || !wanted(site) {
			continue
		}
		if m.size > m.budget {
			m.forget(last)
		}
		var cells []*workedCell
		if cells, err = t.workOf(ctx, m, site); err == nil {
			give(site, cells)
		}
		last = site
	}
	if m.size > m.budget {
		m.forget(last)
	}
	return err
}

// siteCells gives the cells of a site.
func (t *tx) siteCells(ctx context.Context, m *workMemory, site int) ([]*workedCell, error) {
	cells, err := t.workOf(ctx, m, site)
	for m.size > m.budget && len(m.sites) > 1 {
		oldest := 0
		for key, s := range m.sites {
			if key != site && (oldest == 0 || s.used < m.sites[oldest].used) {
				oldest = key
			}
		}
		m.forget(oldest)
	}
	return cells, err
}

func (m *workMemory) forget(site int) {
	if s := m.sites[site]; s != nil {
		m.size -= s.size
		delete(m.sites, site)
	}
}

// newsAtOnce bounds how many records of a chain are read before they are packed.
const newsAtOnce = 50_000

// workOf gives the cells of a site, brought up to the state that was looked at. A part of
// a chain that was read is whole, so that what fails halfway leaves nothing wrong behind.
func (t *tx) workOf(ctx context.Context, m *workMemory, site int) ([]*workedCell, error) {
	s := m.sites[site]
	if s == nil {
		s = &siteWork{byKey: map[int32]*workedCell{}, epoch: -1}
		m.sites[site] = s
	}
	m.uses++
	s.used = m.uses
	length := m.lengths[site]
	if s.upTo >= length && s.epoch == m.epoch {
		return s.cells, nil
	}
	for s.upTo < length {
		to := min(length, s.upTo+newsAtOnce)
		news, err := t.readNews(ctx, int64(site)<<sequenceBits+s.upTo+1, int64(site)<<sequenceBits+to)
		if err != nil {
			return nil, err
		}
		s.take(news)
		s.upTo = to
	}
	if s.epoch != m.epoch {
		if err := t.readJointRegister(ctx, site, s); err != nil {
			return nil, err
		}
		s.epoch = m.epoch
	}
	m.size -= s.size
	s.size = 0
	for _, c := range s.byKey {
		s.size += cellSize + len(c.joints) + len(c.work)
	}
	m.size += s.size
	return s.cells, nil
}

// workNews are records that came since.
type workNews struct {
	events []newEvent
	// anew are the joints of which a record was withdrawn, with their cells: of these all
	// events are read, and there may be none left.
	anew map[int64]int32
}

// newEvent is an event with the cell of its joint.
type newEvent struct {
	cell int32
	workEvent
}

// Of records r of joints j: their first passes and their seals. What was corrected is
// left out.
const (
	passesOf = "SELECT j.cell_id, r.joint_id, r.occur_time, r.local_day, x.fasteners FROM tightenings x CROSS JOIN records r CROSS JOIN joints j WHERE r.id = x.id AND j.id = r.joint_id AND x.pass = 1 AND " + notCorrected
	sealsOf  = "SELECT j.cell_id, r.joint_id, r.occur_time, 0, 0 FROM sealings x CROSS JOIN records r CROSS JOIN joints j WHERE r.id = x.id AND j.id = r.joint_id AND " + notCorrected
)

// readNews reads the records of one chain between two keys, both included. Of a joint of
// which something was withdrawn everything up to there is read.
func (t *tx) readNews(ctx context.Context, from, to int64) (n workNews, err error) {
	n.anew = map[int64]int32{}
	var withdrawn []any
	err = t.query(ctx, func(rows *sql.Rows) error {
		var joint int64
		var cell int32
		err := rows.Scan(&joint, &cell)
		if _, known := n.anew[joint]; !known {
			n.anew[joint], withdrawn = cell, append(withdrawn, joint)
		}
		return err
	}, "SELECT r.joint_id, j.cell_id FROM corrections x JOIN records r ON r.id = x.corrected_id JOIN joints j ON j.id = r.joint_id WHERE x.id BETWEEN ? AND ?", from, to)
	if err != nil {
		return n, err
	}
	read := func(seal, anew bool, query string, args ...any) error {
		return t.query(ctx, func(rows *sql.Rows) error {
			e := newEvent{workEvent: workEvent{seal: seal}}
			err := rows.Scan(&e.cell, &e.joint, &e.at, &e.day, &e.fasteners)
			if _, is := n.anew[e.joint]; is == anew {
				n.events = append(n.events, e)
			}
			return err
		}, query, args...)
	}
	for _, q := range []struct {
		seal  bool
		query string
	}{{false, passesOf}, {true, sealsOf}} {
		if err := read(q.seal, false, q.query+" AND x.id BETWEEN ? AND ? ORDER BY x.id", from, to); err != nil {
			return n, err
		}
		err := inKeys(withdrawn, func(part []any) error {
			return read(q.seal, true, q.query+" AND x.id IN (SELECT o.id FROM records o WHERE o.joint_id IN "+marks(1, len(part))+") AND x.id <= ? ORDER BY x.id", append(slices.Clone(part), to)...)
		})
		if err != nil {
			return n, err
		}
	}
	// Of each cell together, and in the order of the chain.
	slices.SortStableFunc(n.events, func(a, b newEvent) int { return cmp.Compare(a.cell, b.cell) })
	return n, nil
}

// readJointRegister reads the joints of a site and where they lie.
func (t *tx) readJointRegister(ctx context.Context, site int, s *siteWork) error {
	var cells []*workedCell
	err := t.query(ctx, func(rows *sql.Rows) error {
		var cell, tower int32
		err := rows.Scan(&cell, &tower)
		c := s.cell(cell)
		c.tower, cells = tower, append(cells, c)
		return err
	}, "SELECT c.id, c.tower_id FROM towers w JOIN cells c ON c.tower_id = w.id WHERE w.site_id = ? ORDER BY c.id", site)
	if err != nil {
		return err
	}
	var packer jointPacker
	var cell *workedCell
	put := func() {
		if cell != nil {
			cell.joints = slices.Clone(packer.packed)
		}
		packer = jointPacker{packed: packer.packed[:0]}
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var of int32
		var j workedJoint
		if err := rows.Scan(&j.id, &j.fasteners, &of, &j.specification); err != nil {
			return err
		}
		if cell == nil || cell.id != of {
			put()
			cell = s.cell(of)
		}
		packer.add(&j)
		return nil
	}, "SELECT j.id, j.fasteners, j.cell_id, j.specification_id FROM towers w JOIN cells c ON c.tower_id = w.id JOIN joints j ON j.cell_id = c.id WHERE w.site_id = ? ORDER BY j.cell_id, j.id", site)
	if err != nil {
		return err
	}
	put()
	s.cells = cells
	return nil
}

// cell gives a cell by its key.
func (s *siteWork) cell(key int32) *workedCell {
	c := s.byKey[key]
	if c == nil {
		c = &workedCell{id: key}
		s.byKey[key] = c
	}
	return c
}

// take adds what is new.
func (s *siteWork) take(n workNews) {
	bare := map[int32]bool{} // cells of which nothing but a withdrawal is told
	for _, cell := range n.anew {
		bare[cell] = true
	}
	var events []workEvent
	for i, e := range n.events {
		events = append(events, e.workEvent)
		if i+1 == len(n.events) || n.events[i+1].cell != e.cell {
			s.cell(e.cell).take(n.anew, events)
			events = events[:0]
			delete(bare, e.cell)
		}
	}
	for cell := range bare {
		s.cell(cell).take(n.anew, nil)
	}
}
