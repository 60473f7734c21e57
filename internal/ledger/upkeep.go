package ledger

import "fmt"

// PolicyAction is what a due policy asks for.
type PolicyAction uint8

// Policy actions.
const (
	ActionCalibration PolicyAction = iota + 1
	ActionPeriodicInspection
	ActionProofTest
	ActionPreUseCheck
)

// PolicyActions are the words of PolicyAction.
var PolicyActions = Words[PolicyAction]{
	what:  "action",
	names: []string{"calibration", "periodic-inspection", "proof-test", "pre-use-check"},
}

// Policy says when an action on a tool falls due: at the earliest of what it
// sets. Fields at 0 or false set nothing.
type Policy struct {
	Action PolicyAction
	// Months and Days are calendar intervals since the action was last done; they
	// end with the local day at the tool's home site.
	Months, Days int
	// Cycles is an interval in fasteners tightened with the tool.
	Cycles int
	// AfterEvent makes it due at once after a drop, an overload, a repair or
	// another incident with the tool.
	AfterEvent bool
	// EachShift makes it due before the first use in every shift; only for a
	// pre-use check.
	EachShift bool
}

// ToolCheck: a tool was inspected, proof-tested or checked before use.
// Calibrations are records of their own.
type ToolCheck struct {
	Entry
	Tool string
	// Site is where it was done.
	Site string
	// Action is any but a calibration.
	Action PolicyAction
	Result InspectionResult
	// Certificate is the number of the report; empty for none.
	Certificate string
}

// Head gives the entry.
func (r *ToolCheck) Head() *Entry { return &r.Entry }

// RecordKind is KindToolCheck.
func (*ToolCheck) RecordKind() RecordKind { return KindToolCheck }

// SiteCode is the site named.
func (r *ToolCheck) SiteCode() string { return r.Site }

// Validate gives every field that is wrong.
func (r *ToolCheck) Validate() []FieldError {
	var c checks
	c.id("tool", r.Tool, checkCode(r.Tool))
	c.place("site", Place{Site: r.Site}, 1)
	word(&c, "action", PolicyActions, r.Action, true)
	if r.Action == ActionCalibration {
		c.add("action", "a calibration has readings and is recorded as one; expected periodic-inspection, proof-test or pre-use-check")
	}
	word(&c, "result", InspectionResults, r.Result, true)
	c.text("certificate", r.Certificate, 100, false)
	c.entry(&r.Entry, true)
	return c.fields
}

func (r *ToolCheck) assigned(*canonical) {}

func (r *ToolCheck) content(c *canonical) {
	c.text("tool", r.Tool)
	c.text("site", r.Site)
	named(c, "action", PolicyActions, r.Action)
	named(c, "result", InspectionResults, r.Result)
	c.text("certificate", r.Certificate)
}

// CheckPolicies gives every field of a tool's policies that is wrong, under
// `policies[i]`: an unknown action, an action twice, an interval out of range, a
// policy that sets nothing, a check for each shift that is no pre-use check.
func CheckPolicies(policies []Policy) []FieldError {
	var c checks
	first := map[PolicyAction]int{}
	for i, p := range policies {
		at := fmt.Sprintf("policies[%d].", i)
		word(&c, at+"action", PolicyActions, p.Action, true)
		if earlier, twice := first[p.Action]; twice {
			c.add(at+"action", "%s is that of policies[%d] too; expected one policy an action", PolicyActions.Name(p.Action), earlier)
		} else {
			first[p.Action] = i
		}
		c.count(at+"months", int64(p.Months), 0, 240)
		c.count(at+"days", int64(p.Days), 0, 3660)
		c.count(at+"cycles", int64(p.Cycles), 0, 10_000_000)
		if p.EachShift && p.Action != ActionPreUseCheck {
			c.add(at+"each_shift", "only a pre-use-check is made for each shift")
		}
		if p == (Policy{Action: p.Action}) {
			c.add(at+"action", "sets nothing; expected months, days, cycles, after_event or each_shift")
		}
	}
	return c.fields
}
