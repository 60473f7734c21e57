package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// policyPhrase is how a sentence names an action that was done, and in the
// plural of none.
var policyPhrase = map[ledger.PolicyAction]string{
	ledger.ActionCalibration:        "calibration",
	ledger.ActionPeriodicInspection: "periodic inspection",
	ledger.ActionProofTest:          "proof test",
	ledger.ActionPreUseCheck:        "check before use",
}

// PoliciesOf gives the calibration policy that a tool itself carries; none when
// it has no interval and no event makes it due.
func PoliciesOf(t ledger.Tool) []ledger.Policy {
	if t.IntervalMonths == 0 && t.IntervalCycles == 0 && !t.DueAfterEvent {
		return nil
	}
	return []ledger.Policy{{Action: ledger.ActionCalibration, Months: t.IntervalMonths, Cycles: t.IntervalCycles, AfterEvent: t.DueAfterEvent}}
}

// CheckPolicies gives every field of the policies that is wrong: an unknown
// action, an action twice, an interval below 0 or longer than anybody means, a
// policy that sets nothing, a check for each shift that is no pre-use check.
// The error is a *ledger.Error of KindInvalid.
func CheckPolicies(policies []ledger.Policy) error {
	return ledger.Invalid("due policy", ledger.CheckPolicies(policies))
}

// PolicyDue says which actions are past due at asOf or fall due within the time
// after it, for each tool and action the earliest of what its policy sets. They
// are sorted by time, then serial, then action. An action without a policy never
// appears, and one that only an event makes due needs none on record until an
// event has happened. The error is a *ledger.Error for policies that are not
// valid, for a time in the future or an action that is not known, and a
// metrology error for uses that are out of order.
func PolicyDue(inputs []PolicyInput, asOf time.Time, within time.Duration) ([]PolicyItem, error) {
	horizon := asOf.Add(within)
	var items []PolicyItem
	for _, in := range inputs {
		all, err := policyItems(in, asOf)
		if err != nil {
			return nil, fmt.Errorf("tool %s: %w", in.Tool.Serial, err)
		}
		for _, item := range all {
			if !item.DueAt.After(horizon) {
				items = append(items, item)
			}
		}
	}
	sortPolicyItems(items)
	return items, nil
}

func sortPolicyItems(items []PolicyItem) {
	slices.SortFunc(items, func(a, b PolicyItem) int {
		return cmp.Or(a.DueAt.Compare(b.DueAt), cmp.Compare(a.Tool.Serial, b.Tool.Serial), cmp.Compare(a.Action, b.Action))
	})
}

// policyItems gives the earliest item of each policy, whenever it falls due.
func policyItems(in PolicyInput, asOf time.Time) ([]PolicyItem, error) {
	if err := CheckPolicies(in.Policies); err != nil {
		return nil, err
	}
	if err := checkDone(in.Done, in.Shift, asOf); err != nil {
		return nil, err
	}
	var items []PolicyItem
	for _, p := range in.Policies {
		last := newestDone(in.Done, p.Action)
		claims, err := policyClaims(in, p, last, asOf)
		if err != nil {
			return nil, err
		}
		if len(claims) == 0 {
			continue
		}
		first := slices.MinFunc(claims, func(a, b policyClaim) int {
			return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.reason, b.reason))
		})
		item := PolicyItem{
			Tool: in.Tool, Action: p.Action, DueAt: first.at.In(in.Location), Reason: first.reason,
			PastDue: first.at.Before(asOf), BeforeUse: first.reason == PolicyByShift,
			Forecast: first.forecast, Detail: first.detail,
		}
		if last != nil {
			item.LastDone = last.At
		}
		items = append(items, item)
	}
	return items, nil
}

