package known

import (
	"time"

	"jointledger/internal/ledger"
)

// subjectsOf gives the joint, the lot and the tool that a record names; empty for
// what it does not name.
func subjectsOf(r ledger.Record) (joint ledger.Place, lot, tool string) {
	switch r := r.(type) {
	case *ledger.Tightening:
		return r.Joint, r.Lot, r.Tool
	case *ledger.Incident:
		return r.Joint, r.Lot, r.Tool
	case *ledger.Sealing:
		return r.Joint, "", ""
	case *ledger.Inspection:
		return r.Joint, "", r.Tool
	case *ledger.Custody:
		return joint, "", r.Tool
	case *ledger.Calibration:
		return joint, "", r.Tool
	case *ledger.ToolCheck:
		return joint, "", r.Tool
	case *ledger.LotMovement:
		return joint, r.Lot, ""
	case *ledger.Hold:
		return r.Place, r.Lot, r.Tool
	case *ledger.SignOff:
		return r.Place, "", ""
	}
	return joint, "", ""
}

// specified says whether a record is judged by the specification of its joint.
func specified(r ledger.Record) bool {
	switch r.(type) {
	case *ledger.Tightening, *ledger.Incident, *ledger.Sealing, *ledger.Inspection:
		return true
	}
	return false
}

func created(s *ledger.Specification) time.Time  { return s.CreateTime }
func calibrated(c *ledger.Calibration) time.Time { return c.OccurTime }
func changedHands(c *ledger.Custody) time.Time   { return c.OccurTime }
func itself(t *time.Time) time.Time              { return *t }
