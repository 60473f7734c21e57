package store_test

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// model is what the store is held to: the same promises over plain maps and
// slices, with the domain's definitions and none of the store's code.
type model struct {
	lots   map[string]ledger.Lot
	tools  map[string]ledger.Tool
	people map[string]ledger.Person
	joints map[ledger.Place]ledger.Joint
	// revisions are the moments at which each specification was revised, from the
	// second revision on.
	revisions map[string][]time.Time
	// kept are the records in the order of their taking, as they were sent.
	kept []*modelRecord
	// batches are those that came so far.
	batches int
	byID    map[uuid.UUID]*modelRecord
}

type modelRecord struct {
	record ledger.Record
	site   string
	// specification held for the joint when it happened.
	specification ledger.SpecificationRef
	correctedBy   uuid.UUID
	releasedBy    uuid.UUID // of a hold
	// batch numbers those that came together, whose order among themselves is open.
	batch    int
	attached []store.Attachment
}

func newModel() *model {
	return &model{
		lots: map[string]ledger.Lot{}, tools: map[string]ledger.Tool{}, people: map[string]ledger.Person{}, joints: map[ledger.Place]ledger.Joint{},
		revisions: map[string][]time.Time{}, byID: map[uuid.UUID]*modelRecord{},
	}
}

// inForce is the revision of a specification that held at a moment: before any
// was revised, the first.
func (m *model) inForce(code string, at time.Time) ledger.SpecificationRef {
	ref := ledger.SpecificationRef{Code: code, Revision: 1}
	for _, revised := range m.revisions[code] {
		if !revised.After(at) {
			ref.Revision++
		}
	}
	return ref
}

// clone copies what a batch may change, to predict without keeping.
func (m *model) clone() *model {
	c := *m
	c.kept, c.byID = slices.Clone(m.kept), map[uuid.UUID]*modelRecord{}
	for i, k := range c.kept {
		copied := *k
		c.kept[i], c.byID[k.record.Head().ID] = &copied, &copied
	}
	return &c
}

// answer is what the model expects of one member: a state, and the reason when it
// is refused.
type answer struct {
	state  store.OutcomeState
	reason ledger.Reason
}

func (a answer) String() string { return fmt.Sprintf("state %d, reason %d", a.state, a.reason) }

func refusedFor(reason ledger.Reason) answer { return answer{store.Refused, reason} }

// registerThing is the promise of every kind of thing.
func registerThing[K comparable, T any](known map[K]T, key K, thing T, valid, parents bool) answer {
	old, ok := known[key]
	switch {
	case !valid:
		return refusedFor(ledger.ReasonInvalidField)
	case ok && reflect.DeepEqual(old, thing):
		return answer{state: store.AlreadyKnown}
	case ok:
		return refusedFor(ledger.ReasonResourceExists)
	case !parents:
		return refusedFor(ledger.ReasonUnknownResource)
	}
	known[key] = thing
	return answer{state: store.Taken}
}

// take predicts what becomes of a record, and keeps it when it is taken.
func (m *model) take(sent ledger.Record) answer {
	id := sent.Head().ID
	if len(sent.Validate()) > 0 {
		return refusedFor(ledger.ReasonInvalidField)
	}
	if !m.names(sent) {
		return refusedFor(ledger.ReasonUnknownResource)
	}
	if known, ok := m.byID[id]; ok {
		if known.record.RecordKind() == sent.RecordKind() && reflect.DeepEqual(resent(known.record), resent(sent)) {
			return answer{state: store.AlreadyKnown}
		}
		return refusedFor(ledger.ReasonRecordIDReused)
	}
	kept := &modelRecord{record: resent(sent), site: m.siteOf(sent), batch: m.batches}
	if c, ok := sent.(*ledger.Correction); ok {
		if refusal := m.correct(c); refusal.reason != 0 {
			return refusal
		}
	} else if joint := jointOf(sent); joint.Joint != "" && keepsSpecification(sent) {
		kept.specification = m.inForce(m.joints[joint].Specification, sent.Head().OccurTime)
	}
	if !m.measured(sent) {
		return refusedFor(ledger.ReasonInvalidField)
	}
	if refusal := m.decide(sent); refusal.reason != 0 {
		return refusal
	}
	m.kept, m.byID[id] = append(m.kept, kept), kept
	return answer{state: store.Taken}
}

// measured is false of a calibration of what lifts and measures nothing.
func (m *model) measured(r ledger.Record) bool {
	c, ok := r.(*ledger.Calibration)
	return !ok || m.tools[c.Tool].Kind != ledger.ToolHoist
}

// keepsSpecification says whether a record of the kind keeps the revision that held; an
// inspection is judged by it and does not.
func keepsSpecification(r ledger.Record) bool {
	return r.RecordKind() == ledger.KindTightening || r.RecordKind() == ledger.KindIncident || r.RecordKind() == ledger.KindSealing
}

// correct withdraws a record, and keeps the replacement that comes with the
// correction.
func (m *model) correct(c *ledger.Correction) answer {
	target := m.byID[c.Corrects]
	_, taken := m.byID[c.Replacement]
	kind := target.record.RecordKind()
	switch {
	case kind == ledger.KindCorrection || kind == ledger.KindHold || kind == ledger.KindDisposition:
		return refusedFor(ledger.ReasonInvalidField)
	case kind == ledger.KindSignOff && !m.mayDecide(c):
		return refusedFor(ledger.ReasonPermissionDenied)
	case c.With != nil && c.With.RecordKind() != target.record.RecordKind():
		return refusedFor(ledger.ReasonInvalidField)
	case target.correctedBy != uuid.Nil:
		return refusedFor(ledger.ReasonAlreadyCorrected)
	case c.With != nil && (taken || c.Replacement == c.ID):
		return refusedFor(ledger.ReasonRecordIDReused)
	case c.With != nil && !m.measured(c.With):
		return refusedFor(ledger.ReasonInvalidField)
	case c.With != nil && kind == ledger.KindSignOff && !m.mayDecide(c.With):
		return refusedFor(ledger.ReasonPermissionDenied)
	}
	if c.With != nil {
		if a := m.take(c.With); a.state != store.Taken {
			panic("the model knows the replacement's names and that its id is free")
		}
	}
	target.correctedBy = c.ID
	return answer{}
}