func checkDone(done []ActionDone, shift Shift, asOf time.Time) error {
	var fields []ledger.FieldError
	for i, d := range done {
		if !ledger.PolicyActions.Known(d.Action) {
			fields = append(fields, ledger.FieldError{Field: fmt.Sprintf("done[%d].action", i), Description: fmt.Sprintf("%d is no action", d.Action)})
		}
		if d.At.IsZero() || d.At.After(asOf) {
			fields = append(fields, ledger.FieldError{
				Field: fmt.Sprintf("done[%d].at", i), Description: fmt.Sprintf("expected a time not after %s", asOf.UTC().Format(time.RFC3339)),
			})
		}
	}
	if !shift.Start.IsZero() && !shift.End.IsZero() && !shift.End.After(shift.Start) {
		fields = append(fields, ledger.FieldError{Field: "shift.end", Description: "expected a time after the start of the shift"})
	}
	return ledger.Invalid("what was done on the tool", fields)
}

// newestDone gives the last time of an action; of two at one moment the failed
// one counts. Nil for never.
func newestDone(done []ActionDone, action ledger.PolicyAction) *ActionDone {
	var last *ActionDone
	for i := range done {
		d := &done[i]
		if d.Action == action && (last == nil || d.At.After(last.At) || d.At.Equal(last.At) && d.Failed) {
			last = d
		}
	}
	return last
}

// policyClaim is what one part of a policy says: when, why, with which figures.
type policyClaim struct {
	at       time.Time
	reason   PolicyReason
	forecast bool
	detail   string
}

func policyClaims(in PolicyInput, p ledger.Policy, last *ActionDone, asOf time.Time) ([]policyClaim, error) {
	var claims []policyClaim
	if last != nil && last.Failed {
		claims = append(claims, policyClaim{at: last.At, reason: PolicyFailed, detail: fmt.Sprintf(
			"The %s on %s was not passed.", policyPhrase[p.Action], day(last.At, in.Location))})
	}
	if p.AfterEvent {
		if c, ok := policyEventClaim(in, p, last, asOf); ok {
			claims = append(claims, c)
		}
	}
	if p.EachShift {
		if c, ok := shiftClaim(in, last, asOf); ok {
			claims = append(claims, c)
		}
	}
	interval := p.Months > 0 || p.Days > 0 || p.Cycles > 0
	if !interval {
		return claims, nil
	}
	if last == nil {
		return append(claims, policyClaim{at: asOf, reason: PolicyNeverDone, detail: fmt.Sprintf(
			"No %s is on record, so no interval can be counted; due as of now.", policyPhrase[p.Action])}), nil
	}
	counted, err := intervalClaims(in, p, *last, asOf)
	return append(claims, counted...), err
}

func intervalClaims(in PolicyInput, p ledger.Policy, last ActionDone, asOf time.Time) ([]policyClaim, error) {
	var claims []policyClaim
	done := metrology.DateOf(last.At, in.Location)
	if p.Cycles > 0 {
		c, known, err := policyCyclesClaim(in, p, last, asOf)
		if err != nil {
			return nil, err
		}
		if known {
			claims = append(claims, c)
		}
	}
	since := fmt.Sprintf("since the %s on %s", policyPhrase[p.Action], day(last.At, in.Location))
	if p.Months > 0 {
		end := done.AddMonths(p.Months).EndIn(in.Location)
		claims = append(claims, policyClaim{at: end, reason: PolicyByMonths, detail: fmt.Sprintf(
			"%s %s end on %s.", quantity(int64(p.Months), "month"), since, day(end, in.Location))})
	}
	if p.Days > 0 {
		t := time.Date(done.Year, done.Month, done.Day+p.Days, 0, 0, 0, 0, time.UTC)
		end := metrology.DateOf(t, time.UTC).EndIn(in.Location)
		claims = append(claims, policyClaim{at: end, reason: PolicyByDays, detail: fmt.Sprintf(
			"%s %s end on %s.", quantity(int64(p.Days), "day"), since, day(end, in.Location))})
	}
	return claims, nil
}

