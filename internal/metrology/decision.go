package metrology

import (
	"fmt"
	"math"
)

// DecisionRule names how measurement uncertainty is taken into account when
// conformity is stated. A verdict without its rule means nothing: the same
// certificate can pass under one and fail under another (ISO/IEC 17025:2017,
// 7.1.3 and 7.8.6, from memory).
type DecisionRule string

// The decision rules.
const (
	// SimpleAcceptance compares the result with the limit itself.
	SimpleAcceptance DecisionRule = "simple-acceptance"
	// GuardBand keeps a guard band as wide as the expanded uncertainty and has
	// four outcomes.
	GuardBand DecisionRule = "guard-band"
	// ManagedGuardBand keeps the smaller guard band that holds the probability
	// of false acceptance at 2 %.
	ManagedGuardBand DecisionRule = "managed-guard-band"
)

// DecisionRules returns every rule.
func DecisionRules() []DecisionRule {
	return []DecisionRule{SimpleAcceptance, GuardBand, ManagedGuardBand}
}

// UnknownDecisionRuleError reports a rule that is not defined here.
type UnknownDecisionRuleError struct{ Rule DecisionRule }

// Error lists the rules that exist.
func (e *UnknownDecisionRuleError) Error() string {
	return fmt.Sprintf("no decision rule %q; there are %s, %s and %s", string(e.Rule), SimpleAcceptance, GuardBand, ManagedGuardBand)
}

// Outcome is a verdict. The outcomes are ordered: the larger is the worse.
type Outcome int

// The outcomes, best first.
const (
	Pass Outcome = iota
	ConditionalPass
	ConditionalFail
	Fail
)

// String names the outcome in the words of ILAC-G8:09/2019.
func (o Outcome) String() string {
	switch o {
	case Pass:
		return "pass"
	case ConditionalPass:
		return "conditional pass"
	case ConditionalFail:
		return "conditional fail"
	case Fail:
		return "fail"
	default:
		return fmt.Sprintf("outcome %d", int(o))
	}
}

// Accepted tells whether the result lies inside the tolerance: a pass or a
// conditional pass.
func (o Outcome) Accepted() bool { return o == Pass || o == ConditionalPass }

// Result is a measured deviation beside its symmetric limit and the expanded
// uncertainty of the deviation (k = 2, about 95 %), all in one unit.
type Result struct {
	Deviation           float64
	Limit               float64 // L: the tolerance is −L to +L
	ExpandedUncertainty float64 // U
}

func (r Result) check(needsUncertainty bool) error {
	if err := CheckFinite("deviation", r.Deviation, ""); err != nil {
		return err
	}
	if err := CheckPositive("tolerance limit", r.Limit, ""); err != nil {
		return err
	}
	if needsUncertainty {
		return CheckPositive("expanded uncertainty", r.ExpandedUncertainty, "")
	}
	return nil
}

// Decide states the verdict on a result under the named rule. It fails with an
// *UnknownDecisionRuleError, or with a *RangeError for a limit or (except under
// simple acceptance) an expanded uncertainty that is not above zero.
func (r Result) Decide(rule DecisionRule) (Outcome, error) {
	switch rule {
	case SimpleAcceptance:
		return r.decideSimple()
	case GuardBand:
		return r.decideGuarded()
	case ManagedGuardBand:
		return r.decideManaged()
	default:
		return Fail, &UnknownDecisionRuleError{Rule: rule}
	}
}

// AcceptanceLimit is the largest absolute deviation that passes outright under
// the rule. It is negative when the uncertainty is so large that no result can
// pass. Errors as in Decide.
func (r Result) AcceptanceLimit(rule DecisionRule) (float64, error) {
	if err := r.check(rule != SimpleAcceptance); err != nil {
		return 0, err
	}
	switch rule {
	case SimpleAcceptance:
		return r.Limit, nil
	case GuardBand:
		return r.Limit - r.ExpandedUncertainty, nil
	case ManagedGuardBand:
		return r.managedAcceptanceLimit(), nil
	default:
		return 0, &UnknownDecisionRuleError{Rule: rule}
	}
}

// within tells whether the deviation does not exceed the bound. A value on the
// bound conforms, and a deviation of exactly 4 % often computes as 4 % and a
// few units of the last binary place.
func (r Result) within(bound float64) bool {
	return math.Abs(r.Deviation) <= bound+1e-9*r.Limit
}
