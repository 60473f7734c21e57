package store_test

import (
	"context"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// testRefusedMembersTakeNoID sends batches in which members share ids, and one of
// them is refused for what the store knows, not for what it says.
func testRefusedMembersTakeNoID(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	signed := func(person string) ledger.Record {
		head := storetest.NewTightening(storetest.DenverJoint).Entry
		head.Person = person
		return &ledger.SignOff{Entry: head, Place: ledger.Place{Site: storetest.Denver, Tower: "CT1"}, Point: ledger.HoldPoint, Title: "erected"}
	}
	technician, lead := signed(storetest.KolkataPerson), signed(storetest.DenverPerson)
	lead.Head().ID = technician.Head().ID
	again := *technician.(*ledger.SignOff)
	leadAgain := *lead.(*ledger.SignOff)
	outcomes, err := s.Record(ctx, []ledger.Record{technician, &again, lead, &leadAgain}, store.Change{})
	wantStates(t, outcomes, err, store.Refused, store.Refused, store.Taken, store.AlreadyKnown)
	for _, o := range outcomes[:2] {
		wantError(t, o.Err, ledger.KindDenied, ledger.ReasonPermissionDenied, storetest.KolkataPerson)
	}
	soundReport(t, s)
}

// testReplacementsShareTheIDs sends corrections whose replacement carries an id
// that is taken, or is taken by the same batch.
func testReplacementsShareTheIDs(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	wrong := []ledger.Record{}
	for range 6 {
		wrong = append(wrong, storetest.NewTightening(storetest.DenverJoint))
	}
	storetest.Record(t, s, wrong...)
	correction := func(of int, with ledger.Record) *ledger.Correction {
		return &ledger.Correction{Entry: storetest.NewTightening(storetest.DenverJoint).Entry, Corrects: wrong[of].Head().ID,
			Replacement: with.Head().ID, With: with, Reason: "another lot"}
	}
	right := func() *ledger.Tightening {
		return storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Fasteners = 9 })
	}

	t.Log("the id of a record before it in the batch, of one that is kept, and its own")
	neighbour := right()
	own := right()
	withOwn := correction(2, own)
	own.ID, withOwn.Replacement = withOwn.ID, withOwn.ID
	outcomes, err := s.Record(ctx, []ledger.Record{neighbour, correction(0, resent(neighbour)), correction(1, resent(wrong[2])), withOwn}, store.Change{})
	wantStates(t, outcomes, err, store.Taken, store.Refused, store.Refused, store.Refused)
	for _, o := range outcomes[1:] {
		wantError(t, o.Err, ledger.KindExists, ledger.ReasonRecordIDReused)
	}

	t.Log("a record after it in the batch: the same again is known, another is not")
	replacement := right()
	other := resent(replacement).(*ledger.Tightening)
	other.Fasteners++
	outcomes, err = s.Record(ctx, []ledger.Record{correction(3, replacement), resent(replacement), other, correction(4, resent(replacement))}, store.Change{})
	wantStates(t, outcomes, err, store.Taken, store.AlreadyKnown, store.Refused, store.Refused)

	t.Log("a correction sent again: with the replacement it had it is known, with another it is not")
	fifth := correction(5, right())
	same, changed := resent(fifth), resent(fifth)
	changed.(*ledger.Correction).With.(*ledger.Tightening).Fasteners++
	for _, first := range []store.OutcomeState{store.Taken, store.AlreadyKnown} {
		outcomes, err = s.Record(ctx, []ledger.Record{resent(fifth), same, changed}, store.Change{})
		wantStates(t, outcomes, err, first, store.AlreadyKnown, store.Refused)
	}
	if n := chainLength(t, s, storetest.Denver); n != 6+1+2+2 {
		t.Errorf("%d records in the chain; expected %d", n, 6+1+2+2)
	}
}
