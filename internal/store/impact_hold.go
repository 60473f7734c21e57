package store

import (
	"context"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/visible"
)

// ImpactDecision says which joints of an impact are put on hold, by whom and why.
type ImpactDecision struct {
	Query analysis.ImpactQuery
	// Joints are those to hold; those that analysis.ImpactAnswer.JointsToHold
	// chooses by Least when empty.
	Joints []ledger.Place
	Least  float64
	// Reason is that of who decides; the impact is named before it.
	Reason string
	// Entry is what all the holds carry, but for their ids.
	Entry ledger.Entry
}

// ImpactHolds is what became of a decision.
type ImpactHolds struct {
	Calibration uuid.UUID
	Cautions    []string
	// Joints are those chosen, in the order of the impact or of the decision.
	Joints []HeldJoint
}

// HeldJoint is what became of the hold on one joint.
type HeldJoint struct {
	Joint ledger.Place
	// Hold is its id.
	Hold    uuid.UUID
	Outcome Outcome
	// ReleasedBy is the release of a hold that was placed before; zero for none.
	ReleasedBy uuid.UUID
	// OutsideProbability is the joint's; nil when there is none.
	OutsideProbability *float64
}

// HoldToolImpact puts joints on hold for what a tool did to them. The impact is
// worked out in the transaction that keeps the holds: what it saw and what it
// holds are one state. Errors as ToolImpact; KindInvalid for an entry or a reason
// that is not sound; KindNotFound for an unknown person. A joint that was not
// tightened with the tool in the time in question is refused in its outcome.
func (s *Store) HoldToolImpact(ctx context.Context, d ImpactDecision, c Change) (ImpactHolds, error) {
	var answer ImpactHolds
	err := s.change(visible.Everything(ctx), c, func(t *tx) error {
		held, err := t.holdImpact(ctx, d, c.Caller)
		answer = held
		return err
	})
	if err != nil {
		return ImpactHolds{}, err
	}
	return answer, nil
}

func (t *tx) holdImpact(ctx context.Context, d ImpactDecision, caller *Caller) (ImpactHolds, error) {
	found, err := t.impactFor(ctx, d.Query, caller)
	if err != nil {
		return ImpactHolds{}, err
	}
	if d.Entry.Person != "" {
		if _, err := t.needNamed(ctx, personNoun, d.Entry.Person); err != nil {
			return ImpactHolds{}, err
		}
	}
	held := ImpactHolds{Calibration: found.Failed.ID, Cautions: found.Cautions}
	var records []ledger.Record
	var where []int
	for _, j := range found.chosen(d) {
		hold, before := j.hold, found.Holds[j.Joint]
		switch {
		case before != nil:
			j.Outcome, j.ReleasedBy = Outcome{State: AlreadyKnown}, before.ReleasedBy
		case hold != nil:
			if err := ledger.Invalid("hold", hold.Validate()); err != nil {
				return ImpactHolds{}, err
			}
			records, where = append(records, hold), append(where, len(held.Joints))
		}
		held.Joints = append(held.Joints, j.HeldJoint)
	}
	t.of(caller, records)
	outcomes, err := t.record(ctx, records)
	if err != nil {
		return ImpactHolds{}, err
	}
	for i, o := range outcomes {
		held.Joints[where[i]].Outcome = o
	}
	return held, nil
}

// impactFor works out an impact as far as the caller sees it. The transaction is shared
// with others, and what judges the holds sees everything.
func (t *tx) impactFor(ctx context.Context, q analysis.ImpactQuery, caller *Caller) (ToolImpact, error) {
	if caller != nil {
		if err := t.see(ctx, caller.Sees); err != nil {
			return ToolImpact{}, err
		}
		defer func() { t.visible = nil }()
	}
	return t.toolImpact(ctx, q)
}

// chosenJoint is a joint of a decision, with the hold that it asks for; no hold
// and a refusal for a joint that the impact does not have.
type chosenJoint struct {
	HeldJoint
	hold *ledger.Hold
}

// chosen gives the joints that a decision is about.
func (i *ToolImpact) chosen(d ImpactDecision) []chosenJoint {
	var joints []chosenJoint
	if len(d.Joints) == 0 {
		for _, j := range i.JointsToHold(d.Least) {
			joints = append(joints, i.choose(d, j.Joint, j.HoldReason(i.Tool.Serial, i.Failed, d.Reason), j.OutsideProbability))
		}
		return joints
	}
	reasons, probabilities := map[ledger.Place]string{}, map[ledger.Place]*float64{}
	for _, list := range [][]analysis.JointImpact{i.Joints, i.GoneOver} {
		for _, j := range list {
			reasons[j.Joint], probabilities[j.Joint] = j.HoldReason(i.Tool.Serial, i.Failed, d.Reason), j.OutsideProbability
		}
	}
	for _, j := range i.Apart {
		reasons[j.Joint] = j.HoldReason(i.Tool.Serial, i.Failed, d.Reason)
	}
	for _, place := range d.Joints {
		reason, ours := reasons[place]
		j := i.choose(d, place, reason, probabilities[place])
		if !ours {
			j.hold, j.Outcome = nil, refused(ledger.AsError(ledger.InvalidField("request", "joints",
				"%s was not tightened with tool %s in the time in question", place, i.Tool.Serial)))
		}
		joints = append(joints, j)
	}
	return joints
}

func (i *ToolImpact) choose(d ImpactDecision, joint ledger.Place, reason string, probability *float64) chosenJoint {
	hold := &ledger.Hold{Entry: d.Entry, Action: ledger.HoldPlaced, Place: joint, Site: joint.Site, Reason: reason}
	hold.ID = analysis.ImpactHoldID(i.Failed.ID, joint)
	return chosenJoint{HeldJoint{Joint: joint, Hold: hold.ID, OutsideProbability: probability}, hold}
}
