package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"jointledger/internal/ledger"
)

// DueReason says which policy makes a tool due. Its numbers are those of the
// API's enum.
type DueReason uint8

// Due reasons.
const (
	DueByMonths DueReason = iota + 1
	DueByCycles
	DueByEvent
	DueNeverCalibrated
	DueCalibrationFailed
	DueByDays
	DueFailed
	DueNeverDone
	DueByShift
)

// DueReasons are the words of DueReason.
var DueReasons = ledger.NewWords[DueReason]("reason",
	"months", "cycles", "event", "never-calibrated", "calibration-failed",
	"days", "failed", "never-done", "shift")

// DueItem is one action that is due on one tool, by the earliest of what its
// policy sets.
type DueItem struct {
	Tool ledger.Tool
	// Action is what is due.
	Action ledger.PolicyAction
	// DueAt is in the time zone of the tool's home site.
	DueAt  time.Time
	Reason DueReason
	// PastDue says whether DueAt lies before the moment looked from.
	PastDue bool
	// Forecast says whether DueAt rests on recent use going on.
	Forecast bool
	// Detail is one sentence with the figures.
	Detail string
	// LastCalibration is the zero time for never.
	LastCalibration time.Time
	// LastDone is when the action was last done; the zero time for never.
	LastDone time.Time
	// CyclesUsed counts fasteners tightened since then, in any pass.
	CyclesUsed int64
	// CyclesAllowed is 0 for no such policy.
	CyclesAllowed int64
	// Custody says where the tool is; nil when no change of custody is on record.
	Custody *ToolCustody
	// Holder is the person who has it; empty when nobody does.
	Holder string
}

// Due says which tools are past due at asOf or fall due within the time after
// it, the earliest first; of equally urgent ones the lower serial first. A tool
// without any policy never appears. A tool that only an event makes due needs
// no calibration on record until one has happened. The error is a metrology
// error, for uses that are out of order.
func Due(inputs []DueInput, asOf time.Time, within time.Duration) ([]DueItem, error) {
	horizon := asOf.Add(within)
	var items []DueItem
	for _, in := range inputs {
		item, due, err := earliest(in, asOf)
		if err != nil {
			return nil, fmt.Errorf("tool %s: %w", in.Tool.Serial, err)
		}
		if due && !item.DueAt.After(horizon) {
			item.PastDue = item.DueAt.Before(asOf)
			items = append(items, item)
		}
	}
	slices.SortFunc(items, func(a, b DueItem) int {
		return cmp.Or(a.DueAt.Compare(b.DueAt), cmp.Compare(a.Tool.Serial, b.Tool.Serial))
	})
	return items, nil
}

// earliest gives the item of the policy that comes first; false when none does.
func earliest(in DueInput, asOf time.Time) (DueItem, bool, error) {
	item := DueItem{Tool: in.Tool, Action: ledger.ActionCalibration, CyclesAllowed: int64(in.Tool.IntervalCycles)}
	for _, u := range in.Uses {
		item.CyclesUsed += u.Fasteners
	}
	if in.Last != nil {
		item.LastCalibration, item.LastDone = in.Last.OccurTime, in.Last.OccurTime
	}
	claims, err := claimsOf(in, asOf)
	if err != nil || len(claims) == 0 {
		return DueItem{}, false, err
	}
	// Of two claims on one moment the graver, listed first, wins.
	first := slices.MinFunc(claims, func(a, b claim) int { return a.at.Compare(b.at) })
	item.DueAt, item.Reason = first.at.In(in.Location), first.reason
	item.Forecast, item.Detail = first.forecast, first.detail
	return item, true, nil
}
