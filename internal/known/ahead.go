package known

import (
	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

// Ahead is a source that knows besides what another does not know yet: records that
// stood before, and those that are taken in one after the other. What it tells of a lot,
// a tool or a joint it works out once and then carries on, so that thousands of lines of
// a sheet are judged in the time that they take one by one: with nothing before, Facts
// and Findings give by it what they give by the other with all of that before. It is for
// one goroutine.
type Ahead struct {
	Source
	// before is all that was taken in, as what was not asked for yet is worked out of it.
	before *waiting
	joints map[ledger.Place]JointPast
	lots   map[string]LotPast
	tools  map[string]ToolPast
}

// NewAhead is the source with the records before, in the order they were made, for those
// that are judged at one site.
func NewAhead(s Source, site string, before []ledger.Record) *Ahead {
	a := &Ahead{
		Source: s, before: &waiting{source: s, site: site, gone: map[uuid.UUID]bool{}, tightened: map[ledger.Place][]*ledger.Tightening{}},
		joints: map[ledger.Place]JointPast{}, lots: map[string]LotPast{}, tools: map[string]ToolPast{},
	}
	a.before.read(before, uuid.Nil)
	for _, r := range a.before.live {
		a.index(r)
	}
	return a
}

func (a *Ahead) index(r ledger.Record) {
	if t, ok := r.(*ledger.Tightening); ok {
		a.before.tightened[t.Joint] = append(a.before.tightened[t.Joint], t)
	}
}

// Carries says of a record whether Take can carry it on: work at joints. Of what takes
// back, holds or counts, all is to be worked out anew: by another NewAhead.
func Carries(r ledger.Record) bool {
	switch r.(type) {
	case *ledger.Tightening, *ledger.Incident, *ledger.Sealing, *ledger.Inspection:
		return true
	}
	return false
}

// Take takes in a record that Carries, as one that was made after all others.
func (a *Ahead) Take(r ledger.Record) {
	a.before.live = append(a.before.live, r)
	a.index(r)
	place, lot, tool := subjectsOf(r)
	alone := &waiting{source: a.Source, site: a.before.site, live: []ledger.Record{r}}
	if past, ok := a.joints[place]; ok {
		past.Tightenings = alone.tightenings(past.Tightenings, place)
		a.joints[place] = past
	}
	if past, ok := a.lots[lot]; ok {
		a.lots[lot] = alone.lot(past)
	}
	past, ok := a.tools[tool]
	if _, tightens := r.(*ledger.Tightening); ok && (!tightens || past.Tool.IntervalCycles != 0) {
		a.tools[tool] = past.After(r)
	}
}

// Joint implements Source.
func (a *Ahead) Joint(place ledger.Place) (JointPast, bool) {
	return ahead(a.joints, place, a.Source.Joint, func(past JointPast) JointPast {
		past.Tightenings = a.before.tightenings(past.Tightenings, place)
		return past
	})
}

// Lot implements Source.
func (a *Ahead) Lot(number string) (LotPast, bool) {
	return ahead(a.lots, number, a.Source.Lot, a.before.lot)
}

// Tool implements Source.
func (a *Ahead) Tool(serial string) (ToolPast, bool) {
	return ahead(a.tools, serial, a.Source.Tool, a.before.tool)
}

// ahead gives what was worked out of a thing, or works it out.
func ahead[K comparable, P any](worked map[K]P, name K, of func(K) (P, bool), with func(P) P) (P, bool) {
	if past, ok := worked[name]; ok {
		return past, true
	}
	past, ok := of(name)
	if !ok {
		return past, false
	}
	past = with(past)
	worked[name] = past
	return past, true
}
