package store_test

import (
	"context"
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// A large batch is judged by what holds when it is written, though its joints were looked
// up before and another server, or this one, changed one meanwhile; and so is the batch
// after it, and a batch that names what is not known is refused member by member.
func TestWhatWasLookedUpAheadIsOld(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		c := e.NewConfig(t)
		one := storetest.OpenFleet(t, c)
		two := storetest.Open(t, c)
		const members, fasteners = 500, 8
		minute := 0
		batch := func() []ledger.Record {
			records := make([]ledger.Record, members)
			for i := range records {
				minute++
				records[i] = storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) {
					r.OccurTime, r.Fasteners = r.OccurTime.Add(time.Duration(minute)*time.Minute), fasteners
				})
			}
			return records
		}
		joint := batch()[0].(*ledger.Tightening).Joint
		change := func(s *store.Store, holes int) {
			t.Helper()
			if _, err := s.UpdateJoint(ctx, joint, 0, store.Change{}, func(j *ledger.Joint) error { j.Fasteners = holes; return nil }); err != nil {
				t.Fatal(err)
			}
		}
		record := func(what string, want bool, between func()) {
			t.Helper()
			outcomes, err := one.RecordAfter(ctx, batch(), between)
			if err != nil {
				t.Fatal(err)
			}
			for i, o := range outcomes {
				if o.State != store.Taken || broken(o.Findings, rules.CodeCountOverJoint) != want {
					t.Fatalf("%s: record %d: state %d, %v, %+v; expected more fasteners than the joint has: %v", what, i, o.State, o.Err, o.Findings, want)
				}
			}
		}
		change(one, fasteners)
		record("as many as it has", false, func() {})
		record("changed by another server meanwhile", true, func() { change(two, fasteners-1) })
		record("after that", true, func() {})
		record("changed by this one meanwhile", false, func() { change(one, fasteners) })
		record("after that too", false, func() {})

		mixed := batch()
		mixed[3].(*ledger.Tightening).Joint.Joint = "J999"
		mixed[4].(*ledger.Tightening).Lot = "NONE"
		outcomes, err := one.RecordAfter(ctx, mixed, func() {})
		if err != nil {
			t.Fatal(err)
		}
		for i, o := range outcomes {
			if refused := i == 3 || i == 4; (o.State == store.Refused) != refused {
				t.Errorf("member %d: state %d, %v", i, o.State, o.Err)
			}
		}
		soundReport(t, one)
	})
}
