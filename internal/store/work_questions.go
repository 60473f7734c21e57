package store

import (
	"cmp"
	"context"
	"database/sql"
	"maps"
	"math"
	"slices"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// revisionNow is the revision of a specification that holds now.
type revisionNow struct {
	id                         int
	sealRequired               bool
	torqueNm, tolerancePercent float64
}

// revisionsNow reads the revisions that hold now, by the key of their specification.
func (t *tx) revisionsNow(ctx context.Context) (map[int]revisionNow, error) {
	revisions := map[int]revisionNow{}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var specification int
		var sealant string
		var r revisionNow
		err := rows.Scan(&specification, &r.id, &sealant, &r.torqueNm, &r.tolerancePercent)
		r.sealRequired = sealant != ""
		revisions[specification] = r
		return err
	}, "SELECT sp.id, sv.id, sv.sealant, sv.torque_nm, sv.torque_tolerance_pct FROM specifications sp JOIN specification_revisions sv ON sv.specification_id = sp.id AND sv.revision = sp.version")
	return revisions, err
}

// jointsOf gives the joints at or below a place, those of all sites that are seen for
// none, with what is remembered of their work.
func (t *tx) jointsOf(ctx context.Context, m *workMemory, keys placeKeys, revisions map[int]revisionNow) (joints []*countedJoint, err error) {
	give := func(_ int, cells []*workedCell) {
		for _, c := range cells {
			if keys.tower != 0 && int(c.tower) != keys.tower || keys.cell != 0 && int(c.id) != keys.cell {
				continue
			}
			c.each(func(w *workedJoint) {
				if keys.joint == 0 || w.id == keys.joint {
					joints = append(joints, countedOf(w, revisions))
				}
			})
		}
	}
	if keys.site == 0 {
		return joints, t.eachWork(ctx, m, t.sees, give)
	}
	if !t.sees(keys.site) {
		return nil, nil
	}
	cells, err := t.siteCells(ctx, m, keys.site)
	if err == nil {
		give(keys.site, cells)
	}
	return joints, err
}

func countedOf(w *workedJoint, revisions map[int]revisionNow) *countedJoint {
	j := &countedJoint{id: w.id, cell: w.cell, tower: w.tower, work: ledger.JointWork{
		Fasteners: int(w.fasteners), SealRequired: revisions[w.specification].sealRequired,
		TightenedFirst: w.done(math.MaxInt64), Sealed: w.sealed(math.MaxInt64), Inspections: map[ledger.InspectionKind]ledger.InspectionResult{},
	}}
	j.full, j.fullDay = w.full()
	return j
}

// readJudgements reads what else joints of a place are judged by: inspections, hold
// points signed off, and open holds. Of a site these stand in its chain, a range of the
// key; there are few of them beside the work.
func (t *tx) readJudgements(ctx context.Context, keys placeKeys, joints []*countedJoint) error {
	on := map[place3][]*countedJoint{}
	for _, j := range joints {
		for _, p := range []place3{{joint: j.id}, {cell: j.cell}, {tower: j.tower}} {
			on[p] = append(on[p], j)
		}
	}
	var chain clause
	if keys.site != 0 {
		chain.add("x.id >= ?", int64(keys.site)<<sequenceBits)
		chain.add("x.id < ?", int64(keys.site+1)<<sequenceBits)
	}
	for _, q := range []struct {
		query, condition, order string
		note                    func(j *countedJoint, kind, result uint8)
	}{
		{"SELECT COALESCE(r.joint_id, 0), 0, 0, x.kind, x.result FROM inspections x JOIN records r ON r.id = x.id", "r.joint_id IS NOT NULL AND " + notCorrected, " ORDER BY r.occur_time, r.id",
			func(j *countedJoint, kind, result uint8) {
				j.work.Inspections[ledger.InspectionKind(kind)] = ledger.InspectionResult(result) // the newest stays
			}},
		{"SELECT COALESCE(r.joint_id, 0), COALESCE(x.cell_id, 0), COALESCE(x.tower_id, 0), 0, 0 FROM sign_offs x JOIN records r ON r.id = x.id", "x.point = 1 AND " + notCorrected, "",
			func(j *countedJoint, _, _ uint8) { j.work.SignedOff = true }},
		{"SELECT COALESCE(x.joint_id, 0), COALESCE(x.cell_id, 0), 0, 0, 0 FROM holds x", "(x.joint_id IS NOT NULL OR x.cell_id IS NOT NULL) AND " + notReleased, "",
			func(j *countedJoint, _, _ uint8) { j.work.OnHold = true }},
	} {
		c := clause{conditions: slices.Clone(chain.conditions), args: slices.Clone(chain.args)}
		c.add(q.condition)
		err := t.query(ctx, func(rows *sql.Rows) error {
			var p place3
			var kind, result uint8
			if err := rows.Scan(&p.joint, &p.cell, &p.tower, &kind, &result); err != nil {
				return err
			}
			for _, one := range []place3{{joint: p.joint}, {cell: p.cell}, {tower: p.tower}} {
				if one != (place3{}) {
					for _, j := range on[one] {
						q.note(j, kind, result)
					}
				}
			}
			return nil
		}, q.query+c.where()+q.order, c.args...)
		if err != nil {
			return err
		}
	}
	return nil
}

