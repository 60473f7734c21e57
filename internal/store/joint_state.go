package store

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// JointStatus is a joint with what is derived from its records.
type JointStatus struct {
	Joint ledger.Joint
	State ledger.JointState
	// OpenHolds are those on the joint or on its cell, oldest first; it is on hold
	// while there is one.
	OpenHolds []*ledger.Hold
	// Tightened is how many fasteners were tightened in a first pass.
	Tightened int64
	// TightenedTime is when the last of the joint's fasteners reached torque; zero
	// while some are missing.
	TightenedTime time.Time
}

// jointWork is a joint with its keys and what its records say.
type jointWork struct {
	ledger.Joint
	id, cell, tower int
	specification   ledger.SpecificationRef // that holds now
	sealant         string                  // that it names
	torque          rules.TorqueWindow      // that it asks for
	work            ledger.JointWork
	// full is when the last of its fasteners reached torque, and fullDay the day
	// of that at the site.
	full    time.Time
	fullDay int
	// holds are the keys of the open holds on it or on its cell.
	holds []int64
}

func (j *jointWork) status(holds map[int64]*ledger.Hold) JointStatus {
	s := JointStatus{Joint: j.Joint, State: j.work.Status().State, Tightened: j.work.TightenedFirst, TightenedTime: j.full}
	for _, id := range j.holds {
		s.OpenHolds = append(s.OpenHolds, holds[id])
	}
	slices.SortFunc(s.OpenHolds, earlier[*ledger.Hold])
	return s
}

// earlier orders records by the time at which they happened; of one time, by
// their places in the chains.
func earlier[R ledger.Record](a, b R) int {
	x, y := a.Head(), b.Head()
	return cmp.Or(x.OccurTime.Compare(y.OccurTime), cmp.Compare(a.SiteCode(), b.SiteCode()), cmp.Compare(x.Sequence, y.Sequence))
}

// remains says whether something is left to do at the joint.
func (j *jointWork) remains() bool {
	s := j.work.Status()
	return s.State != ledger.JointAccepted || s.OnHold
}

// fewestExamined bounds from below how many joints are read at once where some
// may be left out of the answer.
const fewestExamined = 500

// JointStates lists the joints at or below a place, in the order of their names,
// with the state that follows from their records; all joints for no place. With
// remainingOnly, those that are accepted and not on hold are left out.
// KindNotFound when the place does not exist.
func (s *Store) JointStates(ctx context.Context, place ledger.Place, remainingOnly bool, p Page) (items []JointStatus, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		keys, err := t.place(ctx, place)
		if err != nil {
			return err
		}
		var found []*jointWork
		for after, more := p.After, true; more && len(found) <= p.Size; {
			size := p.Size + 1 - len(found)
			if remainingOnly {
				size = max(size, fewestExamined)
			}
			part, err := t.jointsAt(ctx, keys, after, size)
			if err != nil {
				return err
			}
			if more = len(part) == size; more {
				after = part[size-1].Place.String()
			}
			if err := t.readWork(ctx, part); err != nil {
				return err
			}
			for _, j := range part {
				if !remainingOnly || j.remains() {
					found = append(found, j)
				}
			}
		}
		found, next = cut(found, p, func(j *jointWork) string { return j.Place.String() })
		items, err = t.statuses(ctx, found)
		return err
	})
	return items, next, err
}

// statuses reads the open holds of joints whose work was read, and puts both
// together.
func (t *tx) statuses(ctx context.Context, joints []*jointWork) ([]JointStatus, error) {
	holds, err := t.holdsOf(ctx, joints)
	if err != nil {
		return nil, err
	}
	items := make([]JointStatus, len(joints))
	for i, j := range joints {
		items[i] = j.status(holds)
	}
	return items, nil
}

// holdsOf reads the open holds of joints whose work was read, by their keys.
func (t *tx) holdsOf(ctx context.Context, joints []*jointWork) (map[int64]*ledger.Hold, error) {
	holds := map[int64]*ledger.Hold{}
	var keys []any
	for _, j := range joints {
		for _, id := range j.holds {
			if _, seen := holds[id]; !seen {
				holds[id] = nil
				keys = append(keys, id)
			}
		}
	}
	found, err := t.recordsIn(ctx, ledger.KindHold, "x.id", keys)
	for _, k := range found {
		holds[k.id] = k.Record.(*ledger.Hold)
	}
	return holds, err
}

// within gives the conditions of a place over joints j, cells c and towers t,
// and records of joints of it.
func (k placeKeys) within() *clause {
	c := &clause{}
	switch {
	case k.joint != 0:
		c.add("j.id = ?", k.joint)
	case k.cell != 0:
		c.add("j.cell_id = ?", k.cell)
	case k.tower != 0:
		c.add("c.tower_id = ?", k.tower)
	case k.site != 0:
		c.add("t.site_id = ?", k.site)
	}
	return c
}

