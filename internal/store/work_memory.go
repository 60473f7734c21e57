package store

import (
	"context"
	"database/sql"
	"slices"
	"sync"
	"time"
)

// workMemory remembers of every joint what its records say about how far its work has
// come: the first passes and whether it is sealed. Chains only grow, so each question
// reads what came since the one before, and the first reads all. Joints themselves are
// read again when the register's epoch has moved. Anything else (inspections, sign-offs,
// holds, specifications) is few and is read anew. Everything in it can be read again
// from the records; nothing is ever written back.
type workMemory struct {
	// lock holds a value while somebody uses the memory; waiting for it ends with the
	// context, which a mutex would not.
	lock  chan struct{}
	epoch int64
	// sites and of are the joints of the register at this epoch, by the key of their
	// site, nil where there is none, and by their own.
	sites []*siteJoints
	of    map[int]*workedJoint
	// upTo is how many records of each chain were taken in; work is what they say, by
	// the key of the joint.
	upTo map[int]int64
	work map[int]*jointRecords
	// lineage is the one of the database that all this was read from (lineage.go).
	lineage int64
	// ofStandby says that it is remembered of a standby, which may give an older state
	// than before.
	ofStandby bool
}

// siteJoints are the joints of a site.
type siteJoints struct{ joints []*workedJoint }

// workedJoint is a joint as the register has it.
type workedJoint struct {
	id, cell, tower, specification int
	fasteners                      int64
	records                        *jointRecords // nil before there is one
}

// jointRecords are what the records say of a joint. Withdrawn and replaced ones are not
// among them.
type jointRecords struct {
	passes []firstPass // by time, then key
	seals  []sealed
}

type firstPass struct {
	id, at    int64
	day       int32
	fasteners int32
}

type sealed struct{ id, at int64 }

func newWorkMemory() *workMemory {
	m := &workMemory{lock: make(chan struct{}, 1)}
	m.begin()
	return m
}

// begin forgets everything.
func (m *workMemory) begin() {
	m.epoch, m.upTo, m.work, m.sites, m.of = -1, map[int]int64{}, map[int]*jointRecords{}, nil, nil
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

// withBoth is withWork with the tallies at hand too, all from one state of the database.
func (s *Store) withBoth(ctx context.Context, use func(*tx, *workMemory, *tallyMemory) error, then func(*tx) error) error {
	// The tallies' lock is taken second, here and nowhere the other way round.
	return s.figures(ctx, func(from source) error {
		return s.withWorkOf(ctx, from, func(t *tx, m *workMemory) error {
			select {
			case from.tallies.lock <- struct{}{}:
			case <-ctx.Done():
				return ctx.Err()
			}
			defer func() { <-from.tallies.lock }()
			if err := t.bringUpTallies(ctx, from.tallies); err != nil {
				return err
			}
			return use(t, m, from.tallies)
		}, then)
	})
}

// ReadAhead brings what is remembered for reading up to the present state, and what is of
// certificates, so that neither the first question nor the first calibration after a
// start need wait for it. It changes nothing, and ends with the context.
func (s *Store) ReadAhead(ctx context.Context) error {
	err := s.withBoth(ctx, func(*tx, *workMemory, *tallyMemory) error { return nil }, func(*tx) error { return nil })
	if err != nil {
		return err
	}
	return s.view(ctx, func(t *tx) error {
		_, err := t.unproven(ctx)
		return err
	})
}

// bringUp reads what is new. A chain that was read is whole, so that what fails halfway
// leaves nothing wrong behind, and the next question has less to read.
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
	if older(lengths, m.upTo, epoch, m.epoch) {
		if m.ofStandby {
			return errOlder
		}
		m.begin()
	}
	for site, length := range lengths {
		from := m.upTo[site]
		if from >= length {
			continue
		}
		var news workNews
		if err := t.readNews(ctx, &news, int64(site)<<sequenceBits+from+1, int64(site)<<sequenceBits+length); err != nil {
			return err
		}
		m.take(news)
		m.upTo[site] = length
	}
	if m.epoch == epoch {
		return nil
	}
	register, err := t.readJointRegister(ctx)
	if err != nil {
		return err
	}
	m.epoch, m.sites, m.of = epoch, register.sites, register.of
	for id, w := range m.work {
		if j := m.of[id]; j != nil {
			j.records = w
		}
	}
	return nil
}

// workNews are records that came since.
type workNews struct {
	passes    []newPass
	seals     []newSeal
	withdrawn []withdrawal
}

type newPass struct {
	joint int
	firstPass
}

type newSeal struct {
	joint int
	sealed
}

type withdrawal struct {
	joint int
	id    int64
}

