package known

import (
	"time"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// Source gives what is known of things. The second value says whether the thing is
// known at all.
type Source interface {
	// Location is the zone of the site that records are made at.
	Location() *time.Location
	// Joint is a joint with the tightenings it has had.
	Joint(ledger.Place) (JointPast, bool)
	// Revisions are those of a specification, the oldest first.
	Revisions(specification string) []ledger.Specification
	// Lot is a lot with its holds and its stock at the site.
	Lot(number string) (LotPast, bool)
	// Tool is a tool with its calibrations, custody, events, checks, holds and use.
	Tool(serial string) (ToolPast, bool)
	// Person is who reports or holds a tool.
	Person(code string) (ledger.Person, bool)
	// Batch is a batch of a consumable.
	Batch(number string) (ledger.Batch, bool)
	// Substitutions are those approved for a specification.
	Substitutions(specification string) []ledger.Substitution
}

// Records is what a Source may be besides: it then gives single records, whichever
// their kind, so that what a correction takes back can be reckoned off. What a
// correction is about and the Source does not give is left as it was.
type Records interface {
	Record(id uuid.UUID) (ledger.Record, bool)
}

// Span is a time during which something was so; To is zero while it still is.
type Span struct {
	From, To time.Time
	// ID is the record that began it; zero where that is not known.
	ID uuid.UUID
}

// Open says whether a span covers the moment: from its start, until before its end.
func (s Span) Open(at time.Time) bool {
	return !at.Before(s.From) && (s.To.IsZero() || at.Before(s.To))
}

// JointPast is a joint and what happened to it as far as rules ask.
type JointPast struct {
	Joint ledger.Joint
	// Tightenings are all that count, in any order.
	Tightenings []Tightened
}

// Tightened is one tightening of a joint and what its threads carried.
type Tightened struct {
	ID        uuid.UUID
	At        time.Time
	Treatment ledger.Treatment
	// Fasteners that it brought to torque; 0 for a pass that is not the first.
	Fasteners int
	// Driven are the fasteners that it tightened in whatever pass, Lot and Tool what it
	// was done with: for taking it back, see Records. A source that gives no records
	// may leave them out.
	Driven    int
	Lot, Tool string
}

// LotPast is a lot, the holds on it, and its stock at the site.
type LotPast struct {
	Lot   ledger.Lot
	Holds []Span
	// MovedAnywhere says that movements of the lot are on record at some site: only
	// then does their absence here say anything. Received: a movement brought it here.
	MovedAnywhere, Received bool
	// OnHand is the sum of its movements at the site less the attempts there; since
	// CountTime, when it was last counted by hand; zero for never or not known.
	OnHand    int64
	CountTime time.Time
}

// ToolPast is a tool and what happened to it. Each list is in order of time.
type ToolPast struct {
	Tool ledger.Tool
	// Home is the zone of its home site, in which its due day ends.
	Home *time.Location
	// Calibrations are those that prove something, see ledger.Proving; others among
	// them do no harm.
	Calibrations []ledger.Calibration
	Custody      []ledger.Custody
	// Dropped are the times of incidents in which it was dropped.
	Dropped []time.Time
	Checks  []analysis.ActionDone
	Holds   []Span
	// Uses are its tightenings since the newest calibration; kept only where the tool
	// is due by cycles.
	Uses []analysis.Use
}
