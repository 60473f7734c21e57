package store_test

import (
	"slices"
	"strings"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// decide predicts what becomes of a decision: it takes a role, and a release an open hold
// that is on what it names.
func (m *model) decide(sent ledger.Record) answer {
	release, isHold := sent.(*ledger.Hold)
	switch sent.RecordKind() {
	case ledger.KindDisposition, ledger.KindSignOff:
	case ledger.KindHold:
		if release.Action != ledger.HoldReleased {
			return answer{}
		}
	default:
		return answer{}
	}
	if !m.mayDecide(sent) {
		return refusedFor(ledger.ReasonPermissionDenied)
	}
	if !isHold {
		return answer{}
	}
	target := m.byID[release.Releases]
	hold := target.record.(*ledger.Hold)
	switch {
	case hold.Action != ledger.HoldPlaced || target.releasedBy != uuid.Nil:
		return refusedFor(ledger.ReasonHoldNotOpen)
	case hold.Place != release.Place || hold.Lot != release.Lot || hold.Tool != release.Tool:
		return refusedFor(ledger.ReasonInvalidField)
	}
	target.releasedBy = release.ID
	return answer{}
}

func (m *model) mayDecide(r ledger.Record) bool {
	return slices.Contains(m.people[r.Head().Person].Roles, ledger.RoleSiteLead)
}

// knownTarget says whether what a decision is about is known, and of the kind it must be.
func (m *model) knownTarget(id uuid.UUID, kind ledger.RecordKind) bool {
	k := m.byID[id]
	return k != nil && k.record.RecordKind() == kind
}

// within says whether a place is another one or lies in it.
func within(place, in ledger.Place) bool {
	return place == in || strings.HasPrefix(place.String(), in.String()+"/")
}

// jointWork is what the records that count say of a joint, one after another in time, and
// the holds on it that are open.
func (m *model) jointWork(joint ledger.Joint) (work ledger.JointWork, holds []uuid.UUID) {
	work = ledger.JointWork{SealRequired: joint.Specification == storetest.Seam, Fasteners: joint.Fasteners, Inspections: map[ledger.InspectionKind]ledger.InspectionResult{}}
	for _, r := range byTime(m.counting()) {
		switch r := r.(type) {
		case *ledger.Tightening:
			if r.Joint == joint.Place && r.Pass == ledger.PassFirst {
				work.TightenedFirst += int64(r.Fasteners)
			}
		case *ledger.Sealing:
			work.Sealed = work.Sealed || r.Joint == joint.Place
		case *ledger.Inspection:
			if r.Joint == joint.Place {
				work.Inspections[r.Kind] = r.Result
			}
		case *ledger.SignOff:
			work.SignedOff = work.SignedOff || r.Point == ledger.HoldPoint && within(joint.Place, r.Place)
		case *ledger.Hold:
			if r.Action == ledger.HoldPlaced && r.Place.Depth() >= 3 && within(joint.Place, r.Place) && m.byID[r.ID].releasedBy == uuid.Nil {
				holds = append(holds, r.ID)
			}
		}
	}
	return work, holds
}

// placedByPeople are the ids of the holds that no rule placed.
func placedByPeople(holds []*ledger.Hold) (ids []uuid.UUID) {
	for _, h := range holds {
		if h.Rule == "" {
			ids = append(ids, h.ID)
		}
	}
	return ids
}

// states are the model's states of the joints that a caller sees, in the order of their
// names.
func (m *model) states(sees func(site string) bool) []store.JointStatus {
	var all []store.JointStatus
	for _, joint := range m.joints {
		if !sees(joint.Place.Site) {
			continue
		}
		work, holds := m.jointWork(joint)
		s := store.JointStatus{Joint: joint, State: work.Status().State, Tightened: work.TightenedFirst}
		for _, id := range holds {
			s.OpenHolds = append(s.OpenHolds, &ledger.Hold{Entry: ledger.Entry{ID: id}})
		}
		all = append(all, s)
	}
	slices.SortFunc(all, func(a, b store.JointStatus) int {
		return strings.Compare(a.Joint.Place.String(), b.Joint.Place.String())
	})
	return all
}
