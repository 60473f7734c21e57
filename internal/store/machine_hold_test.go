package store_test

import (
	"slices"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// releaseTwice places a hold, releases it, and releases it again, and the release itself:
// one after another or in one batch, with the other server or a start between as chance has
// it. Left to themselves the records that draw makes hardly ever come to a second release.
func (m *machine) releaseTwice(rt *rapid.T) {
	m.registerDeciders(rt)
	joint := rapid.SampledFrom(machineJoints()[:3]).Draw(rt, "held joint").Place
	hold := &ledger.Hold{Entry: m.entry(rt), Action: ledger.HoldPlaced, Reason: "looked at", Place: joint}
	hold.Person = storetest.DenverPerson
	release := func(of uuid.UUID) *ledger.Hold {
		r := &ledger.Hold{Entry: m.entry(rt), Action: ledger.HoldReleased, Reason: "looked at", Decision: ledger.DecisionUseAsIs, Releases: of, Place: joint}
		r.Person = storetest.DenverPerson
		return r
	}
	first := release(hold.ID)
	said := []ledger.Record{hold, first, release(hold.ID), release(first.ID), first}
	for len(said) > 0 {
		n := rapid.IntRange(1, len(said)).Draw(rt, "at once")
		m.sendAs(rt, slices.Clone(said[:n]), store.Change{})
		said = said[n:]
		switch {
		case len(said) == 0:
		case m.other != nil && rapid.Bool().Draw(rt, "to the other server"):
			m.change(rt)
		case evenly(rt, 4, "after a start") == 0:
			m.close(rt)
			m.open(rt)
		}
	}
	m.compareRecord(rt, m.model.byID[hold.ID])
}

// registerDeciders registers whoever may release, and the joints, where they are not yet.
func (m *machine) registerDeciders(rt *rapid.T) {
	f, ctx := storetest.NewFleet(), m.t.Context()
	people := mapped(f.People, func(p ledger.Person) answer { return registerThing(m.model.people, p.ID, p, true, true) })
	outcomes, err := m.s.RegisterPeople(ctx, f.People, store.Change{})
	m.agree(rt, "people", outcomes, err, people)
	joints := mapped(machineJoints(), func(j ledger.Joint) answer { return registerThing(m.model.joints, j.Place, j, true, true) })
	outcomes, err = m.s.RegisterJoints(ctx, machineJoints(), store.Change{})
	m.agree(rt, "joints", outcomes, err, joints)
}
