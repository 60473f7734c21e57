package analysis

import (
	"strings"
	"time"

	"jointledger/internal/ledger"
)

// LendingRefusals gives every reason why a tool may not be lent at a site, the
// gravest first: it is lost, held, away, lent already, it failed, was never
// proved or is past due. None when it may. A check for each shift is no reason:
// it is made before use. The error is that of PolicyDue.
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
	return append(refusals, t.outdatedActions(items, asOf)...)
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
