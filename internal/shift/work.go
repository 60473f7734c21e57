package shift

import (
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// Work is what the mode shows and does, given by whoever knows the device and the
// server. Every function may be called from any goroutine.
type Work struct {
	// Place is the cell.
	Place ledger.Place
	// Units are those of the site, known at the latest with its joints.
	Units func() ledger.UnitPreference
	// Caution stands where a torque is shown or taken.
	Caution string
	// Source says in a few words where the joints come from, such as "data of
	// 2 Mar 07:25".
	Source string
	// Opening are sentences to say at first, besides the caution.
	Opening []string
	// Joints are the joints of the cell, in the order of their tags.
	Joints func() ([]Joint, error)
	// Keep keeps a record, whose head it fills in but for the note, and answers only
	// once it is durable on the device. It never waits for the server.
	Keep func(ledger.Record) (Kept, error)
	// Undo keeps what withdraws an entry of this shift, as durably as Keep.
	Undo func(uuid.UUID) error
	// Standing is how things stand now; Answers in it are those that came since it
	// was last asked. It is quick.
	Standing func() Standing
	// Changed may be sent to where Standing has something new to say; nil where it
	// is only asked every second.
	Changed <-chan struct{}
	// Lots, Tools and Batches are those that may be chosen from; what is not among
	// them can be typed.
	Lots, Tools, Batches func() []Choice
	// Remember keeps for the next shift view with what the work is done.
	Remember func(With) error
	// Now is the time on the clock of the device.
	Now func() time.Time
}

// Joint is one joint of the cell and how far it has come.
type Joint struct {
	ledger.Joint
	// Asked is the specification's revision in force; nil where it is not known.
	Asked *ledger.Specification
	// Left is how many fasteners are not tightened yet.
	Left int
	// Sealed says that a sealing is on record.
	Sealed bool
	State  ledger.JointState
	// Holds are why it is on hold, a rule or a person each; empty when it is not.
	Holds []string

	// hidden says that it is left out of the list: it was done when the list was read.
	hidden bool
}

// toSeal says that sealant is asked for and not on record.
func (j *Joint) toSeal() bool {
	return j.Asked != nil && j.Asked.Sealant != "" && !j.Sealed
}

// done says that nothing is left for a technician to enter.
func (j *Joint) done() bool { return j.Left == 0 && !j.toSeal() }

// Kept is what is said of a record that was kept on the device.
type Kept struct {
	ID uuid.UUID
	// At is when it happened, as it was recorded.
	At time.Time
	// Findings are those of the rules by what the device knows.
	Findings []rules.Finding
	// Remarks say what makes the findings worth less.
	Remarks []string
	// DataOf is when what the device knows was brought; zero where it knows nothing,
	// so that findings come with the server's answer.
	DataOf time.Time
}

// Answer is what the server said to an entry.
type Answer struct {
	ID       uuid.UUID
	Findings []rules.Finding
	// Refused is why the server did not take it; empty when it did.
	Refused string
	// Unheard says that the server took it and what it found was told to somebody
	// else: another program on this device has sent it.
	Unheard bool
}

// Standing is how the device stands to the server.
type Standing struct {
	// Online says that the server answers; Since is when that last changed. Known is
	// false until the server was first tried.
	Known, Online bool
	Since         time.Time
	// Trouble is a sentence on what keeps entries from being sent, besides that the
	// server can't be reached; empty for nothing.
	Trouble string
	// LastSent is when entries were last taken by the server; zero for never.
	LastSent time.Time
	// Data changes when the joints come from newer data than before, so that they are to
	// be read again; Source is then where they come from, as in Work.
	Data   int
	Source string
	// Waiting entries are still to be sent; Refused ones are to be mended or
	// withdrawn. Both count all of the device, not those of the shift alone.
	Waiting, Refused int
	Answers          []Answer
}

// Choice is one lot, tool or batch to choose.
type Choice struct {
	Code string
	// Words say what it is, such as "M10 x 40, 316, 940 here".
	Words string
}

// With is what the work is done with until it is changed.
type With struct {
	Lot, Tool, Batch string
	Treatment        ledger.Treatment
	Method           ledger.DrivingMethod
	// TorqueNewtonMetres is the torque set; nil when none is said. TorqueAsTyped is
	// how it was typed.
	TorqueNewtonMetres *float64
	TorqueAsTyped      string
}