// names says whether everything that a record names is known.
func (m *model) names(r ledger.Record) bool {
	lot, tool, holder, override := "", "", "", ""
	switch r := r.(type) {
	case *ledger.Tightening:
		lot, tool = r.Lot, r.Tool
	case *ledger.Incident:
		lot, tool = r.Lot, r.Tool
	case *ledger.Calibration:
		tool = r.Tool
	case *ledger.LotMovement:
		lot = r.Lot
	case *ledger.Inspection:
		tool = r.Tool
	case *ledger.ToolCheck:
		tool = r.Tool
	case *ledger.Custody:
		tool, holder, override = r.Tool, r.Holder, r.OverrideBy
	case *ledger.Hold:
		lot, tool = r.Lot, r.Tool
		if r.Releases != uuid.Nil && !m.knownTarget(r.Releases, ledger.KindHold) {
			return false
		}
	case *ledger.Disposition:
		if !m.knownTarget(r.Incident, ledger.KindIncident) {
			return false
		}
	case *ledger.Correction:
		if m.byID[r.Corrects] == nil || r.With != nil && !m.names(r.With) {
			return false
		}
	}
	joint := jointOf(r)
	_, knownJoint := m.joints[joint]
	_, knownLot := m.lots[lot]
	_, knownTool := m.tools[tool]
	_, knownPerson := m.people[r.Head().Person]
	_, knownHolder := m.people[holder]
	_, knownOverride := m.people[override]
	return (holder == "" || knownHolder) && (override == "" || knownOverride) && (joint.Joint == "" || knownJoint) && (lot == "" || knownLot) && (tool == "" || knownTool) && (r.Head().Person == "" || knownPerson)
}

// jointOf is the joint that a record is about, or another place that it names.
func jointOf(r ledger.Record) ledger.Place {
	switch r := r.(type) {
	case *ledger.Tightening:
		return r.Joint
	case *ledger.Incident:
		return r.Joint
	case *ledger.Sealing:
		return r.Joint
	case *ledger.Inspection:
		return r.Joint
	case *ledger.Hold:
		return r.Place
	case *ledger.SignOff:
		return r.Place
	}
	return ledger.Place{}
}

// siteOf is the site in whose chain a record will stand.
func (m *model) siteOf(r ledger.Record) string {
	switch r := r.(type) {
	case *ledger.Calibration:
		return m.tools[r.Tool].HomeSite
	case *ledger.Correction:
		return m.byID[r.Corrects].site
	case *ledger.Disposition:
		return m.byID[r.Incident].site
	case *ledger.Hold:
		if r.Releases != uuid.Nil {
			return m.byID[r.Releases].site
		}
	}
	return r.SiteCode()
}

// counting are the records that figures count: those that were not corrected.
func (m *model) counting() []ledger.Record {
	var records []ledger.Record
	for _, k := range m.kept {
		if k.correctedBy == uuid.Nil {
			records = append(records, k.record)
		}
	}
	return records
}

// byTime puts records in the order of their times.
func byTime(records []ledger.Record) []ledger.Record {
	slices.SortFunc(records, func(a, b ledger.Record) int { return a.Head().OccurTime.Compare(b.Head().OccurTime) })
	return records
}

// stock is the stock of a lot by hand. The machine never has two records of one
// moment.
func (m *model) stock(lot string) []ledger.LotStock {
	records := byTime(m.counting())
	sites := map[string]*ledger.LotStock{}
	for _, r := range records {
		stock := sites[r.SiteCode()]
		if stock == nil {
			stock = &ledger.LotStock{Site: r.SiteCode()}
		}
		switch r := r.(type) {
		case *ledger.Tightening:
			if r.Lot != lot {
				continue
			}
			if r.Pass == ledger.PassFirst {
				stock.Used += int64(r.Fasteners)
				stock.OnHand -= int64(r.Fasteners)
			}
		case *ledger.Incident:
			if r.Lot != lot {
				continue
			}
			if r.Kind.ThreadFailure() {
				stock.Used += int64(r.Fasteners)
				stock.OnHand -= int64(r.Fasteners)
			}
		case *ledger.LotMovement:
			switch {
			case r.Lot != lot:
				continue
			case r.Kind == ledger.MovementReceived:
				stock.Received += r.Quantity
				stock.OnHand += r.Quantity
			case r.Kind == ledger.MovementCounted:
				stock.OnHand = r.Quantity
			default:
				stock.Removed += r.Quantity
				stock.OnHand -= r.Quantity
			}
		default:
			continue
		}
		sites[r.SiteCode()] = stock
	}
	var stocks []ledger.LotStock
	for _, s := range sites {
		stocks = append(stocks, *s)
	}
	slices.SortFunc(stocks, func(a, b ledger.LotStock) int { return cmp.Compare(a.Site, b.Site) })
	// A site where all that happened came to nothing and was withdrawn may stand in
	// the list with zeros or not at all: neither says anything else.
	return slices.DeleteFunc(stocks, func(s ledger.LotStock) bool { return s == ledger.LotStock{Site: s.Site} })
}
