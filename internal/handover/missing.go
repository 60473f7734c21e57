package handover

import (
	"fmt"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// Missing is one thing that keeps a hand-over from being complete.
type Missing struct {
	// Place that it is about: a joint, or the cell or site that it holds for as a
	// whole.
	Place ledger.Place
	// Sentence says in plain words what is missing, with the place.
	Sentence string
}

// Joint is what is on record about one joint.
type Joint struct {
	ledger.Joint
	// Sealant that the specification which holds now names; empty for none.
	Sealant string
	// Torque is that of the specification, with its window.
	Torque rules.TorqueWindow
	// Tightened is how many fasteners were tightened in a first pass.
	Tightened int64
	// SignedOff says that the joint, its cell or its tower was accepted at a hold
	// point.
	SignedOff bool
	// OpenHolds are those on the joint and on its cell.
	OpenHolds []*ledger.Hold
	// Records that name the joint, in the order in which they happened. Those that
	// were withdrawn or replaced may be among them: they do not count.
	Records []ledger.Record
}

// Tool is a tool that was used, with every calibration that counts, in the order
// of time.
type Tool struct {
	ledger.Tool
	// Location is the zone of its home site, in which its due day ends.
	Location     *time.Location
	Calibrations []*ledger.Calibration
}

// InForce is the newest calibration at or before a time; nil when there is none.
func (t Tool) InForce(at time.Time) *ledger.Calibration {
	var newest *ledger.Calibration
	for _, c := range t.Calibrations {
		if !c.OccurTime.After(at) {
			newest = c
		}
	}
	return newest
}

// Check compares what is on record with what a complete hand-over needs.
type Check struct {
	// Tools that were used, by serial.
	Tools map[string]Tool
	// HeldLots are lots that must not be used now: by number, what keeps them, such
	// as "is on hold".
	HeldLots map[string]string
}

// Cell gives what is missing at the joints of one cell: first what holds for the
// cell as a whole, then joint by joint.
//
// A joint is complete when
//   - as many fasteners are tightened as it has, with tool and torque on record
//     where the joint is critical or its specification has a torque, and it is
//     sealed with the sealant that its specification names, where it names one;
//   - the newest inspection of each kind passed, a torque audit with readings that
//     lie within the window, and at least one was made where the joint is critical;
//   - no hold on it or on its cell is open. What a rule found with the severity
//     hold has placed one, and it stays when that record is corrected;
//   - every incident that needs a disposition has one;
//   - every tool was calibrated when it was used, and no lot in it is on hold now,
//     unless somebody with the authority has released a hold that was placed for
//     that very rule;
//   - it is signed off at a hold point, alone or with its cell or tower.
//
// Where none of the cell's joints is signed off, that is said once for the cell.
func (c Check) Cell(joints []Joint) []Missing {
	var missing []Missing
	if len(joints) == 0 {
		return nil
	}
	for _, h := range joints[0].OpenHolds {
		if h.Place.Depth() == 3 {
			missing = append(missing, Missing{h.Place, fmt.Sprintf("Cell %s is on hold%s.", h.Place, because(h))})
		}
	}
	unsigned := 0
	for _, j := range joints {
		if !j.SignedOff {
			unsigned++
		}
	}
	none := unsigned == len(joints) && unsigned > 1
	for _, j := range joints {
		missing = append(missing, c.joint(j)...)
		if !j.SignedOff && !none {
			missing = append(missing, Missing{j.Place, fmt.Sprintf("Joint %s is not signed off at a hold point, nor is its cell or its tower.", j.Place)})
		}
	}
	if cell := joints[0].Place.Parent(); none {
		missing = append(missing, Missing{cell, fmt.Sprintf(
			"Cell %s: none of its %d joints is signed off at a hold point, nor is the cell or its tower.", cell, len(joints))})
	}
	return missing
}

// Incidents gives those of a site that happened at no joint and need a
// disposition that they do not have. decided are the incidents with one.
func Incidents(incidents []*ledger.Incident, decided func(*ledger.Incident) bool) []Missing {
	var missing []Missing
	for _, i := range incidents {
		if !withdrawn(i) && needsDisposition(i) && !decided(i) {
			site := ledger.Place{Site: i.SiteCode()}
			missing = append(missing, Missing{site, fmt.Sprintf("Site %s: %s.", site, undecided(i))})
		}
	}
	return missing
}

func withdrawn(r ledger.Record) bool { return r.Head().CorrectedBy != uuid.Nil }

func because(h *ledger.Hold) string {
	if h.Reason == "" {
		return ""
	}
	return ": " + trimStop(h.Reason)
}
