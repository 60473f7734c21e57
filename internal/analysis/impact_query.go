package analysis

import (
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// ImpactInput is what is on record about the work done with a tool whose
// calibration failed as found.
type ImpactInput struct {
	Tool ledger.Tool
	// Location is the time zone in which days are named; UTC when nil.
	Location *time.Location
	// LastGood is the calibration that last left the tool good; nil when none is
	// on record. Its as-left points count, or its as-found points when it was not
	// adjusted.
	LastGood *ledger.Calibration
	// Failed is the calibration that found the tool outside its limit.
	Failed ledger.Calibration
	// Rule decides which test points failed; simple acceptance when empty.
	Rule metrology.DecisionRule
	// Tightenings are those with the tool from LastGood (ever when nil) up to but
	// not including Failed, withdrawn ones left out, in any order. What lies
	// outside that time is left out here.
	Tightenings []ImpactTightening
	// Joints has each joint that Tightenings name, once, in any order.
	Joints []ImpactJoint
}

// ImpactTightening is one tightening with the tool.
type ImpactTightening struct {
	ID    uuid.UUID
	Joint ledger.Place
	At    time.Time
	Pass  ledger.Pass
	// TorqueNewtonMetres is the torque set or read; nil when not known.
	TorqueNewtonMetres *float64
	// Fasteners is also the number of cycles.
	Fasteners int
	// LockingCured says that thread-locking compound was on the threads and has
	// cured since, so that turning the fastener proves nothing.
	LockingCured bool
}

// ImpactJoint is what is on record about a joint the tool was used on.
type ImpactJoint struct {
	Joint ledger.Place
	// Fasteners is how many the joint has; 0 when not known.
	Fasteners int
	Status    ledger.JointStatus
	// Window is what its torque may be; nil when no specification says.
	Window *TorqueWindow
	// GoneOver is the newest tightening of the joint after the last with this
	// tool in the time in question, with a tool whose calibration was good then;
	// nil for none.
	GoneOver *GoneOver
}

// TorqueWindow is the torque that a joint may have, in N·m, with where it comes
// from in words, such as "specification BT-12, revision 3: 88 N·m ±10 %".
type TorqueWindow struct {
	LowerNewtonMetres, UpperNewtonMetres float64
	Basis                                string
}

// GoneOver is a later tightening of a joint with a good tool.
type GoneOver struct {
	ID        uuid.UUID
	At        time.Time
	Tool      string // serial
	Fasteners int
}

// ToolFailure is a calibration that failed as found and the one that last left
// the tool good before it.
type ToolFailure struct {
	Failed ledger.Calibration
	// LastGood is nil when no calibration before Failed left the tool good.
	LastGood *ledger.Calibration
}
