package known

import (
	"slices"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// Pieces are what was found about one record: in the database, all of a commit in a
// few queries, or in what a device carries. Here they become facts, in the same way
// for both. What is nil is not named by the record, or not known.
type Pieces struct {
	Record ledger.Record
	// Replaced is the record that this one stands instead of, and that must not be
	// seen beside it; zero for none.
	Replaced uuid.UUID

	Joint *ledger.Joint
	// Specification is the revision in force.
	Specification *ledger.Specification
	// Tightenings are the joint's other ones; those that carried what can't be in
	// conflict with the record's own may be missing.
	Tightenings []Tightened

	Lot      *ledger.Lot
	LotHolds []Span
	// Stock is that of the lot at the site, without the record and without the one
	// that it replaces; nil when movements of the lot are on record nowhere.
	Stock *Stock

	Person *ledger.Person
	Batch  *ledger.Batch

	// Tool is the tool with its past; calibrations and uses in it are not looked at.
	Tool *ToolPast
	// Calibration is the newest one at or before the record's time.
	Calibration *ledger.Calibration
	// Cycles are the fasteners tightened with the tool after that calibration and
	// before the record; counted where the tool is due by cycles.
	Cycles int64

	// Substitutions gives those approved for a specification; it is asked when the
	// lot's fastener is another than the specified one.
	Substitutions func(specification string) ([]ledger.Substitution, error)
}

// Stock is what is known of a lot at a site before a record.
type Stock struct {
	// Received says that a movement brought the lot to the site.
	Received bool
	OnHand   int64
}

// Facts puts together what the rules read. The zone of the site and when the record
// was taken in are for the caller to add. Errors: that of Substitutions, and of
// analysis.TrackedTool.LendingRefusals for a tool whose policies can't be.
func (p *Pieces) Facts() (rules.Facts, error) {
	f := rules.Facts{Record: p.Record}
	if !Judged(p.Record) {
		return f, nil
	}
	at := p.Record.Head().OccurTime
	f.Joint, f.Specification, f.Lot, f.Person, f.Batch = p.Joint, p.Specification, p.Lot, p.Person, p.Batch
	f.LotHeld = openAt(p.LotHolds, at) || inQuarantine(p.Lot, at)
	f.EarlierTreatments = p.earlierTreatments(at)
	if p.Stock != nil {
		f.LotStockKnown, f.LotReceivedHere, f.LotOnHandBefore = true, p.Stock.Received, p.Stock.OnHand
	}
	if f.Lot != nil && f.Specification != nil && f.Lot.Fastener != f.Specification.Fastener && p.Substitutions != nil {
		var err error
		if f.Substitutions, err = p.Substitutions(f.Specification.Code); err != nil {
			return f, err
		}
	}
	if p.Tool == nil {
		return f, nil
	}
	p.ofTool(&f, at)
	if c, ok := p.Record.(*ledger.Custody); !ok || c.Kind != ledger.CustodyIssued {
		return f, nil
	}
	var err error
	f.Unfit, err = p.unfit(at)
	return f, err
}

func (p *Pieces) earlierTreatments(at time.Time) (earlier []ledger.Treatment) {
	for _, t := range p.Tightenings {
		if t.At.Before(at) && !p.replaces(t.ID) && !slices.Contains(earlier, t.Treatment) {
			earlier = append(earlier, t.Treatment)
		}
	}
	return earlier
}

func (p *Pieces) replaces(id uuid.UUID) bool { return id != uuid.Nil && id == p.Replaced }

func (p *Pieces) ofTool(f *rules.Facts, at time.Time) {
	f.Tool, f.HomeLocation, f.ToolHeld = &p.Tool.Tool, p.Tool.Home, openAt(p.Tool.Holds, at)
	f.Calibration, f.CyclesSince = p.Calibration, p.Cycles
	f.Custody = p.inHands(at)
	befell := func(t time.Time) bool {
		return t.Before(at) && (p.Calibration == nil || t.After(p.Calibration.OccurTime))
	}
	f.EventSince = slices.ContainsFunc(p.Tool.Dropped, befell) || slices.ContainsFunc(p.Tool.Custody, func(c ledger.Custody) bool {
		return Befalls(c.Kind) && befell(c.OccurTime) && !p.replaces(c.ID)
	})
}

// inHands gives the change of custody that says who has the tool at a moment; nil
// for none. A drop or an overload leaves it in the hands that it was in, and says
// where it is only when nothing else does. A repair says where it is.
func (p *Pieces) inHands(at time.Time) *ledger.Custody {
	var fallback *ledger.Custody
	for i := len(p.Tool.Custody) - 1; i >= 0; i-- {
		c := &p.Tool.Custody[i]
		switch {
		case c.OccurTime.After(at) || p.replaces(c.ID):
		case c.Kind != ledger.CustodyDropped && c.Kind != ledger.CustodyOverloaded:
			return c
		case fallback == nil:
			fallback = c
		}
	}
	return fallback
}
