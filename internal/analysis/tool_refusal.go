package analysis

import (
	"fmt"
	"strings"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// station is the site where custody says that the tool is.
func (t TrackedTool) station() string {
	if t.Custody == nil || t.Custody.Site == "" {
		return t.Due.Tool.HomeSite
	}
	return t.Custody.Site
}

// lent says whether somebody has the tool: a drop or an overload happens in the
// hands of its holder.
func (t TrackedTool) lent() bool {
	if t.Custody == nil || t.Custody.Holder == "" {
		return false
	}
	switch t.Custody.Kind {
	case ledger.CustodyIssued, ledger.CustodyDropped, ledger.CustodyOverloaded:
		return true
	default: // the others go on below
	}
	return false
}

// Holder is the person who has the tool; empty when it lies in a crib, is on its
// way or lost.
func (t TrackedTool) Holder() string {
	if !t.lent() {
		return ""
	}
	return t.Custody.Holder
}

// refusal makes the reason why the tool does not count.
func (t TrackedTool) refusal(reason RefusalReason, at time.Time, format string, args ...any) *ToolRefusal {
	return &ToolRefusal{Serial: t.Due.Tool.Serial, Reason: reason, At: at, Detail: fmt.Sprintf(format, args...)}
}

// notAt says why the tool is not at a site: lost, in transit or elsewhere. Nil
// when it is there.
func (t TrackedTool) notAt(site string) *ToolRefusal {
	if c := t.Custody; c != nil {
		switch c.Kind {
		case ledger.CustodyLost:
			return t.refusal(RefusedLost, c.Since, "reported lost on %s", day(c.Since, t.Due.Location))
		case ledger.CustodySent:
			return t.refusal(RefusedAway, c.Since, "sent off on %s and not received since", day(c.Since, t.Due.Location))
		default: // nothing to do for the others
		}
	}
	if s := t.station(); s != site {
		if t.Custody == nil {
			return t.refusal(RefusedElsewhere, time.Time{}, "at its home site %s", s)
		}
		return t.refusal(RefusedElsewhere, t.Custody.Since, "at site %s since %s", s, day(t.Custody.Since, t.Due.Location))
	}
	return nil
}

// heldBack gives the oldest open hold; nil for none.
func (t TrackedTool) heldBack() *ToolRefusal {
	if len(t.Holds) == 0 {
		return nil
	}
	first := t.Holds[0]
	for _, h := range t.Holds[1:] {
		if h.Since.Before(first.Since) {
			first = h
		}
	}
	why := ""
	if first.Reason != "" {
		why = ": " + strings.TrimSuffix(first.Reason, ".")
	}
	return t.refusal(RefusedHeld, first.Since, "on hold since %s%s", day(first.Since, t.Due.Location), why)
}

// items gives the earliest due item of each action of the tool, whenever it
// falls due: calibration as Due has it, the others by their policies.
func (t TrackedTool) items(asOf time.Time) ([]PolicyItem, error) {
	in := PolicyInput{
		Tool: t.Due.Tool, Location: t.Due.Location, Policies: t.Policies, Done: t.Done, Shift: t.Shift,
		Uses: t.PolicyUses, Events: t.PolicyEvents,
	}
	if in.Uses == nil {
		in.Uses = t.Due.Uses
	}
	if in.Events == nil {
		in.Events = t.Due.Events
	}
	own := PoliciesOf(t.Due.Tool) != nil
	if own {
		in.Policies = withoutAction(t.Policies, ledger.ActionCalibration)
	} else if t.Due.Last != nil && newestDone(t.Done, ledger.ActionCalibration) == nil {
		in.Done = append([]ActionDone{{Action: ledger.ActionCalibration, At: t.Due.Last.OccurTime}}, t.Done...)
	}
	items, err := policyItems(in, asOf)
	if err != nil || !own {
		return items, err
	}
	due, ok, err := earliest(t.Due, asOf)
	if err != nil || !ok {
		return items, err
	}
	return append([]PolicyItem{{
		Tool: due.Tool, Action: ledger.ActionCalibration, DueAt: due.DueAt, Reason: policyReasons[due.Reason],
		PastDue: due.DueAt.Before(asOf), Forecast: due.Forecast, Detail: due.Detail, LastDone: due.LastCalibration,
	}}, items...), nil
}

var policyReasons = map[DueReason]PolicyReason{
	DueByMonths: PolicyByMonths, DueByCycles: PolicyByCycles, DueByEvent: PolicyByEvent,
	DueNeverCalibrated: PolicyNeverDone, DueCalibrationFailed: PolicyFailed,
}

func withoutAction(policies []ledger.Policy, action ledger.PolicyAction) []ledger.Policy {
	var kept []ledger.Policy
	for _, p := range policies {
		if p.Action != action {
			kept = append(kept, p)
		}
	}
	return kept
}

// measuresTorque says whether a tool measures torque, so that it must have been
// proved to be used at all.
func measuresTorque(k ledger.ToolKind) bool {
	switch k {
	case ledger.ToolTorqueWrench, ledger.ToolTorqueScrewdriver, ledger.ToolTorqueMultiplier:
		return true
	default: // the others go on below
	}
	return false
}

// outdated says why the tool is not in date until a moment: the first of its
// actions that falls due before, one that failed, also where no policy asks for it, or
// for a torque tool no calibration at all. Checks for each shift do not count: they are made before
// use. Nil when it is in date.
func (t TrackedTool) outdated(items []PolicyItem, asOf, until time.Time) *ToolRefusal {
	if measuresTorque(t.Due.Tool.Kind) {
		if t.Due.Last == nil {
			return t.refusal(RefusedNeverDone, asOf, "no calibration is on record")
		}
		// Without a policy nobody asks, but a failed tool stays a failed one.
		if c, failed := failedCalibration(t.Due); failed {
			return t.refusal(RefusedFailed, c.at, "%s", asClause(c.detail))
		}
	}
	if failed := t.failedChecks(); len(failed) > 0 {
		return &failed[0]
	}
	var first *PolicyItem
	for i := range items {
		item := &items[i]
		if !item.BeforeUse && item.DueAt.Before(until) && (first == nil || item.DueAt.Before(first.DueAt)) {
			first = item
		}
	}
	// Never done is due as of now, so it stands at asOf and not before it.
	if first == nil {
		for i := range items {
			if items[i].Reason == PolicyNeverDone {
				first = &items[i]
			}
		}
	}
	if first == nil {
		return nil
	}
	return t.dueRefusal(*first, asOf)
}

func (t TrackedTool) dueRefusal(item PolicyItem, asOf time.Time) *ToolRefusal {
	what, on := policyPhrase[item.Action], day(item.DueAt, t.Due.Location)
	switch {
	case item.Reason == PolicyFailed:
		return t.refusal(RefusedFailed, item.DueAt, "%s", asClause(item.Detail))
	case item.Reason == PolicyNeverDone:
		return t.refusal(RefusedNeverDone, item.DueAt, "no %s is on record", what)
	case item.DueAt.Before(asOf):
		return t.refusal(RefusedDue, item.DueAt, "%s past due since %s (%s)", what, on, asClause(item.Detail))
	}
	return t.refusal(RefusedDue, item.DueAt, "%s due on %s (%s)", what, on, asClause(item.Detail))
}

// asClause makes a sentence part of another one.
func asClause(sentence string) string {
	s := strings.TrimSuffix(sentence, ".")
	for _, article := range []string{"The ", "No ", "Dropped ", "Overloaded ", "Repaired ", "In "} {
		if strings.HasPrefix(s, article) {
			return strings.ToLower(s[:1]) + s[1:]
		}
	}
	return s
}

// toolUsableRange is the usable torque range of a tool; false when its range is not
// known or impossible.
func toolUsableRange(t ledger.Tool) (metrology.TorqueInterval, bool) {
	r, err := metrology.TorqueRange{
		Lowest: t.MinimumNewtonMetres, Maximum: t.MaximumNewtonMetres, Graduation: t.ResolutionNewtonMetres,
	}.Usable()
	return r, err == nil
}

// reachSlack keeps a torque on the very bound of a range inside it: 20 % of a
// maximum is seldom a whole binary fraction.
const reachSlack = 1e-9

func rangeReaches(r metrology.TorqueInterval, newtonMetres float64) bool {
	return newtonMetres >= r.Low*(1-reachSlack) && newtonMetres <= r.High*(1+reachSlack)
}