// jointsAt reads joints of a place in the order of their names, from the one
// after a name in short form; limit 0 means all.
func (t *tx) jointsAt(ctx context.Context, keys placeKeys, after string, limit int) (joints []*jointWork, err error) {
	c := keys.within()
	t.addVisible(c, "t.site_id")
	c.afterPlace(after, 4)
	tail, args := " ORDER BY s.code, t.tag, c.tag, j.tag", c.args
	if limit > 0 {
		tail, args = tail+" LIMIT ?", append(args, limit)
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		j, err := scanJointWork(rows)
		joints = append(joints, j)
		return err
	}, jointsQuery+c.where()+tail, args...)
	return joints, err
}

// jointsIn reads joints by their keys, in no order.
func (t *tx) jointsIn(ctx context.Context, keys []any) (joints []*jointWork, err error) {
	err = t.queryIn(ctx, func(rows *sql.Rows) error {
		j, err := scanJointWork(rows)
		joints = append(joints, j)
		return err
	}, jointsQuery+" WHERE j.id", keys, "")
	return joints, err
}

const jointsQuery = `SELECT j.id, c.id, t.id, s.code, t.tag, c.tag, j.tag, j.kind, j.critical, j.part_a, j.part_b, sp.code, j.fasteners,
j.version, j.create_time, j.update_time, sv.revision, sv.sealant, sv.torque_nm, sv.torque_tolerance_pct
FROM joints j JOIN cells c ON c.id = j.cell_id JOIN towers t ON t.id = c.tower_id JOIN sites s ON s.id = t.site_id
JOIN specifications sp ON sp.id = j.specification_id
JOIN specification_revisions sv ON sv.specification_id = sp.id AND sv.revision = sp.version`

// scanJointWork reads one row of jointsQuery.
func scanJointWork(rows *sql.Rows) (*jointWork, error) {
	j := &jointWork{}
	var version int
	var created, updated int64
	err := rows.Scan(&j.id, &j.cell, &j.tower, &j.Place.Site, &j.Place.Tower, &j.Place.Cell, &j.Place.Joint,
		&j.Kind, &j.Critical, &j.PartA, &j.PartB, &j.Specification, &j.Fasteners, &version, &created, &updated,
		&j.specification.Revision, &j.sealant, &j.torque.TargetNewtonMetres, &j.torque.TolerancePercent)
	j.Revision = revisionOf(version, created, updated)
	j.specification.Code = j.Specification
	j.work = ledger.JointWork{Fasteners: j.Fasteners, SealRequired: j.sealant != "", Inspections: map[ledger.InspectionKind]ledger.InspectionResult{}}
	return j, err
}

// jointIndex finds joints by their keys and by those of what they lie in.
type jointIndex struct {
	byID                  map[int]*jointWork
	byCell, byTower       map[int][]*jointWork
	joints, cells, towers []any // keys
}

func indexJoints(joints []*jointWork) jointIndex {
	x := jointIndex{byID: map[int]*jointWork{}, byCell: map[int][]*jointWork{}, byTower: map[int][]*jointWork{}}
	for _, j := range joints {
		x.byID[j.id] = j
		x.joints = append(x.joints, j.id)
		if x.byCell[j.cell] == nil {
			x.cells = append(x.cells, j.cell)
		}
		x.byCell[j.cell] = append(x.byCell[j.cell], j)
		if x.byTower[j.tower] == nil {
			x.towers = append(x.towers, j.tower)
		}
		x.byTower[j.tower] = append(x.byTower[j.tower], j)
	}
	return x
}

// readWork reads what the records say about joints, in a few queries for all of
// them.
func (t *tx) readWork(ctx context.Context, joints []*jointWork) error {
	x := indexJoints(joints)
	for _, read := range []func(context.Context, jointIndex) error{t.readTightened, t.readSealed, t.readInspections, t.readSignOffs, t.readHolds} {
		if err := read(ctx, x); err != nil {
			return err
		}
	}
	return nil
}

// keysAtOnce are the keys in one list of a query: many enough to make queries
// few, few enough to be planned quickly.
const keysAtOnce = 2000

// queryIn runs a query that ends in the condition `column IN`, with the keys in
// lists of a bearable length.
func (t *tx) queryIn(ctx context.Context, row func(*sql.Rows) error, query string, keys []any, tail string) error {
	for len(keys) > 0 {
		n := min(keysAtOnce, len(keys))
		if err := t.query(ctx, row, query+" IN "+marks(1, n)+tail, keys[:n]...); err != nil {
			return err
		}
		keys = keys[n:]
	}
	return nil
}

