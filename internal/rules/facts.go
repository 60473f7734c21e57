package rules

import (
	"time"

	"jointledger/internal/ledger"
)

// Facts is everything that rules read about one record. What is nil or empty is
// not named by the record, or not known, and makes the rules that need it
// silent. Things are to be given as they were at the record's time: the
// specification in the revision the record was made under, holds that were open
// then, so that a record that arrives late is judged like one that did not.
type Facts struct {
	Record ledger.Record

	Joint         *ledger.Joint
	Specification *ledger.Specification
	Lot           *ledger.Lot
	Tool          *ledger.Tool
	Person        *ledger.Person
	// Batch is the compound batch of a tightening, the sealant batch of a sealing.
	Batch *ledger.Batch

	// Location is the zone of the site, whose local days count for shelf lives
	// and qualifications. Without it the record's own offset from UTC stands in.
	Location *time.Location
	// HomeLocation is the zone of the tool's home site, in which its due day ends;
	// without it, Location.
	HomeLocation *time.Location

	// LotHeld and ToolHeld say that a hold on the lot or tool was open at the
	// record's time. The lot's state says what is so now and is not looked at.
	LotHeld, ToolHeld bool

	// LotStockKnown says that the two facts after it are known. LotReceivedHere:
	// a movement brought the lot to this site. LotOnHandBefore: fasteners that
	// should have been there before the record.
	LotStockKnown   bool
	LotReceivedHere bool
	LotOnHandBefore int64

	// Calibration is the tool's newest one at or before the record's time; nil
	// for none, which is a finding.
	Calibration *ledger.Calibration
	// CyclesSince counts the fasteners tightened with the tool, in any pass, after
	// that calibration and before the record.
	CyclesSince int64
	// EventSince says that the tool was dropped, overloaded or repaired after that
	// calibration (ever, when there is none) and before the record.
	EventSince bool
	// Custody is the tool's newest custody record at or before the record's time.
	Custody *ledger.Custody
	// Unfit are clauses that say why the tool should not have been issued by a
	// change of custody, such as "on hold since 2026-03-02".
	Unfit []string

	// EarlierTreatments are those of the joint's tightenings before the record.
	EarlierTreatments []ledger.Treatment
	// Substitutions are those approved for the specification.
	Substitutions []ledger.Substitution

	// ReceiveTime is when the record was taken in, by the clock of who did: the server,
	// or the device that it was entered on. Zero where nobody has, or it is not known.
	ReceiveTime time.Time
	// Offline says that the record was kept on a device without signal, or handed
	// in from paper or a file, so that a late arrival is no fault of a clock.
	Offline bool
}

func (f *Facts) at() time.Time { return f.Record.Head().OccurTime }

// zone is the site's zone, or the offset the record was made with.
func (f *Facts) zone() *time.Location {
	if f.Location != nil {
		return f.Location
	}
	return time.FixedZone("", f.Record.Head().OffsetMinutes*60)
}

func (f *Facts) homeZone() *time.Location {
	if f.HomeLocation != nil {
		return f.HomeLocation
	}
	return f.zone()
}

func (f *Facts) tightening() (*ledger.Tightening, bool) {
	r, ok := f.Record.(*ledger.Tightening)
	return r, ok
}

func (f *Facts) sealing() (*ledger.Sealing, bool) {
	r, ok := f.Record.(*ledger.Sealing)
	return r, ok
}

// usedTool is the serial of the tool with which fasteners were tightened or
// audited; empty for none.
func (f *Facts) usedTool() string {
	switch r := f.Record.(type) {
	case *ledger.Tightening:
		return r.Tool
	case *ledger.Inspection:
		return r.Tool
	}
	return ""
}

// attempts gives the lot of the fasteners that the record drove, well or not,
// and how many of them were new; false when it drove none.
func (f *Facts) attempts() (lot string, count int64, ok bool) {
	switch r := f.Record.(type) {
	case *ledger.Tightening:
		if r.Pass == ledger.PassFirst {
			count = int64(r.Fasteners)
		}
		return r.Lot, count, r.Lot != ""
	case *ledger.Incident:
		if r.Kind.ThreadFailure() {
			return r.Lot, int64(r.Fasteners), r.Lot != ""
		}
	}
	return "", 0, false
}

// fastener is the one that was driven: the lot's, or else the specified one.
func (f *Facts) fastener() (ledger.Fastener, bool) {
	switch {
	case f.Lot != nil:
		return f.Lot.Fastener, true
	case f.Specification != nil:
		return f.Specification.Fastener, true
	}
	return ledger.Fastener{}, false
}

// day is a calendar day, counted from 1970-01-01.
type day int

func dayOf(year int, month time.Month, d int) day {
	return day(time.Date(year, month, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// localDay is the record's day at the site.
func (f *Facts) localDay() day { return dayOf(f.at().In(f.zone()).Date()) }

// parseDay reads YYYY-MM-DD.
func parseDay(text string) (day, bool) {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return 0, false
	}
	return dayOf(t.Date()), true
}

func (d day) String() string { return time.Unix(int64(d)*86400, 0).UTC().Format(time.DateOnly) }