// policyCyclesClaim is unknown when the interval is not used up and the tool has
// not been used lately.
func policyCyclesClaim(in PolicyInput, p ledger.Policy, last ActionDone, asOf time.Time) (policyClaim, bool, error) {
	use := metrology.CycleUse{Since: last.At, AsOf: asOf}
	for _, u := range in.Uses {
		if u.At.After(last.At) {
			use.Uses = append(use.Uses, metrology.Use{At: u.At, Fasteners: int(u.Fasteners)})
		}
	}
	due, err := use.Due(p.Cycles)
	if err != nil || !due.Known() {
		return policyClaim{}, false, err
	}
	c := policyClaim{at: due.At, reason: PolicyByCycles, forecast: !due.Reached}
	used := fmt.Sprintf("%d of %s used since the %s on %s",
		due.Used, quantity(int64(p.Cycles), "cycle"), policyPhrase[p.Action], day(last.At, in.Location))
	if due.Reached {
		c.detail = fmt.Sprintf("%s; the limit was reached on %s.", used, day(due.At, in.Location))
	} else {
		c.detail = fmt.Sprintf("%s; at %.1f a day, the mean of the last 28 days or since then if that is less, the rest lasts until %s.",
			used, due.PerDay, day(due.At, in.Location))
	}
	return c, true, nil
}

// policyEventClaim takes the first event after the action was last done.
func policyEventClaim(in PolicyInput, p ledger.Policy, last *ActionDone, asOf time.Time) (policyClaim, bool) {
	var after []Event
	for _, e := range in.Events {
		if (last == nil || e.At.After(last.At)) && !e.At.After(asOf) {
			after = append(after, e)
		}
	}
	if len(after) == 0 {
		return policyClaim{}, false
	}
	e := slices.MinFunc(after, func(a, b Event) int { return a.At.Compare(b.At) })
	since := fmt.Sprintf("with no %s on record", policyPhrase[p.Action])
	if last != nil {
		since = fmt.Sprintf("after the %s on %s", policyPhrase[p.Action], day(last.At, in.Location))
	}
	detail := fmt.Sprintf("%s on %s, %s", eventWord(e), day(e.At, in.Location), since)
	if more := len(after) - 1; more > 0 {
		detail += fmt.Sprintf(", and %s after that", quantity(int64(more), "more such event"))
	}
	return policyClaim{at: e.At, reason: PolicyByEvent, detail: detail + "."}, true
}

// shiftClaim asks for a check made within the shift. Without one it is owed
// since the shift began; with one, from the shift's end, when that is known.
func shiftClaim(in PolicyInput, last *ActionDone, asOf time.Time) (policyClaim, bool) {
	start, end, what := in.Shift.Start, in.Shift.End, "shift"
	// A shift that is over, or not begun, says nothing about the work now.
	if start.IsZero() || start.After(asOf) || !end.IsZero() && end.Before(asOf) {
		d := metrology.DateOf(asOf, in.Location)
		yesterday := time.Date(d.Year, d.Month, d.Day-1, 0, 0, 0, 0, time.UTC)
		start = metrology.DateOf(yesterday, time.UTC).EndIn(in.Location).Add(time.Second)
		end, what = d.EndIn(in.Location).Add(time.Second), "day, taken for the shift since none is known"
	}
	begun := start.In(in.Location).Format("2006-01-02 15:04")
	switch {
	case last == nil:
		return policyClaim{at: start, reason: PolicyByShift, detail: fmt.Sprintf(
			"No check is on record; owed before the first use in the %s (from %s).", what, begun)}, true
	case last.At.Before(start):
		return policyClaim{at: start, reason: PolicyByShift, detail: fmt.Sprintf(
			"Last checked on %s; owed before the first use in the %s (from %s).", day(last.At, in.Location), what, begun)}, true
	case !end.IsZero():
		return policyClaim{at: end, reason: PolicyByShift, detail: fmt.Sprintf(
			"Checked in the %s from %s; owed again after %s.", what, begun, end.In(in.Location).Format("2006-01-02 15:04"))}, true
	}
	return policyClaim{}, false
}
