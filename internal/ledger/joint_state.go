package ledger

// JointState says how far the work on a joint has come. It is derived from
// records and never typed.
type JointState uint8

// Joint states, each a step beyond the one before.
const (
	JointPlanned JointState = iota + 1
	JointSealed
	JointTightened
	JointInspected
	JointAccepted
)

// JointStates are the words of JointState.
var JointStates = Words[JointState]{
	what:  "joint state",
	names: []string{"planned", "sealed", "tightened", "inspected", "accepted"},
}

// JointWork is what the records say about one joint, corrections followed:
// nothing that was withdrawn or replaced is in it.
type JointWork struct {
	// SealRequired says that the joint's specification names a sealant.
	SealRequired bool
	// Fasteners is how many the joint has.
	Fasteners int
	// TightenedFirst is the sum of fasteners of its first-pass tightenings; later
	// passes go over the same ones again.
	TightenedFirst int64
	Sealed         bool
	// Inspections are the results of the newest inspection of each kind.
	Inspections map[InspectionKind]InspectionResult
	// SignedOff says that the joint, or the cell or tower it is part of, was
	// accepted at a hold point.
	SignedOff bool
	// OnHold says that a hold on the joint or its cell is open.
	OnHold bool
}

// JointStatus is the state of a joint. A hold lies across any state: it changes
// none and hides none.
type JointStatus struct {
	State  JointState
	OnHold bool
}

// Status derives the state: the furthest step that the joint has reached with
// none missing below it.
//
//   - sealed: a sealing is on record, whether or not one is required;
//   - tightened: as many fasteners reached torque in first passes as the joint
//     has, and the seal is in where one is required. The seal goes in before the
//     bolts, so a joint that was bolted without it is planned still: it must be
//     opened again;
//   - inspected: tightened, and the newest inspection of every kind that was
//     made has passed, at least one. One that fails leaves the joint tightened;
//   - accepted: tightened and signed off, with no newest inspection failing.
//     Inspection is by sample, so a joint that was not drawn needs none of its
//     own. A sign-off does not make up for work that is missing.
func (w JointWork) Status() JointStatus {
	return JointStatus{State: w.state(), OnHold: w.OnHold}
}

func (w JointWork) state() JointState {
	if !w.tightened() {
		if w.Sealed {
			return JointSealed
		}
		return JointPlanned
	}
	passed := false
	for _, result := range w.Inspections {
		if result != InspectionPass {
			return JointTightened
		}
		passed = true
	}
	switch {
	case w.SignedOff:
		return JointAccepted
	case passed:
		return JointInspected
	}
	return JointTightened
}

func (w JointWork) tightened() bool {
	return w.TightenedFirst > 0 && w.TightenedFirst >= int64(w.Fasteners) && (w.Sealed || !w.SealRequired)
}
