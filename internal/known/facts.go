package known

import (
	"slices"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// Facts are what rules read about a record, by what the source knows and by the
// records before it that the source does not know yet, in the order they were made:
// those that wait on a device. Of a correction they are those of its replacement,
// judged without the record that it stands instead of. Entered is when it was entered,
// by the clock of the device: the server goes by the moment at which it takes the record
// in, and by its own clock. Zero leaves that open. The errors are those of Pieces.Facts.
func Facts(s Source, record ledger.Record, before []ledger.Record, entered time.Time) (rules.Facts, error) {
	replaced := uuid.Nil
	if c, ok := record.(*ledger.Correction); ok && c.With != nil {
		record, replaced = c.With, c.Corrects
	}
	p := Pieces{Record: record, Replaced: replaced}
	if Judged(record) {
		since := waitingBefore(s, record, replaced, before)
		since.gather(&p)
	}
	f, err := p.Facts()
	f.Location, f.ReceiveTime, f.Offline = s.Location(), entered, record.Head().Offline
	return f, err
}

// Findings are what the rules find on a record, by what the source knows and the
// records before it that it does not know yet, entered at a moment as Facts has it. The
// replacement that comes with a correction is judged like any record.
func Findings(s Source, record ledger.Record, before []ledger.Record, entered time.Time) ([]rules.Finding, error) {
	facts, err := Facts(s, record, before, entered)
	if err != nil {
		return nil, err
	}
	found := rules.Check(facts)
	if facts.Record != record { // it came with a correction, which has a time of its own
		own := rules.Facts{Record: record, Location: facts.Location, ReceiveTime: entered, Offline: record.Head().Offline}
		found = append(found, rules.Check(own)...)
	}
	return found, nil
}

// gather looks up what the record names.
func (w *waiting) gather(p *Pieces) {
	place, lot, tool := subjectsOf(p.Record)
	if past, ok := w.source.Joint(place); ok && place.Depth() == 4 {
		p.Joint = &past.Joint
		p.Tightenings = w.tightenings(past.Tightenings, place)
		revisions := w.source.Revisions(past.Joint.Specification)
		if i := InForce(revisions, p.Record.Head().OccurTime, created); i >= 0 && specified(p.Record) {
			p.Specification = &revisions[i]
		}
	}
	if past, ok := w.source.Lot(lot); ok && lot != "" {
		past = w.lot(past)
		p.Lot, p.LotHolds = &past.Lot, past.Holds
		if past.MovedAnywhere {
			p.Stock = &Stock{Received: past.Received, OnHand: past.OnHand}
		}
	}
	if past, ok := w.source.Tool(tool); ok && tool != "" {
		w.ofTool(p, w.tool(past))
	}
	if code := p.Record.Head().Person; code != "" {
		if person, ok := w.source.Person(code); ok {
			p.Person = &person
		}
	}
	if number := BatchOf(p.Record); number != "" {
		if batch, ok := w.source.Batch(number); ok {
			p.Batch = &batch
		}
	}
	p.Substitutions = func(specification string) ([]ledger.Substitution, error) {
		return w.source.Substitutions(specification), nil
	}
}

func (w *waiting) ofTool(p *Pieces, past ToolPast) {
	at := p.Record.Head().OccurTime
	p.Tool = &past
	if i := LastBy(past.Calibrations, at, calibrated); i >= 0 {
		p.Calibration = &past.Calibrations[i]
	}
	if past.Tool.IntervalCycles == 0 {
		return
	}
	for _, u := range past.Uses {
		if u.At.Before(at) && (p.Calibration == nil || u.At.After(p.Calibration.OccurTime)) {
			p.Cycles += u.Fasteners
		}
	}
}

// Missing are the resource names of what a record names and the source does not
// know, so that rules are silent about it.
func Missing(s Source, record ledger.Record) (names []string) {
	if c, ok := record.(*ledger.Correction); ok && c.With != nil {
		record = c.With
	}
	place, lot, tool := subjectsOf(record)
	add := func(known bool, collection, name string) {
		if name != "" && !known {
			names = append(names, collection+"/"+name)
		}
	}
	if place.Depth() == 4 {
		if _, ok := s.Joint(place); !ok {
			names = append(names, place.Resource())
		}
	}
	_, known := s.Lot(lot)
	add(known, "lots", lot)
	_, known = s.Tool(tool)
	add(known, "tools", tool)
	for _, person := range peopleIn(record) {
		_, known = s.Person(person)
		add(known, "people", person)
	}
	return names
}

// peopleIn are those that a record names, each once.
func peopleIn(record ledger.Record) []string {
	people := []string{record.Head().Person}
	if c, ok := record.(*ledger.Custody); ok {
		for _, other := range []string{c.Holder, c.OverrideBy} {
			if !slices.Contains(people, other) {
				people = append(people, other)
			}
		}
	}
	return people
}
