package store_test

import (
	"pgregory.net/rapid"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store/storetest"
)

// drawSite makes a record of the other kinds that clients send: of work on a joint, of a
// tool, and decisions about what was sent before.
func (m *machine) drawSite(rt *rapid.T, joint ledger.Place, lot, tool string) ledger.Record {
	site := rapid.SampledFrom([]string{storetest.Denver, storetest.Kolkata}).Draw(rt, "site")
	reason := rapid.SampledFrom([]string{"looked at", "looked at", ""}).Draw(rt, "reason") // "" is not valid
	switch evenly(rt, 9, "kind of site record") {
	case 0:
		sealant := rapid.SampledFrom([]string{"polyurethane", "butyl", ""}).Draw(rt, "sealant")
		return &ledger.Sealing{Entry: m.entry(rt), Joint: joint, Sealant: sealant, WidthMillimetres: 9.5, Splice: ledger.Splice(evenly(rt, 4, "splice"))}
	case 1:
		return &ledger.Inspection{Entry: m.entry(rt), Joint: joint, Kind: ledger.InspectionKind(1 + evenly(rt, 3, "inspection")),
			Result: ledger.InspectionResult(1 + evenly(rt, 2, "result")), Tool: tool}
	case 2:
		return &ledger.Custody{Entry: m.entry(rt), Tool: tool, Kind: ledger.CustodyKind(1 + evenly(rt, 8, "custody")), Site: site,
			Holder: rapid.SampledFrom([]string{"", storetest.DenverPerson, storetest.Visitor}).Draw(rt, "holder")}
	case 3, 4:
		h := &ledger.Hold{Entry: m.entry(rt), Action: ledger.HoldPlaced, Reason: reason}
		m.drawHeld(rt, h, joint, lot, tool, site)
		return h
	case 5:
		return m.drawRelease(rt, joint, reason)
	case 6:
		return &ledger.Disposition{Entry: m.decider(rt), Incident: m.drawSent(rt, ledger.KindIncident), Decision: ledger.DecisionRework, Reason: reason}
	case 7:
		for range evenly(rt, 3, "up") {
			joint = joint.Parent()
		}
		return &ledger.SignOff{Entry: m.decider(rt), Place: joint, Point: ledger.SignOffPoint(1 + evenly(rt, 2, "point"))}
	default:
		check := &ledger.ToolCheck{Entry: m.entry(rt), Tool: tool, Site: site, Action: ledger.PolicyAction(1 + evenly(rt, 4, "action")),
			Result: ledger.InspectionResult(1 + evenly(rt, 2, "result"))}
		return check
	}
}

// drawHeld says what a hold is on.
func (m *machine) drawHeld(rt *rapid.T, h *ledger.Hold, joint ledger.Place, lot, tool, site string) {
	switch evenly(rt, 4, "held") {
	case 0:
		h.Place = joint
	case 1:
		h.Place = joint.Parent()
	case 2:
		h.Lot, h.Site = lot, site
	default:
		h.Tool, h.Site = tool, site
	}
}

// drawRelease releases a hold that was sent, kept or not; now and then as if it were on
// something else.
func (m *machine) drawRelease(rt *rapid.T, joint ledger.Place, reason string) ledger.Record {
	r := &ledger.Hold{Entry: m.decider(rt), Action: ledger.HoldReleased, Reason: reason, Decision: ledger.DecisionUseAsIs, Releases: m.drawSent(rt, ledger.KindHold), Place: joint}
	if k := m.model.byID[r.Releases]; k != nil && evenly(rt, 5, "as it is") > 0 {
		if h, ok := k.record.(*ledger.Hold); ok {
			r.Place, r.Lot, r.Tool, r.Site = h.Place, h.Lot, h.Tool, h.Site
		}
	}
	return r
}

// decider is the entry of a decision, mostly by somebody who may decide.
func (m *machine) decider(rt *rapid.T) ledger.Entry {
	e := m.entry(rt)
	if evenly(rt, 5, "may decide") > 0 {
		e.Person = storetest.DenverPerson
	}
	return e
}

// drawSent gives the id of something of a kind that was kept before, of a hold one that was
// placed, where there is any, or else of whatever was sent, or of nothing.
func (m *machine) drawSent(rt *rapid.T, kind ledger.RecordKind) uuid.UUID {
	var ids, all []uuid.UUID
	for _, r := range m.sent {
		all = append(all, r.Head().ID)
	}
	for _, k := range m.model.kept {
		if h, ok := k.record.(*ledger.Hold); k.record.RecordKind() == kind && (!ok || h.Action == ledger.HoldPlaced) {
			ids = append(ids, k.record.Head().ID)
		}
	}
	if len(ids) == 0 || evenly(rt, 10, "of the kind") == 0 {
		ids = all
	}
	if len(ids) == 0 {
		return m.id()
	}
	return rapid.SampledFrom(ids).Draw(rt, "about")
}

// resentSite is resent for the kinds that drawSite makes: a copy without what the server
// gave.
func resentSite(r ledger.Record) ledger.Record {
	switch r := r.(type) {
	case *ledger.Sealing:
		c := *r
		c.Entry, c.Specification = asSent(c.Entry), ledger.SpecificationRef{}
		return &c
	case *ledger.Inspection:
		c := *r
		c.Entry, c.ReadingsNewtonMetres = asSent(c.Entry), nil
		return &c
	case *ledger.Custody:
		c := *r
		c.Entry = asSent(c.Entry)
		return &c
	case *ledger.Hold:
		c := *r
		c.Entry, c.ReleasedBy = asSent(c.Entry), uuid.Nil
		if c.Place != (ledger.Place{}) {
			c.Site = "" // its place says it
		}
		return &c
	case *ledger.Disposition:
		c := *r
		c.Entry, c.Site = asSent(c.Entry), ""
		return &c
	case *ledger.SignOff:
		c := *r
		c.Entry = asSent(c.Entry)
		return &c
	case *ledger.ToolCheck:
		c := *r
		c.Entry = asSent(c.Entry)
		return &c
	}
	panic("a kind of record that the test does not know")
}
