package store

import (
	"context"
	"database/sql"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// curedAfter is when thread-locking compound is taken to have cured: anaerobic
// compounds are said to reach full strength in 24 h (common practice, no source).
const curedAfter = 24 * time.Hour

// impactReading gathers what an impact is made of, in a few queries whatever the
// number of joints.
type impactReading struct {
	t           *tx
	q           analysis.ImpactQuery
	in          analysis.ImpactInput
	tightenings []impactTightening
	joints      map[int]*impactJoint
	keys        []any // of the joints
}

// impactTightening is a tightening with the keys of what it names.
type impactTightening struct {
	analysis.ImpactTightening
	joint, revision, lot int
	treatment            ledger.Treatment
}

// impactJoint is a joint with its last tightening with the tool in the time in
// question.
type impactJoint struct {
	analysis.ImpactJoint
	last impactTightening
}

// readTightenings reads what was done with the tool from the last good calibration
// up to the failed one, in order of time.
func (r *impactReading) readTightenings(ctx context.Context, tool int) error {
	since := int64(-1) << 62
	if r.in.LastGood != nil {
		since = micro(r.in.LastGood.OccurTime)
	}
	return r.t.query(ctx, func(rows *sql.Rows) error {
		var v impactTightening
		var uid []byte
		var at int64
		err := rows.Scan(&uid, &v.joint, &at, &v.revision, &v.lot, &v.treatment, &v.TorqueNewtonMetres, &v.Fasteners, &v.Pass)
		if err != nil {
			return err
		}
		v.ID, v.At = idOf(uid), fromMicro(at)
		if v.TorqueNewtonMetres != nil && *v.TorqueNewtonMetres == 0 {
			v.TorqueNewtonMetres = nil // no tool is set to nothing: nobody knew
		}
		j := r.joints[v.joint]
		if j == nil {
			j = &impactJoint{}
			r.joints[v.joint], r.keys = j, append(r.keys, v.joint)
		}
		j.last = v
		r.tightenings = append(r.tightenings, v)
		return nil
	}, `SELECT r.uid, r.joint_id, r.occur_time, x.specification_revision_id, COALESCE(r.lot_id, 0), x.treatment, x.torque_nm, x.fasteners, x.pass
FROM records r JOIN tightenings x ON x.id = r.id
WHERE r.tool_id = ? AND r.kind = ? AND r.occur_time >= ? AND r.occur_time < ? AND `+notCorrected+r.t.andVisible("r.site_id")+" ORDER BY r.occur_time, r.id",
		tool, uint8(ledger.KindTightening), since, micro(r.in.Failed.OccurTime))
}

// readJoints reads the joints and how far the work on them has come.
func (r *impactReading) readJoints(ctx context.Context) error {
	found, err := r.t.jointsIn(ctx, r.keys)
	if err != nil {
		return err
	}
	for len(found) > 0 {
		part := found[:min(keysAtOnce, len(found))]
		if err := r.t.readWork(ctx, part); err != nil {
			return err
		}
		for _, w := range part {
			j := r.joints[w.id]
			j.Joint, j.Fasteners, j.Status = w.Place, w.Fasteners, w.work.Status()
		}
		found = found[len(part):]
	}
	return nil
}

// readSpecified finds the window of each joint, by what held for its last
// tightening with the tool, and which threads carry compound that has cured.
func (r *impactReading) readSpecified(ctx context.Context) error {
	var lots []any
	seen := map[int]bool{0: true}
	for _, j := range r.joints {
		if lot := j.last.lot; !seen[lot] {
			seen[lot] = true
			lots = append(lots, lot)
		}
	}
	known, err := r.t.lotFacts(ctx, lots)
	if err != nil {
		return err
	}
	windows := map[[2]int]*analysis.TorqueWindow{}
	for _, j := range r.joints {
		key := [2]int{j.last.revision, j.last.lot}
		w, done := windows[key]
		if !done {
			if w, err = r.t.windowOf(ctx, j.last.revision, known[j.last.lot].lot); err != nil {
				return err
			}
			windows[key] = w
		}
		j.Window = w
	}
	for i := range r.tightenings {
		v := &r.tightenings[i]
		revision, err := r.t.revisionByKey(ctx, v.revision)
		if err != nil {
			return err
		}
		locked := v.treatment == ledger.TreatmentThreadLocking || revision.Locking == ledger.LockingCompound
		v.LockingCured = locked && r.q.AsOf.Sub(v.At) > curedAfter
	}
	return nil
}

// windowOf is the torque that a revision of a specification allows for a lot: the
// rules know which approved substitution asks for another.
func (t *tx) windowOf(ctx context.Context, revision int, lot *ledger.Lot) (*analysis.TorqueWindow, error) {
	f := rules.Facts{Lot: lot}
	var err error
	if f.Specification, err = t.revisionByKey(ctx, revision); err != nil {
		return nil, err
	}
	if lot != nil && lot.Fastener != f.Specification.Fastener {
		if f.Substitutions, err = t.substitutionsOf(ctx, f.Specification.Code); err != nil {
			return nil, err
		}
	}
	w, source, ok := f.Window()
	if !ok || w.TargetNewtonMetres <= 0 || w.TolerancePercent <= 0 {
		return nil, nil
	}
	return &analysis.TorqueWindow{
		LowerNewtonMetres: w.TargetNewtonMetres * (1 - w.TolerancePercent/100),
		UpperNewtonMetres: w.TargetNewtonMetres * (1 + w.TolerancePercent/100),
		Basis:             source + ": " + w.String(),
	}, nil
}

// laterTightening is one of a joint after the last with the tool.
type laterTightening struct {
	uid       []byte
	joint     int
	tool      int
	at        int64
	fasteners int
}

// readGoneOver finds for each joint the tightening since, up to the moment looked
// from, with a tool that was good then, by which the most fasteners were reached.
func (r *impactReading) readGoneOver(ctx context.Context) error {
	if len(r.tightenings) == 0 {
		return nil
	}
	var later []laterTightening
	var keys []any
	tools := map[int]bool{}
	asOf := micro(r.q.AsOf)
	err := r.t.queryIn(ctx, func(rows *sql.Rows) error {
		var v laterTightening
		if err := rows.Scan(&v.uid, &v.joint, &v.tool, &v.at, &v.fasteners); err != nil {
			return err
		}
		if v.at <= micro(r.joints[v.joint].last.At) || v.at > asOf {
			return nil
		}
		if !tools[v.tool] {
			tools[v.tool] = true
			keys = append(keys, v.tool)
		}
		later = append(later, v)
		return nil
	}, `SELECT r.uid, r.joint_id, r.tool_id, r.occur_time, x.fasteners FROM records r JOIN tightenings x ON x.id = r.id
WHERE r.tool_id IS NOT NULL AND `+notCorrected+" AND r.joint_id", r.keys, " ORDER BY r.joint_id, r.occur_time, r.id")
	if err != nil || len(later) == 0 {
		return err
	}
	proofs, err := r.readProofs(ctx, keys)
	if err != nil {
		return err
	}
	for _, v := range later {
		j, p := r.joints[v.joint], proofs[v.tool]
		at := fromMicro(v.at)
		if g := j.GoneOver; g != nil && g.Fasteners > v.fasteners || !p.at(at) {
			continue
		}
		j.GoneOver = &analysis.GoneOver{ID: idOf(v.uid), At: at, Tool: p.tool.Serial, Fasteners: v.fasteners}
	}
	return nil
}

// toolProof says at what times a tool was good.
type toolProof struct {
	tool         ledger.Tool
	location     *time.Location
	calibrations []ledger.Calibration
	q            analysis.ImpactQuery
	// days remembers the answer for the calibration in force and the local day:
	// within them it does not change.
	days map[proofKey]bool
}

type proofKey struct {
	calibration uuid.UUID
	day         string
}

func (p *toolProof) at(t time.Time) bool {
	key := proofKey{day: t.In(p.location).Format(time.DateOnly)}
	for _, c := range p.calibrations {
		if c.OccurTime.After(t) {
			break
		}
		key.calibration = c.ID
	}
	good, known := p.days[key]
	if !known {
		good = analysis.ProvenAt(p.tool, p.location, p.calibrations, t, p.q.Rule)
		p.days[key] = good
	}
	return good
}

// readProofs reads what says when tools were good.
func (r *impactReading) readProofs(ctx context.Context, keys []any) (map[int]*toolProof, error) {
	registers := map[int]*toolProof{}
	err := inKeys(keys, func(part []any) error {
		return r.t.query(ctx, func(rows *sql.Rows) error {
			var key int
			var zone string
			p := &toolProof{q: r.q, days: map[proofKey]bool{}}
			v := &p.tool
			err := rows.Scan(&key, &v.Serial, &v.TypeClass, &v.MaximumNewtonMetres, &v.IntervalMonths, &zone)
			if err != nil {
				return err
			}
			registers[key] = p
			p.location, err = r.t.names.zone(zone)
			return err
		}, `SELECT x.id, x.serial, x.type_class, x.max_nm, x.interval_months, s.time_zone FROM tools x JOIN sites s ON s.id = x.home_site_id
WHERE x.id IN `+marks(1, len(part)), part...)
	})
	if err != nil {
		return nil, err
	}
	calibrations, err := r.t.calibrationsUpTo(ctx, keys, r.q.AsOf)
	for _, p := range registers {
		p.calibrations = calibrations[p.tool.Serial]
	}
	return registers, err
}

// input puts together what was read.
func (r *impactReading) input() analysis.ImpactInput {
	for _, key := range r.keys {
		r.in.Joints = append(r.in.Joints, r.joints[key.(int)].ImpactJoint)
	}
	for _, v := range r.tightenings {
		v.Joint = r.joints[v.joint].Joint
		r.in.Tightenings = append(r.in.Tightenings, v.ImpactTightening)
	}
	return r.in
}