// readNews reads the records of one chain between two keys, both included. What was
// corrected among them is left out at once; what was corrected before is named.
func (t *tx) readNews(ctx context.Context, n *workNews, from, to int64) error {
	err := t.query(ctx, func(rows *sql.Rows) error {
		var p newPass
		err := rows.Scan(&p.joint, &p.id, &p.fasteners, &p.at, &p.day)
		n.passes = append(n.passes, p)
		return err
	}, "SELECT r.joint_id, r.id, x.fasteners, r.occur_time, r.local_day FROM tightenings x JOIN records r ON r.id = x.id WHERE x.id BETWEEN ? AND ? AND x.pass = 1 AND r.joint_id IS NOT NULL AND "+notCorrected, from, to)
	if err != nil {
		return err
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var s newSeal
		err := rows.Scan(&s.joint, &s.id, &s.at)
		n.seals = append(n.seals, s)
		return err
	}, "SELECT r.joint_id, r.id, r.occur_time FROM sealings x JOIN records r ON r.id = x.id WHERE x.id BETWEEN ? AND ? AND r.joint_id IS NOT NULL AND "+notCorrected, from, to)
	if err != nil {
		return err
	}
	return t.query(ctx, func(rows *sql.Rows) error {
		var w withdrawal
		err := rows.Scan(&w.joint, &w.id)
		n.withdrawn = append(n.withdrawn, w)
		return err
	}, "SELECT r.joint_id, r.id FROM corrections x JOIN records r ON r.id = x.corrected_id WHERE x.id BETWEEN ? AND ? AND r.joint_id IS NOT NULL", from, to)
}

// readJointRegister reads all joints and where they lie.
func (t *tx) readJointRegister(ctx context.Context) (*workMemory, error) {
	type place struct{ tower, site int }
	cells, last := map[int]place{}, 0
	err := t.query(ctx, func(rows *sql.Rows) error {
		var cell int
		var p place
		err := rows.Scan(&cell, &p.tower, &p.site)
		cells[cell], last = p, max(last, p.site)
		return err
	}, "SELECT c.id, t.id, t.site_id FROM cells c JOIN towers t ON t.id = c.tower_id")
	if err != nil {
		return nil, err
	}
	m := &workMemory{sites: make([]*siteJoints, last+1), of: map[int]*workedJoint{}}
	err = t.query(ctx, func(rows *sql.Rows) error {
		j := &workedJoint{}
		if err := rows.Scan(&j.id, &j.fasteners, &j.cell, &j.specification); err != nil {
			return err
		}
		p := cells[j.cell]
		j.tower = p.tower
		if m.sites[p.site] == nil {
			m.sites[p.site] = &siteJoints{}
		}
		m.of[j.id], m.sites[p.site].joints = j, append(m.sites[p.site].joints, j)
		return nil
	}, "SELECT id, fasteners, cell_id, specification_id FROM joints")
	return m, err
}

// take adds what is new.
func (m *workMemory) take(n workNews) {
	records := func(joint int) *jointRecords {
		w := m.work[joint]
		if w == nil {
			w = &jointRecords{}
			m.work[joint] = w
			if j := m.of[joint]; j != nil {
				j.records = w
			}
		}
		return w
	}
	for _, p := range n.passes {
		w := records(p.joint)
		w.passes = append(w.passes, p.firstPass)
		// Records come in late: the order is that of the work.
		for i := len(w.passes) - 1; i > 0 && w.passes[i].before(w.passes[i-1]); i-- {
			w.passes[i], w.passes[i-1] = w.passes[i-1], w.passes[i]
		}
	}
	for _, s := range n.seals {
		w := records(s.joint)
		w.seals = append(w.seals, s.sealed)
	}
	for _, x := range n.withdrawn {
		if w := m.work[x.joint]; w != nil {
			w.passes = slices.DeleteFunc(w.passes, func(p firstPass) bool { return p.id == x.id })
			w.seals = slices.DeleteFunc(w.seals, func(s sealed) bool { return s.id == x.id })
		}
	}
}

func (p firstPass) before(q firstPass) bool { return p.at < q.at || p.at == q.at && p.id < q.id }

// done is how many fasteners reached torque in a first pass up to a moment.
func (j *workedJoint) done(asOf int64) (fasteners int64) {
	if j.records == nil {
		return 0
	}
	for _, p := range j.records.passes {
		if p.at <= asOf {
			fasteners += int64(p.fasteners)
		}
	}
	return fasteners
}

// sealed says whether the joint was sealed up to a moment.
func (j *workedJoint) sealed(asOf int64) bool {
	return j.records != nil && slices.ContainsFunc(j.records.seals, func(s sealed) bool { return s.at <= asOf })
}

// full is when the last of the joint's fasteners reached torque, with the day of that
// at the site; zero while some are missing.
func (j *workedJoint) full() (at time.Time, day int) {
	if j.records == nil || j.fasteners == 0 {
		return time.Time{}, 0
	}
	sum := int64(0)
	for _, p := range j.records.passes {
		before := sum
		if sum += int64(p.fasteners); before < j.fasteners && sum >= j.fasteners {
			return fromMicro(p.at), int(p.day)
		}
	}
	return time.Time{}, 0
}
