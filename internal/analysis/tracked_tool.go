package analysis

import (
	"fmt"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// ToolCustody is what the newest custody change of a tool says.
type ToolCustody struct {
	Kind ledger.CustodyKind
	Site string
	// Holder is the person who has it; empty for the crib. HolderName is what the
	// person is called, where it is known.
	Holder, HolderName string
	Since              time.Time
	// ExpectedBack is when it is to come back; the zero time when nothing was agreed.
	ExpectedBack time.Time
}

// ToolHold is an open hold on a tool.
type ToolHold struct {
	ID     uuid.UUID
	Since  time.Time
	Reason string
}

// TrackedTool is one tool with all that says whether it may be used: what its
// due dates rest on, where it is, and the holds on it.
type TrackedTool struct {
	// Due is what is on record for calibration; its Location is the time zone in
	// which the tool's due days end.
	Due DueInput
	// Policies come besides the calibration policy that the tool itself carries;
	// those for calibration are ignored when the tool carries one.
	Policies []ledger.Policy
	// PolicyUses and PolicyEvents are what Policies are counted from, back to the
	// earliest last time of their actions; those in Due, which begin at the last
	// calibration, when nil.
	PolicyUses   []Use
	PolicyEvents []Event
	// Done is what was done under the policies, and what was failed without one; only the
	// newest of each action counts.
	Done []ActionDone
	// Shift is the shift that each-shift checks are counted by.
	Shift Shift
	// Custody is nil when no custody change is on record: the tool is then taken
	// to lie in the crib of its home site.
	Custody *ToolCustody
	// Holds are those open.
	Holds []ToolHold
	// CapacityKilograms is the rated load of lifting gear; 0 when not known.
	CapacityKilograms float64
}

// ToolRefusal says why one tool does not count, and from when.
type ToolRefusal struct {
	Serial string
	Reason RefusalReason
	// At is when the reason arose or will arise: the due date, the day of the
	// hold, since when it is lent. The zero time for what has no date.
	At time.Time
	// Detail is one clause without the serial and without a full stop, such as
	// "due on 2026-03-31, 6 months since the calibration".
	Detail string
}

// RefusalReason says why a tool does not count.
type RefusalReason uint8

// Refusal reasons, the gravest first.
const (
	RefusedLost RefusalReason = iota + 1
	RefusedHeld
	RefusedAway
	RefusedElsewhere
	RefusedLent
	RefusedFailed
	RefusedNeverDone
	RefusedDue
	RefusedPlanCycles
	RefusedRange
	RefusedClass
	RefusedCapacity
)

// RefusalReasons are the words of RefusalReason.
var RefusalReasons = ledger.NewWords[RefusalReason]("reason of refusal",
	"lost", "on-hold", "in-transit", "at-another-site", "lent", "failed", "never-done", "due",
	"cycles-of-the-plan", "torque-range", "class-limit", "capacity")

// checkTracked gives what is wrong with a list of tools: no serial, one twice,
// no time zone, a capacity below zero.
func checkTracked(tools []TrackedTool) []ledger.FieldError {
	var fields []ledger.FieldError
	first := map[string]int{}
	for i, t := range tools {
		wrong := func(field, format string, args ...any) {
			fields = append(fields, ledger.FieldError{
				Field: fmt.Sprintf("tools[%d].%s", i, field), Description: fmt.Sprintf(format, args...),
			})
		}
		serial := t.Due.Tool.Serial
		if serial == "" {
			wrong("serial", "is empty")
		} else if at, twice := first[serial]; twice {
			wrong("serial", "%s is that of tools[%d] too; expected each once", serial, at)
		}
		first[serial] = i
		if t.Due.Location == nil {
			wrong("time_zone", "is not given; expected that of the tool's home site")
		}
		if metrology.CheckNotNegative("capacity", t.CapacityKilograms, "kg") != nil {
			wrong("capacity_kg", "%v is no load; expected 0 for not known, or more", t.CapacityKilograms)
		}
	}
	return fields
}

// dateAfter is the day so many days after another.
func dateAfter(d metrology.Date, days int) metrology.Date {
	return metrology.DateOf(time.Date(d.Year, d.Month, d.Day+days, 0, 0, 0, 0, time.UTC), time.UTC)
}

// sentenceOf makes a sentence about a tool of a clause.
func sentenceOf(serial, clause string) string { return serial + ": " + clause + "." }
