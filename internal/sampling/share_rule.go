package sampling

import "jointledger/internal/metrology"

// ShareRule samples a share of a lot, but not fewer than a minimum. Such rules
// come from custom, not from a wanted risk: look at their detection power.
type ShareRule struct {
	Name    string
	Percent int // of the lot
	Minimum int
	Source  metrology.Source
	Note    string
}

// JointAuditRule is the customary sample of the bolts of one joint: 10 %, at
// least 2.
func JointAuditRule() ShareRule {
	return ShareRule{
		Name: "10 % of the joint, at least 2", Percent: 10, Minimum: 2,
		Source: metrology.Source{Title: "RCSC specification", Place: "section 10, arbitration", Mark: metrology.Memory},
		Note:   "meant for disputes; its power is poor, so watch the process instead of relying on the audit",
	}
}

// SampleSize is how many of the lot the rule takes: the share rounded up, at
// least the minimum, never more than the lot. It fails with a
// *metrology.RangeError for a lot below one.
func (r ShareRule) SampleSize(lotSize int) (int, error) {
	if lotSize < 1 {
		return 0, &metrology.RangeError{Field: "lot size", Value: float64(lotSize), Allowed: "1 or more"}
	}
	share := lotSize / 100 * r.Percent
	share += (lotSize%100*r.Percent + 99) / 100 // whole hundreds apart: no overflow, no rounding error
	return min(lotSize, max(r.Minimum, share)), nil
}

// DetectionPower is the probability that the rule's sample holds at least one of
// the nonconforming items of the lot. It fails with a *metrology.RangeError for
// a lot out of range.
func (r ShareRule) DetectionPower(lot Lot) (float64, error) {
	n, err := r.SampleSize(lot.Size)
	if err != nil {
		return 0, err
	}
	return lot.DetectionPower(n)
}
