package analysis

import (
	"slices"
	"strings"
	"time"

	"jointledger/internal/ledger"
)

// LendingRefusals gives every reason why a tool may not be lent at a site, the
// gravest first: it is lost, held, away, lent already, it failed, was never
// proved or is past due. None when it may. That a check for each shift is owed is no
// reason: it is made before use. That one was failed is, whether a policy asks for it or
// not: the tool is out of use until it passes that check or, where no policy asks for it,
// is calibrated (common practice, no source). The error is that of PolicyDue.
func (t TrackedTool) LendingRefusals(site string, asOf time.Time) ([]ToolRefusal, error) {
	items, err := t.items(asOf)
	if err != nil {
		return nil, err
	}
	return t.lendingRefusals(items, site, asOf), nil
}

func (t TrackedTool) lendingRefusals(items []PolicyItem, site string, asOf time.Time) []ToolRefusal {
	var refusals []ToolRefusal
	add := func(r *ToolRefusal) {
		if r != nil {
			refusals = append(refusals, *r)
		}
	}
	away := t.notAt(site)
	if away != nil && away.Reason == RefusedLost {
		add(away)
		away = nil
	}
	add(t.heldBack())
	add(away)
	if t.lent() {
		add(t.refusal(RefusedLent, t.Custody.Since, "lent to %s on %s", t.Custody.Holder, day(t.Custody.Since, t.Due.Location)))
	}
	return append(append(refusals, t.failedChecks()...), t.outdatedActions(items, asOf)...)
}

// failedChecks says of each action that no policy asks for, so that it is never due, that
// it was not passed when it was last done.
func (t TrackedTool) failedChecks() []ToolRefusal {
	var refusals []ToolRefusal
	for _, action := range []ledger.PolicyAction{ledger.ActionPeriodicInspection, ledger.ActionProofTest, ledger.ActionPreUseCheck} {
		last := newestDone(t.Done, action)
		asked := slices.ContainsFunc(t.Policies, func(p ledger.Policy) bool { return p.Action == action })
		if asked || last == nil || !last.Failed || t.Due.Last != nil && t.Due.Last.OccurTime.After(last.At) {
			continue
		}
		refusals = append(refusals, *t.refusal(RefusedFailed, last.At, "the %s on %s was not passed", policyPhrase[action], day(last.At, t.Due.Location)))
	}
	return refusals
}

// outdatedActions says of each action why the tool is not in date.
func (t TrackedTool) outdatedActions(items []PolicyItem, asOf time.Time) []ToolRefusal {
	var refusals []ToolRefusal
	proved := true
	if measuresTorque(t.Due.Tool.Kind) {
		if t.Due.Last == nil {
			proved = false
			refusals = append(refusals, *t.refusal(RefusedNeverDone, asOf, "no calibration is on record"))
		} else if c, failed := failedCalibration(t.Due); failed {
			proved = false
			refusals = append(refusals, *t.refusal(RefusedFailed, c.at, "%s", asClause(c.detail)))
		}
	}
	for _, item := range items {
		if item.BeforeUse || item.Action == ledger.ActionCalibration && !proved {
			continue
		}
		if item.DueAt.Before(asOf) || item.Reason == PolicyNeverDone {
			refusals = append(refusals, *t.dueRefusal(item, asOf))
		}
	}
	return refusals
}

// LendingError is the refusal to lend a tool; nil for no reasons.
func LendingError(serial, holder string, refusals []ToolRefusal) error {
	if len(refusals) == 0 {
		return nil
	}
	e := &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonToolNotFit, Resource: "tools/" + serial}
	details := make([]string, len(refusals))
	for i, r := range refusals {
		details[i] = r.Detail
		e.Violations = append(e.Violations, ledger.Violation{
			Type:        violationType(r.Reason),
			Description: sentenceOf(serial, r.Detail),
		})
	}
	e.Message = "tool " + serial + " may not be lent to " + holder + ": " + strings.Join(details, "; ")
	return e
}
