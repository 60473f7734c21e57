package analysis

import (
	"cmp"
	"fmt"
	"iter"
	"slices"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// DueQuestion says which due dates of tools are asked for.
type DueQuestion struct {
	AsOf   time.Time
	Within time.Duration
	// ShiftChecks adds checks that are owed before the first use in each shift.
	ShiftChecks bool
}

// TrackedDue says which actions on tools are past due or fall due within the
// time after a moment: calibration as Due has it, others by their policies, each
// by the earliest of what it sets. They are sorted by time, then serial, then
// action. Errors as those of PolicyDue.
func TrackedDue(tools []TrackedTool, q DueQuestion) ([]DueItem, error) {
	return TrackedDueOf(func(yield func(*TrackedTool) bool) {
		for i := range tools {
			if !yield(&tools[i]) {
				return
			}
		}
	}, q)
}

// TrackedDueOf is TrackedDue of tools that stand in no list of their own.
func TrackedDueOf(tools iter.Seq[*TrackedTool], q DueQuestion) ([]DueItem, error) {
	horizon := q.AsOf.Add(q.Within)
	var items []DueItem
	for t := range tools {
		if t.quietUntil(horizon) {
			continue
		}
		owed, err := t.items(q.AsOf)
		if err != nil {
			return nil, fmt.Errorf("tool %s: %w", t.Due.Tool.Serial, err)
		}
		for _, o := range owed {
			if !o.DueAt.After(horizon) && (q.ShiftChecks || !o.BeforeUse) {
				items = append(items, t.dueItem(o))
			}
		}
	}
	slices.SortFunc(items, func(a, b DueItem) int {
		return cmp.Or(a.DueAt.Compare(b.DueAt), cmp.Compare(a.Tool.Serial, b.Tool.Serial), cmp.Compare(a.Action, b.Action))
	})
	return items, nil
}

// quietUntil says of a tool that a glance is enough for that nothing falls due: it
// has no policy but months, passed its calibration, was not used by the cycle and
// met with nothing. Most tools of a large fleet are so, and need no sentence.
func (t *TrackedTool) quietUntil(horizon time.Time) bool {
	in := &t.Due
	if len(t.Policies) > 0 || in.Tool.IntervalMonths == 0 || len(in.Events) > 0 || in.Tool.IntervalCycles > 0 && len(in.Uses) > 0 {
		return false
	}
	if in.Last == nil || in.Last.Verdict == nil || !in.Last.Verdict.Left().Accepted() {
		return false
	}
	due, err := metrology.CalendarDue(in.Last.OccurTime, in.Tool.IntervalMonths, in.Location)
	return err == nil && due.After(horizon)
}

// DueItems are items of policies as a list of what is due shows them.
func (t TrackedTool) DueItems(owed []PolicyItem) []DueItem {
	items := make([]DueItem, len(owed))
	for i, o := range owed {
		items[i] = t.dueItem(o)
	}
	return items
}

// Place puts in where the tool is and who has it.
func (i *DueItem) Place(t TrackedTool) { i.Custody, i.Holder = t.Custody, t.Holder() }

func (t *TrackedTool) dueItem(o PolicyItem) DueItem {
	item := DueItem{
		Tool: o.Tool, Action: o.Action, DueAt: o.DueAt, Reason: dueReasonOf(o), PastDue: o.PastDue, Forecast: o.Forecast, Detail: o.Detail,
		LastDone: o.LastDone,
	}
	item.Place(*t)
	if t.Due.Last != nil {
		item.LastCalibration = t.Due.Last.OccurTime
	}
	uses := t.Due.Uses
	if o.Action == ledger.ActionCalibration {
		item.CyclesAllowed = int64(t.Due.Tool.IntervalCycles)
	} else if t.PolicyUses != nil {
		uses = t.PolicyUses
	}
	for _, p := range t.Policies {
		if p.Action == o.Action && item.CyclesAllowed == 0 {
			item.CyclesAllowed = int64(p.Cycles)
		}
	}
	for _, u := range uses {
		if u.At.After(o.LastDone) {
			item.CyclesUsed += u.Fasteners
		}
	}
	return item
}

// dueReasonOf keeps the words that a calibration has of its own.
func dueReasonOf(o PolicyItem) DueReason {
	calibration := o.Action == ledger.ActionCalibration
	switch o.Reason {
	case PolicyByMonths:
		return DueByMonths
	case PolicyByCycles:
		return DueByCycles
	case PolicyByEvent:
		return DueByEvent
	case PolicyByDays:
		return DueByDays
	case PolicyByShift:
		return DueByShift
	case PolicyNeverDone:
		if calibration {
			return DueNeverCalibrated
		}
		return DueNeverDone
	default: // the others go on below
	}
	if calibration {
		return DueCalibrationFailed
	}
	return DueFailed
}
