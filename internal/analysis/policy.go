package analysis

import (
	"time"

	"jointledger/internal/ledger"
)

// PolicyReason says which part of a policy makes a tool due.
type PolicyReason uint8

// Policy reasons. Of two on one moment the graver, listed first, is shown.
const (
	PolicyFailed PolicyReason = iota + 1
	PolicyByEvent
	PolicyNeverDone
	PolicyByCycles
	PolicyByMonths
	PolicyByDays
	PolicyByShift
)

// PolicyReasons are the words of PolicyReason.
var PolicyReasons = ledger.NewWords[PolicyReason]("reason",
	"failed", "event", "never-done", "cycles", "months", "days", "shift")

// ActionDone is the last time that an action was done on a tool.
type ActionDone struct {
	Action ledger.PolicyAction
	At     time.Time
	// Failed says that the tool did not pass; it is due until it does.
	Failed bool
}

// Shift is a working shift at the tool's site. Both zero: not known; the local
// day is then taken for the shift.
type Shift struct{ Start, End time.Time }

// PolicyInput is what is on record about one tool for all its policies.
type PolicyInput struct {
	Tool ledger.Tool
	// Location is the time zone of the tool's home site.
	Location *time.Location
	Policies []ledger.Policy
	Done     []ActionDone
	Shift    Shift
	// Uses and Events, each in order of time, reach back at least to the
	// earliest last time of any action with such a policy; what lies before an
	// action's own last time does not count for it.
	Uses   []Use
	Events []Event
}

// PolicyItem is one action on one tool that is due.
type PolicyItem struct {
	Tool   ledger.Tool
	Action ledger.PolicyAction
	// DueAt is in the time zone of the tool's home site.
	DueAt  time.Time
	Reason PolicyReason
	// PastDue says whether DueAt lies before the moment looked from.
	PastDue bool
	// BeforeUse marks a check for each shift: it is owed before the next use, and
	// not at all while the tool lies unused.
	BeforeUse bool
	// Forecast says whether DueAt rests on recent use going on.
	Forecast bool
	// Detail is one sentence with the figures.
	Detail string
	// LastDone is the zero time for never.
	LastDone time.Time
}
