package handover

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// joint gives what is missing at one joint, sign-off left out.
func (c Check) joint(j Joint) []Missing {
	var missing []Missing
	add := func(format string, args ...any) {
		m := Missing{j.Place, fmt.Sprintf("Joint %s", j.Place) + fmt.Sprintf(format, args...) + "."}
		if !slices.Contains(missing, m) {
			missing = append(missing, m)
		}
	}
	b := read(j.Records)
	if j.Tightened < int64(j.Fasteners) {
		add(": %d of its %d fasteners are on record as tightened", j.Tightened, j.Fasteners)
	}
	for _, r := range b.tightenings {
		if lacks := unproven(j, r); lacks != "" {
			add(": no %s is on record for its tightening of %s", lacks, date(r))
		}
	}
	if sentence := unsealed(j, b); sentence != "" {
		add(": %s", sentence)
	}
	for _, kind := range b.inspected {
		if sentence := unsound(j, b, b.inspections[kind]); sentence != "" {
			add(": %s", sentence)
		}
	}
	if j.Critical && len(b.inspected) == 0 {
		add(" is critical and no inspection of it is on record")
	}
	for _, h := range j.OpenHolds {
		if h.Place.Depth() == 4 {
			add(" is on hold%s%s", because(h), b.causeOf(h))
		}
	}
	for _, i := range b.incidents {
		if needsDisposition(i) && !b.decided[i.ID] {
			add(": %s", undecided(i))
		}
	}
	for _, use := range b.uses {
		for _, sentence := range c.uncalibrated(b, use) {
			add(": %s", sentence)
		}
	}
	for _, r := range b.tightenings {
		if why, held := c.HeldLots[r.Lot]; held && !b.releasedSince(r, rules.CodeLotHeld) {
			add(": lot %s in it %s", r.Lot, why)
		}
	}
	return missing
}

// book is what counts among the records of one joint.
type book struct {
	sealings    []*ledger.Sealing
	tightenings []*ledger.Tightening
	incidents   []*ledger.Incident
	// inspections are the newest of each kind, inspected the kinds in the order in
	// which they were first made.
	inspections map[ledger.InspectionKind]*ledger.Inspection
	inspected   []ledger.InspectionKind
	decided     map[uuid.UUID]bool // incidents with a disposition
	uses        []ledger.Record    // of a tool
	holds       map[uuid.UUID]*ledger.Hold
	releases    []*ledger.Hold
	corrected   map[uuid.UUID]bool // records that were withdrawn or replaced
}

func read(records []ledger.Record) *book {
	b := &book{
		inspections: map[ledger.InspectionKind]*ledger.Inspection{},
		decided:     map[uuid.UUID]bool{}, holds: map[uuid.UUID]*ledger.Hold{},
		corrected: map[uuid.UUID]bool{},
	}
	for _, r := range records {
		if withdrawn(r) {
			b.corrected[r.Head().ID] = true
			continue
		}
		switch r := r.(type) {
		case *ledger.Sealing:
			b.sealings = append(b.sealings, r)
		case *ledger.Tightening:
			b.tightenings, b.uses = append(b.tightenings, r), append(b.uses, r)
		case *ledger.Incident:
			b.incidents = append(b.incidents, r)
		case *ledger.Inspection:
			if b.inspections[r.Kind] == nil {
				b.inspected = append(b.inspected, r.Kind)
			}
			b.inspections[r.Kind] = r
			b.uses = append(b.uses, r)
		case *ledger.Disposition:
			b.decided[r.Incident] = true
		case *ledger.Hold:
			b.holds[r.ID] = r
			if r.Action == ledger.HoldReleased {
				b.releases = append(b.releases, r)
			}
		}
	}
	return b
}

// causeOf says of a hold that the record for which it was placed counts no more.
// That does not end it: whether the joint is in order is for somebody with the
// authority to say.
func (b *book) causeOf(h *ledger.Hold) string {
	if h.Cause == uuid.Nil || !b.corrected[h.Cause] {
		return ""
	}
	return "; the record that caused it was corrected since; it still takes a release"
}

// releasedSince says whether a hold for one of the rules was released after the
// record was taken in: whoever released it has decided about this record too.
// Not every record has a hold of its own, since a joint that is on hold for a
// rule is not put on hold for it once more.
func (b *book) releasedSince(r ledger.Record, codes ...string) bool {
	for _, release := range b.releases {
		placed, known := b.holds[release.Releases]
		if known && slices.Contains(codes, placed.Rule) && release.Sequence > r.Head().Sequence {
			return true
		}
	}
	return false
}

// calibrationRules are those that say whether a tool's calibration was in force.
var calibrationRules = []string{rules.CodeCalibrationLapsed, rules.CodeCalibrationUnknown, rules.CodeCalibrationFailed}

// uncalibrated says why no calibration was in force for the use of a tool, by the
// same rules that judged the record when it was taken in, over the calibrations
// on record now: a certificate may have arrived later. Cycles and events are not
// looked at again; where they made a tool fall due, the hold says so.
func (c Check) uncalibrated(b *book, use ledger.Record) []string {
	serial := ""
	switch r := use.(type) {
	case *ledger.Tightening:
		serial = r.Tool
	case *ledger.Inspection:
		serial = r.Tool
	}
	if serial == "" {
		return nil
	}
	facts := rules.Facts{Record: use}
	if t, known := c.Tools[serial]; known {
		facts.Tool, facts.HomeLocation, facts.Calibration = &t.Tool, t.Location, t.InForce(use.Head().OccurTime)
	}
	var why []string
	for _, f := range rules.Check(facts) {
		if slices.Contains(calibrationRules, f.Rule) && !b.releasedSince(use, f.Rule) {
			why = append(why, "no calibration was in force for its "+words(ledger.RecordKinds.Name(use.RecordKind()))+" of "+date(use)+": "+trimStop(f.Message))
		}
	}
	return why
}

// needsDisposition says whether somebody has to decide about an incident. A
// fastener whose thread failed is replaced, and with that nothing is left to
// decide; so is a dropped tool or a near miss settled by what was done at once.
// What does not conform and stays in the joint needs a decision, whatever was
// done at once (rework, repair, use as is or scrap: ISO 9000:2015, 3.12).
func needsDisposition(i *ledger.Incident) bool {
	switch i.Kind {
	case ledger.MisalignedHole, ledger.SealGap, ledger.Leak, ledger.CoatingDamage:
		return true
	default: // the others go on below
	}
	return strings.TrimSpace(i.Action) == ""
}

func undecided(i *ledger.Incident) string {
	what := "the incident of " + date(i) + " (" + words(ledger.IncidentKinds.Name(i.Kind)) + ")"
	if strings.TrimSpace(i.Action) == "" {
		return what + " has neither an action nor a disposition"
	}
	return what + " has no disposition"
}

// date is the day of a record at its site.
func date(r ledger.Record) string {
	return time.Unix(int64(r.Head().LocalDay)*86400, 0).UTC().Format(time.DateOnly)
}

func inspectionWords(kind ledger.InspectionKind) string {
	if kind == ledger.VisualInspection {
		return "visual inspection"
	}
	return words(ledger.InspectionKinds.Name(kind))
}

func words(name string) string { return strings.ReplaceAll(name, "-", " ") }

func trimStop(sentence string) string { return strings.TrimSuffix(strings.TrimSpace(sentence), ".") }
