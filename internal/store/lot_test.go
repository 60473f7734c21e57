package store_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// lotStates gives the state of a lot in every way in which it is read; they must
// agree.
func (d *diary) lotState(number string) string {
	d.t.Helper()
	ctx := context.Background()
	lot, err := d.s.Lot(ctx, number)
	if err != nil {
		d.t.Fatal(err)
	}
	found, err := d.s.FindLot(ctx, number)
	if err != nil {
		d.t.Fatal(err)
	}
	if diff := cmp.Diff(lot, found.Lot); diff != "" {
		d.t.Errorf("lot %s (-read +found):\n%s", number, diff)
	}
	for state := ledger.LotReleased; state <= ledger.LotUsedUp; state++ {
		listed := inPages(d.t, 1, func(p store.Page) ([]ledger.Lot, string, error) {
			return d.s.Lots(ctx, store.LotFilter{State: state}, p)
		})
		for _, l := range listed {
			if l.State != state {
				d.t.Errorf("lot %s in state %d is listed among those in state %d", l.Number, l.State, state)
			}
			if l.Number == number && cmp.Diff(lot, l) != "" {
				d.t.Errorf("lot %s (-read +listed):\n%s", number, cmp.Diff(lot, l))
			}
		}
		if has := strings.Contains(strings.Join(mapped(listed, lotKind.short), " ")+" ", number+" "); has != (state == lot.State) {
			d.t.Errorf("lot %s in state %d is listed in state %d: %t", number, lot.State, state, has)
		}
	}
	return ledger.LotStates.Name(lot.State)
}

func (d *diary) setLot(number string, edit func(*ledger.Lot)) (string, error) {
	lot, err := d.s.UpdateLot(context.Background(), number, 0, store.Change{}, func(l *ledger.Lot) error { edit(l); return nil })
	return ledger.LotStates.Name(lot.State), err
}

func (d *diary) wantLotRefused(what string, err error) {
	d.t.Helper()
	e := wantError(d.t, err, ledger.KindInvalid, ledger.ReasonInvalidField)
	const how = "a lot is quarantined by a hold on it: trackctl hold place --lot …, and released by releasing that hold"
	if len(e.Fields) != 1 || e.Fields[0].Field != "state" || e.Fields[0].Description != how {
		d.t.Errorf("%s: fields %+v", what, e.Fields)
	}
}

// A lot is quarantined while a hold on it is open, and in no other way.
func TestLotIsQuarantinedByHolds(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		const number = storetest.StainlessLot
		wantState := func(when, want string) {
			t.Helper()
			if got := d.lotState(number); got != want {
				t.Errorf("%s: %s; expected %s", when, got, want)
			}
		}
		set := func(state ledger.LotState) func(*ledger.Lot) { return func(l *ledger.Lot) { l.State = state } }
		wantState("registered", "released")
		_, err := d.setLot(number, set(ledger.LotQuarantined))
		d.wantLotRefused("quarantined by saying so", err)
		wantState("refused", "released")

		first, second := d.holdLot(number, storetest.Denver), d.holdLot(number, storetest.Kolkata)
		d.holdLot(seamLot, storetest.Denver)
		wantState("on hold", "quarantined")
		for _, edit := range []func(*ledger.Lot){func(l *ledger.Lot) { l.Description = "in two boxes" }, set(ledger.LotQuarantined)} {
			if state, err := d.setLot(number, edit); err != nil || state != "quarantined" {
				t.Errorf("a change that leaves the state alone: %s, %v", state, err)
			}
		}
		_, err = d.setLot(number, set(ledger.LotReleased))
		d.wantLotRefused("released while on hold", err)
		d.release(first)
		wantState("one of two holds released", "quarantined")
		d.release(second)
		wantState("both released", "released")

		third := d.holdLot(number, storetest.Denver)
		if state, err := d.setLot(number, set(ledger.LotUsedUp)); err != nil || state != "quarantined" {
			t.Errorf("used up while on hold: %s, %v", state, err)
		}
		before, err := d.s.Lot(context.Background(), number)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := d.setLot(number, set(ledger.LotUsedUp)); err != nil {
			t.Error(err)
		}
		if after, err := d.s.Lot(context.Background(), number); err != nil || after.Version != before.Version {
			t.Errorf("used up once more: version %d after %d, %v", after.Version, before.Version, err)
		}
		d.release(third)
		wantState("released, used up", "used-up")
	})
}

// A folder that is imported again meets lots that were put on hold meanwhile.
func TestRegisteringLotsThatAreOnHold(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		lot, err := d.s.Lot(context.Background(), storetest.StainlessLot)
		if err != nil {
			t.Fatal(err)
		}
		in := func(number string, state ledger.LotState) ledger.Lot {
			l := lot
			l.Number, l.State = number, state
			return l
		}
		register := func(want []store.OutcomeState, lots ...ledger.Lot) []store.Outcome {
			t.Helper()
			outcomes, err := d.s.RegisterLots(context.Background(), lots, store.Change{})
			wantStates(t, outcomes, err, want...)
			return outcomes
		}
		refused := register([]store.OutcomeState{store.Refused, store.Taken, store.Refused},
			in("NEW-1", ledger.LotQuarantined), in("NEW-2", ledger.LotReleased), in("NEW-2", ledger.LotQuarantined))
		d.wantLotRefused("a new lot", refused[0].Err)
		wantError(t, refused[2].Err, ledger.KindExists, ledger.ReasonResourceExists)

		d.holdLot(storetest.StainlessLot, storetest.Denver)
		register([]store.OutcomeState{store.AlreadyKnown, store.AlreadyKnown, store.Refused},
			in(lot.Number, ledger.LotReleased), in(lot.Number, ledger.LotQuarantined), in(lot.Number, ledger.LotUsedUp))
	})
}

// A record is judged by the holds of its own time, whenever it arrives.
func TestLotHeldAtTheTimeOfUse(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		d := newDiary(t, e)
		start := d.now
		hold := d.holdLot(storetest.StainlessLot, storetest.Kolkata) // at +1 min
		d.now = start.Add(9 * time.Minute)
		d.release(hold) // at +10 min
		d.now = start.Add(19 * time.Minute)
		d.holdLot(storetest.StainlessLot, storetest.Denver) // at +20 min, open
		for minutes, held := range map[int]bool{0: false, 1: true, 9: true, 10: false, 19: false, 20: true, 30: true} {
			d.now = start.Add(time.Duration(minutes-1) * time.Minute) // keep adds one
			outcome := d.keep(storetest.NewTightening(structural, func(r *ledger.Tightening) { r.Fasteners = 1 }))
			found := false
			for _, f := range outcome.Findings {
				found = found || f.Rule == rules.CodeLotHeld
			}
			if found != held {
				t.Errorf("used at +%d min: found on hold %t; expected %t", minutes, found, held)
			}
		}
	})
}