// place3 names one of a joint, a cell and a tower.
type place3 struct{ joint, cell, tower int }

// remainingJoints counts by tower, torque and tolerance the joints that were not
// tightened as of a moment, as ledger.JointWork has it. A joint that was bolted
// without the seal that its specification asks for must be opened again: all of
// its fasteners are left. The specification is that of now: work ahead is done
// under it.
func (t *tx) remainingJoints(ctx context.Context, m *workMemory, asOf time.Time, revisions map[int]revisionNow) (map[int][]analysis.RemainingJoints, error) {
	type band struct {
		tower            int
		torque, percents float64
	}
	at, counted := micro(asOf), map[band]*analysis.RemainingJoints{}
	count := func(j *workedJoint) {
		r := revisions[j.specification]
		done := j.done(at)
		if r.torqueNm <= 0 || done >= j.fasteners && (!r.sealRequired || j.sealed(at)) {
			return
		}
		k := band{j.tower, r.torqueNm, r.tolerancePercent}
		if counted[k] == nil {
			counted[k] = &analysis.RemainingJoints{TorqueNewtonMetres: k.torque, TolerancePercent: k.percents}
		}
		left := j.fasteners - done
		if left <= 0 {
			left = j.fasteners
		}
		counted[k].Joints++
		counted[k].Fasteners += left
	}
	err := t.eachWork(ctx, m, t.sees, func(_ int, cells []*workedCell) {
		for _, c := range cells {
			c.each(count)
		}
	})
	if err != nil {
		return nil, err
	}
	byTower := map[int][]analysis.RemainingJoints{}
	for _, k := range slices.SortedFunc(maps.Keys(counted), func(a, b band) int {
		return cmp.Or(cmp.Compare(a.tower, b.tower), cmp.Compare(a.torque, b.torque), cmp.Compare(a.percents, b.percents))
	}) {
		byTower[k.tower] = append(byTower[k.tower], *counted[k])
	}
	return byTower, nil
}

// leftToInstall is what is left to install at a site by a day under a revision.
type leftToInstall struct {
	site, revision int
	finish         string
}

// remainingFasteners adds up, for the sites that are seen, the fasteners of each joint less those that reached torque
// in a first pass, as joint states have it, by site, planned finish of the tower and
// revision. None named are all. A joint with more than it has fasteners
// makes up for no other.
func (t *tx) remainingFasteners(ctx context.Context, m *workMemory, sites []any, finishes map[int]string, revisions map[int]revisionNow) (map[leftToInstall]int64, error) {
	left := map[leftToInstall]int64{}
	wanted := func(site int) bool { return t.sees(site) && (len(sites) == 0 || slices.Contains(sites, any(site))) }
	err := t.eachWork(ctx, m, wanted, func(site int, cells []*workedCell) {
		for _, c := range cells {
			c.each(func(j *workedJoint) {
				if n := j.fasteners - j.done(math.MaxInt64); n > 0 {
					left[leftToInstall{site, revisions[j.specification].id, finishes[j.tower]}] += n
				}
			})
		}
	})
	return left, err
}