// recordsIn reads records of a kind by the keys in a column, in no order.
func (t *tx) recordsIn(ctx context.Context, kind ledger.RecordKind, column string, keys []any) (records []keyed, err error) {
	for len(keys) > 0 {
		n := min(keysAtOnce, len(keys))
		var c clause
		c.add(column+" IN "+marks(1, n), keys[:n]...)
		part, err := t.recordsWhere(ctx, kind, &c, "")
		if err != nil {
			return nil, err
		}
		records = append(records, part...)
		keys = keys[n:]
	}
	return records, nil
}

// readTightened adds up first passes in the order of time, to see when the last
// fastener was reached.
func (t *tx) readTightened(ctx context.Context, x jointIndex) error {
	return t.queryIn(ctx, func(rows *sql.Rows) error {
		var joint, day int
		var fasteners, at int64
		if err := rows.Scan(&joint, &fasteners, &at, &day); err != nil {
			return err
		}
		j := x.byID[joint]
		before := j.work.TightenedFirst
		j.work.TightenedFirst += fasteners
		if need := int64(j.Fasteners); before < need && j.work.TightenedFirst >= need {
			j.full, j.fullDay = fromMicro(at), day
		}
		return nil
	}, `SELECT r.joint_id, x.fasteners, r.occur_time, r.local_day FROM records r JOIN tightenings x ON x.id = r.id
WHERE x.pass = 1 AND `+notCorrected+` AND r.joint_id`, x.joints, " ORDER BY r.joint_id, r.occur_time, r.id")
}

func (t *tx) readSealed(ctx context.Context, x jointIndex) error {
	return t.queryIn(ctx, func(rows *sql.Rows) error {
		var joint int
		if err := rows.Scan(&joint); err != nil {
			return err
		}
		x.byID[joint].work.Sealed = true
		return nil
	}, "SELECT DISTINCT r.joint_id FROM records r JOIN sealings x ON x.id = r.id WHERE "+notCorrected+" AND r.joint_id", x.joints, "")
}

// readInspections keeps the newest result of each kind.
func (t *tx) readInspections(ctx context.Context, x jointIndex) error {
	return t.queryIn(ctx, func(rows *sql.Rows) error {
		var joint int
		var kind ledger.InspectionKind
		var result ledger.InspectionResult
		if err := rows.Scan(&joint, &kind, &result); err != nil {
			return err
		}
		x.byID[joint].work.Inspections[kind] = result
		return nil
	}, "SELECT r.joint_id, x.kind, x.result FROM records r JOIN inspections x ON x.id = r.id WHERE "+notCorrected+" AND r.joint_id",
		x.joints, " ORDER BY r.joint_id, r.occur_time, r.id")
}

// level is a column, of a record r or of a hold or sign-off x, that names a joint
// or what it lies in, with the keys of the joints at hand.
type level struct {
	column string
	keys   []any
	joints func(key int) []*jointWork
}

func (x jointIndex) jointLevel(column string) level {
	return level{column, x.joints, func(key int) []*jointWork { return []*jointWork{x.byID[key]} }}
}

func (x jointIndex) cellLevel() level {
	return level{"x.cell_id", x.cells, func(key int) []*jointWork { return x.byCell[key] }}
}

func (x jointIndex) towerLevel() level {
	return level{"x.tower_id", x.towers, func(key int) []*jointWork { return x.byTower[key] }}
}

// readSignOffs reads what was accepted at a hold point: a joint, or the cell or
// tower it is part of. A witness point accepts nothing.
func (t *tx) readSignOffs(ctx context.Context, x jointIndex) error {
	for _, l := range []level{x.jointLevel("r.joint_id"), x.cellLevel(), x.towerLevel()} {
		err := t.queryIn(ctx, func(rows *sql.Rows) error {
			var key int
			if err := rows.Scan(&key); err != nil {
				return err
			}
			for _, j := range l.joints(key) {
				j.work.SignedOff = true
			}
			return nil
		}, "SELECT DISTINCT "+l.column+" FROM sign_offs x JOIN records r ON r.id = x.id WHERE x.point = 1 AND "+notCorrected+" AND "+l.column, l.keys, "")
		if err != nil {
			return err
		}
	}
	return nil
}

// readHolds reads the keys of the open holds on joints and on their cells.
func (t *tx) readHolds(ctx context.Context, x jointIndex) error {
	for _, l := range []level{x.jointLevel("x.joint_id"), x.cellLevel()} {
		err := t.queryIn(ctx, func(rows *sql.Rows) error {
			var key int
			var hold int64
			if err := rows.Scan(&key, &hold); err != nil {
				return err
			}
			for _, j := range l.joints(key) {
				j.holds = append(j.holds, hold)
				j.work.OnHold = true
			}
			return nil
		}, "SELECT "+l.column+", x.id FROM holds x WHERE "+notReleased+" AND "+l.column, l.keys, "")
		if err != nil {
			return err
		}
	}
	return nil
}
