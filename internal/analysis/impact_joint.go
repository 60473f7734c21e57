package analysis

import (
	"slices"

	"jointledger/internal/ledger"
)

// toolWork is all that was done with the tool on one joint in the time in
// question, in order of time.
type toolWork struct {
	joint   ImpactJoint
	records []ImpactRecord
	cured   bool
}

// jointWork puts the tightenings together by joint, in the order of first use.
func jointWork(in ImpactInput, a *ImpactAnswer) []toolWork {
	known := map[ledger.Place]ImpactJoint{}
	for _, j := range in.Joints {
		known[j.Joint] = j
	}
	index := map[ledger.Place]int{}
	var work []toolWork
	var cycles int64
	for _, t := range in.Tightenings {
		i, ok := index[t.Joint]
		if !ok {
			i = len(work)
			index[t.Joint] = i
			j := known[t.Joint]
			j.Joint = t.Joint
			work = append(work, toolWork{joint: j})
		}
		cycles += int64(t.Fasteners)
		share := 1.0
		if a.Cycles > 0 {
			share = float64(cycles) / float64(a.Cycles)
		}
		work[i].cured = work[i].cured || t.LockingCured
		work[i].records = append(work[i].records, ImpactRecord{
			ID: t.ID, At: t.At, Pass: t.Pass, TorqueNewtonMetres: t.TorqueNewtonMetres, Fasteners: t.Fasteners,
			CycleShare: share, InBand: t.TorqueNewtonMetres != nil && inBands(a.Bands, *t.TorqueNewtonMetres),
		})
	}
	for i := range work {
		work[i].mark()
	}
	return work
}

func inBands(bands []ImpactBand, torque float64) bool {
	return slices.ContainsFunc(bands, func(b ImpactBand) bool { return b.Contains(torque) })
}

// mark says which records count: the last first or final pass with the tool, and
// those before it as long as the later ones together have fewer fasteners than
// the joint, for then some fastener was last tightened in an earlier one. Where
// only re-tightenings are on record, the same of them.
func (w *toolWork) mark() {
	made := func(r ImpactRecord) bool { return r.Pass != ledger.PassRetightening }
	anyMade := slices.ContainsFunc(w.records, made)
	covered, counted := 0, false
	for i := len(w.records) - 1; i >= 0; i-- {
		r := &w.records[i]
		if anyMade && !made(*r) {
			continue
		}
		if counted && covered >= w.joint.Fasteners {
			return
		}
		r.Counts, counted = true, true
		covered += r.Fasteners
	}
}

// apart says whether the joint is none to be estimated, and why.
func (w *toolWork) apart(bands []ImpactBand) (JointApart, bool) {
	noTorque := false
	for _, r := range w.records {
		if r.Counts && r.InBand {
			return JointApart{}, false
		}
		noTorque = noTorque || r.Counts && r.TorqueNewtonMetres == nil
	}
	a := JointApart{Joint: w.joint.Joint, Status: w.joint.Status, Records: w.records, Reason: ApartOutsideBand}
	if noTorque && len(bands) > 0 {
		a.Reason = ApartNoTorque
	}
	a.Sentence = apartSentence(a, bands)
	return a, true
}

// estimate gives the joint's figures: of the counted records in a band, those of
// the most probably wrong; of equals the latest.
func (w *toolWork) estimate(d toolDrift) JointImpact {
	var worst JointImpact
	for _, r := range w.records {
		if !r.Counts || !r.InBand {
			continue
		}
		j := w.estimateRecord(r, d)
		if worst.SetNewtonMetres == 0 || harm(j) >= harm(worst) {
			worst = j
		}
	}
	return worst
}

func (w *toolWork) estimateRecord(r ImpactRecord, d toolDrift) JointImpact {
	set := *r.TorqueNewtonMetres
	j := JointImpact{
		Joint: w.joint.Joint, Status: w.joint.Status, Window: w.joint.Window, Records: w.records,
		Deciding: r.ID, SetNewtonMetres: set, LockingCured: w.cured, GoneOver: w.goneOver(),
		UnknownDrift: d.unknown(set, w.joint.Window),
		LinearDrift:  d.linear(set, r.CycleShare, w.joint.Window),
	}
	j.NoTorqueFound = j.UnknownDrift == nil
	for _, e := range []*DriftEstimate{j.UnknownDrift, j.LinearDrift} {
		if e != nil && e.OutsideProbability != nil && (j.OutsideProbability == nil || *e.OutsideProbability > *j.OutsideProbability) {
			p := *e.OutsideProbability
			j.OutsideProbability = &p
		}
	}
	return j
}

// goneOver is the later tightening with a good tool, when it is later than all
// with this one.
func (w *toolWork) goneOver() *GoneOver {
	g := w.joint.GoneOver
	if g == nil || !g.At.After(w.records[len(w.records)-1].At) {
		return nil
	}
	return g
}

// allGoneOver says whether every fastener was tightened again; where the joint's
// number is not known, as many as were tightened with the tool in one record.
func (w *toolWork) allGoneOver() bool {
	g := w.goneOver()
	if g == nil {
		return false
	}
	need := w.joint.Fasteners
	if need == 0 {
		for _, r := range w.records {
			need = max(need, r.Fasteners)
		}
	}
	return g.Fasteners >= need
}
