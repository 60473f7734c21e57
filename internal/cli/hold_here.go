package cli

import (
	"slices"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// unsentHolds are what the entries of this device change of the holds that carried data
// show: those that wait, and those that were sent since.
type unsentHolds struct {
	// placed are holds that were placed and not released again.
	placed []unsentHold
	// released are the holds that were released.
	released map[uuid.UUID]bool
	// toCome are the rules by which the server puts joints on hold for entries: by what
	// this device carries.
	toCome []holdToCome
}

// unsentHold is a hold that was placed on this device; waiting while the server has not
// got it.
type unsentHold struct {
	hold    *pb.Hold
	waiting bool
}

// holdToCome is a hold that a rule places when an entry is taken in; waiting while the
// server has not got the entry.
type holdToCome struct {
	joint, rule string
	waiting     bool
}

// unsentHoldsAt reads them for what lies at or below a place, or for everything where it
// is none; asOf is the moment of the carried data. Where p is nil only what was placed
// and released is known. That an entry was taken back since lifts no hold.
func unsentHoldsAt(p *pack.Pack, asOf time.Time, entries []*outbox.Entry, place ledger.Place) unsentHolds {
	u := unsentHolds{released: map[uuid.UUID]bool{}}
	past := entriesAsOf(entries, asOf)
	for _, e := range entries {
		if !past.news(e) || place.Depth() > 0 && !e.Mentions(place.Resource(), "holds/") {
			continue
		}
		if m, err := readPending(e); err == nil {
			u.read(p, past, e, m.record, place)
		}
	}
	u.placed = slices.DeleteFunc(u.placed, func(h unsentHold) bool {
		id, err := recordIDOf(h.hold)
		return err != nil || u.released[id]
	})
	return u
}

// read takes in one entry.
func (u *unsentHolds) read(p *pack.Pack, past *entriesBefore, e *outbox.Entry, r record, place ledger.Place) {
	waiting := e.State == outbox.Waiting
	if h, ok := r.(*pb.Hold); ok {
		if h.GetAction() == pb.HoldAction_HOLD_ACTION_PLACED {
			u.placed = append(u.placed, unsentHold{h, waiting})
		} else if id, err := parseRecordID(h.GetReleases()); err == nil {
			u.released[id] = true
		}
		return
	}
	if c, ok := r.(*pb.Correction); ok {
		if r = replacementOf(c); r == nil {
			return
		}
	}
	joint := jointOf(r)
	at, err := ledger.ParsePlace(joint)
	if p == nil || err != nil || !inPlace(at, place) || at.Site != p.Site().Code {
		return
	}
	domain := past.domain(e)
	if domain == nil {
		return
	}
	found, err := findingsBy(p, domain, past.before(r), e.KeptAt)
	if err != nil {
		return // said where the joints are read
	}
	for _, f := range found {
		one := holdToCome{joint, f.Rule, waiting}
		if f.Severity == rules.Hold && !slices.Contains(u.toCome, one) {
			u.toCome = append(u.toCome, one)
		}
	}
}

// words are the holds on a joint or its cell in a few words each. A rule that holds the
// joint already places no other hold.
func (u unsentHolds) words(joint ledger.Place, held []*ledger.Hold) (words []string) {
	mark := func(word string, waiting bool) string {
		if waiting {
			return word + " (waits to be sent)"
		}
		return word + " (sent since)"
	}
	for _, h := range u.placed {
		if at := h.hold.GetPlace(); at == joint.Resource() || at == joint.Parent().Resource() {
			words = append(words, mark(holdWords(h.hold.GetRule(), ledger.ShortName(h.hold.GetEntry().GetPerson())), h.waiting))
		}
	}
	for _, h := range u.toCome {
		open := slices.ContainsFunc(held, func(o *ledger.Hold) bool { return o.Place == joint && o.Rule == h.rule })
		if h.joint == joint.String() && !open {
			words = append(words, mark(h.rule, h.waiting))
		}
	}
	return words
}

// openHold finds an open hold by its id in what this device has.
func (a *app) openHold(name string) (*pb.Hold, error) {
	id, err := parseRecordID(name)
	if err != nil {
		return nil, err
	}
	_, entries, err := a.outboxEntries()
	if err != nil {
		return nil, err
	}
	closed := &failure{code: exitData, message: "hold " + id.String() + " is not open, by what this device knows"}
	packs := a.allPacks()
	var newest time.Time
	for _, p := range packs {
		if p.AsOf().After(newest) {
			newest = p.AsOf()
		}
	}
	u := unsentHoldsAt(nil, newest, entries, ledger.Place{})
	if u.released[id] {
		return nil, closed
	}
	for _, h := range u.placed {
		if h.hold.GetName() == "holds/"+id.String() {
			return h.hold, nil
		}
	}
	if len(packs) == 0 {
		return nil, a.nothingCarried("the hold " + id.String() + " can't be looked up")
	}
	for _, p := range packs {
		hold, open := carriedHold(p, id)
		if err := p.Err(); err != nil {
			return nil, carriedFailure(p.Site().Code, err)
		}
		switch {
		case hold != nil && !open:
			return nil, closed
		case hold != nil:
			return hold, nil
		}
	}
	return nil, a.notKnownHere("holds/"+id.String(), packs, "it may have been placed since: trackctl carry brings new data where there is a signal")
}

// carriedHold finds a hold in carried data; nil for none. Of a lot and of a tool they
// have its span alone.
func carriedHold(p *pack.Pack, id uuid.UUID) (hold *pb.Hold, open bool) {
	for _, place := range p.Cells() {
		cell, _ := p.Cell(place)
		for _, h := range cell.Holds {
			if h.ID == id {
				return wire.HoldTo(h), true
			}
		}
	}
	among := func(spans []known.Span) *known.Span {
		if i := slices.IndexFunc(spans, func(s known.Span) bool { return s.ID == id }); i >= 0 {
			return &spans[i]
		}
		return nil
	}
	site := "sites/" + p.Site().Code
	for _, number := range p.Lots() {
		lot, _ := p.Lot(number)
		if s := among(lot.Holds); s != nil {
			return &pb.Hold{Name: "holds/" + id.String(), Lot: "lots/" + number, Site: site}, s.To.IsZero()
		}
	}
	for _, serial := range p.Tools() {
		tool, _ := p.Tool(serial)
		if s := among(tool.Holds); s != nil {
			return &pb.Hold{Name: "holds/" + id.String(), Tool: "tools/" + serial, Site: site}, s.To.IsZero()
		}
	}
	return nil, false
}

// jointHolds are the open holds of a joint.
type jointHolds struct {
	// own are on the joint itself, cell on its cell.
	own, cell []*pb.Hold
	// remark is what else there is to know; empty for nothing.
	remark string
}

// jointHoldsHere reads the open holds of a joint from what this device has.
func (a *app) jointHoldsHere(joint ledger.Place) (jointHolds, error) {
	var found jointHolds
	p, carried, err := a.carriedFor(joint.Site)
	if err != nil {
		return found, err
	}
	if !carried {
		return found, a.nothingCarried("the holds of " + joint.String() + " can't be looked up")
	}
	_, entries, err := a.outboxEntries()
	if err != nil {
		return found, err
	}
	u := unsentHoldsAt(p, p.AsOf(), entries, joint.Parent())
	var all []*pb.Hold
	cell, _ := p.Cell(joint.Parent())
	for _, h := range cell.Holds {
		if !u.released[h.ID] {
			all = append(all, wire.HoldTo(h))
		}
	}
	if err := p.Err(); err != nil {
		return found, carriedFailure(joint.Site, err)
	}
	for _, h := range u.placed {
		all = append(all, h.hold)
	}
	for _, h := range all {
		switch h.GetPlace() {
		case joint.Resource():
			found.own = append(found.own, h)
		case joint.Parent().Resource():
			found.cell = append(found.cell, h)
		}
	}
	for _, h := range u.toCome {
		if h.joint == joint.String() {
			found.remark = "look: entries of this device that the carried data do not have yet put " + h.joint + " on hold (" + h.rule + "): that hold has no id here, and is released once it is there"
			break
		}
	}
	return found, nil
}
