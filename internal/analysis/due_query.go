package analysis

import (
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

// DueQuery says of which tools the due dates are asked.
type DueQuery struct {
	// AsOf is the moment looked from; nothing that happened later counts.
	AsOf time.Time
	// Sites are codes of home sites; all when empty.
	Sites []string
	// Kinds are kinds of tools; all when empty.
	Kinds []ledger.ToolKind
}

// DueInput is what is on record about one tool.
type DueInput struct {
	Tool ledger.Tool
	// Location is the time zone of the tool's home site.
	Location *time.Location
	// Last is the newest calibration at or before AsOf; nil for never.
	Last *ledger.Calibration
	// Uses are the tightenings with the tool after Last (all when never
	// calibrated) up to AsOf, by day or finer, in order of time.
	Uses []Use
	// Events are what befell it after Last (ever when never calibrated) up to
	// AsOf, in order of time.
	Events []Event
}

// Use is fasteners tightened with a tool, in any pass.
type Use struct {
	At        time.Time
	Fasteners int64
}

// Event is what puts a tool in doubt: an incident such as a drop, or a change of
// custody that says it was dropped, overloaded or repaired. One of Kind and
// Custody is set.
type Event struct {
	At      time.Time
	Kind    ledger.IncidentKind
	Custody ledger.CustodyKind
	ID      uuid.UUID
}
