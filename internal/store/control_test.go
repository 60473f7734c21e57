package store_test

import (
	"context"
	"slices"
	"sync"
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// keep records and requires each to be taken, and gives what was found.
func keep(t *testing.T, s *store.Store, records ...ledger.Record) [][]rules.Finding {
	t.Helper()
	outcomes, err := s.Record(context.Background(), records, store.Change{})
	if err != nil {
		t.Fatal(err)
	}
	found := make([][]rules.Finding, len(outcomes))
	for i, o := range outcomes {
		if o.State != store.Taken {
			t.Fatalf("record %d: state %d, %v", i, o.State, o.Err)
		}
		found[i] = o.Findings
	}
	return found
}

func broken(findings []rules.Finding, rule string) bool {
	return slices.ContainsFunc(findings, func(f rules.Finding) bool { return f.Rule == rule })
}

func lead(at time.Time) ledger.Entry {
	return ledger.Entry{ID: storetest.NewID(), OccurTime: at, Person: storetest.DenverPerson}
}

// replace makes the correction of a tightening by another one.
func replace(old *ledger.Tightening, change func(*ledger.Tightening)) *ledger.Correction {
	with := *old
	with.ID = storetest.NewID()
	change(&with)
	return &ledger.Correction{Entry: lead(old.OccurTime.Add(time.Hour)), Corrects: old.ID, Replacement: with.ID, With: &with, Reason: "typed wrong"}
}

func TestAReplacementIsJudgedWithoutWhatItReplaces(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		keep(t, s, storetest.NewLotMovement(storetest.StainlessLot, storetest.Denver, func(m *ledger.LotMovement) {
			m.Quantity, m.OccurTime = 8, storetest.Occurred.Add(-time.Hour)
		}))
		first := storetest.NewTightening(storetest.DenverJoint)
		if found := keep(t, s, first)[0]; broken(found, rules.CodeLotOverdrawn) || broken(found, rules.CodeTreatmentConflict) {
			t.Fatalf("eight of eight: %+v", found)
		}
		other := replace(first, func(r *ledger.Tightening) { r.Treatment = ledger.TreatmentThreadLocking })
		if found := keep(t, s, other)[0]; broken(found, rules.CodeLotOverdrawn) || broken(found, rules.CodeTreatmentConflict) {
			t.Errorf("the eight that were withdrawn, and their anti-seize, count still: %+v", found)
		}
		more := storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.OccurTime = r.OccurTime.Add(time.Minute) })
		if found := keep(t, s, more)[0]; !broken(found, rules.CodeLotOverdrawn) || !broken(found, rules.CodeTreatmentConflict) {
			t.Errorf("eight more than came, with anti-seize after locking compound: %+v", found)
		}
		soundReport(t, s)
	})
}

func TestACorrectionThatComesAgainWithAnotherReplacement(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		s := storetest.OpenFleet(t, e.NewConfig(t))
		old := storetest.NewTightening(storetest.DenverJoint)
		keep(t, s, old)
		correction := replace(old, func(r *ledger.Tightening) { r.Fasteners = 3 })
		keep(t, s, correction)
		outcomes, err := s.Record(ctx, []ledger.Record{correction}, store.Change{})
		if err != nil || outcomes[0].State != store.AlreadyKnown {
			t.Errorf("the same again: %+v, %v", outcomes, err)
		}
		forged := *correction
		with := *correction.With.(*ledger.Tightening)
		with.Fasteners = 9
		forged.With = &with
		outcomes, err = s.Record(ctx, []ledger.Record{&forged}, store.Change{})
		if err != nil || outcomes[0].State != store.Refused || outcomes[0].Err.Reason != ledger.ReasonRecordIDReused {
			t.Errorf("another replacement under the same ids: %+v, %v", outcomes, err)
		}
		soundReport(t, s)
	})
}

// Records that refer to one another in a batch are validated as they would be
// taken, and nothing is kept.
func TestValidationOfRecordsThatReferToOneAnother(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		placed := &ledger.Hold{Entry: lead(storetest.Occurred), Action: ledger.HoldPlaced, Lot: storetest.StainlessLot, Site: storetest.Denver, Reason: "suspect"}
		released := &ledger.Hold{Entry: lead(storetest.Occurred.Add(time.Hour)), Action: ledger.HoldReleased, Lot: storetest.StainlessLot,
			Site: storetest.Kolkata, Reason: "sound", Releases: placed.ID, Decision: ledger.DecisionUseAsIs}
		batch := []ledger.Record{placed, released}
		for _, c := range []store.Change{{ValidateOnly: true}, {}} {
			outcomes, err := s.Record(context.Background(), batch, c)
			if err != nil || outcomes[0].State != store.Taken || outcomes[1].State != store.Taken {
				t.Fatalf("%+v: %+v, %v", c, outcomes, err)
			}
			want := map[bool]int64{true: 0, false: 2}[c.ValidateOnly]
			if n := chainLength(t, s, storetest.Denver); n != want {
				t.Errorf("%+v: %d records in the chain; expected %d", c, n, want)
			}
		}
		// The release was filed under the hold's site, and is known again as it came.
		again := *released
		again.Site = storetest.Kolkata
		outcomes, err := s.Record(context.Background(), []ledger.Record{&again}, store.Change{})
		if err != nil || outcomes[0].State != store.AlreadyKnown {
			t.Errorf("%+v, %v", outcomes, err)
		}
		soundReport(t, s)
	})
}

// Two servers change one thing at once; no change is lost.
func TestTwoServersChangeOneThing(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		c := e.NewConfig(t)
		one := storetest.OpenFleet(t, c)
		two := storetest.Open(t, c)
		before, err := one.Tool(ctx, storetest.DenverWrench)
		if err != nil {
			t.Fatal(err)
		}
		const each = 15
		var wg sync.WaitGroup
		for _, s := range []*store.Store{one, two} {
			wg.Go(func() {
				for range each {
					if _, err := s.UpdateTool(ctx, storetest.DenverWrench, 0, store.Change{}, func(v *ledger.Tool) error { v.IntervalCycles++; return nil }); err != nil {
						t.Error(err)
					}
				}
			})
		}
		wg.Wait()
		after, err := one.Tool(ctx, storetest.DenverWrench)
		if err != nil {
			t.Fatal(err)
		}
		if after.IntervalCycles != before.IntervalCycles+2*each || after.Version != before.Version+2*each {
			t.Errorf("%d cycles, version %d; expected %d and %d", after.IntervalCycles, after.Version, before.IntervalCycles+2*each, before.Version+2*each)
		}
	})
}

// One server corrects tightenings with a tool at one site while another records
// tightenings with it at another site, in the same hour.
func TestUseOfAToolThatGoesFromSiteToSite(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		one := storetest.OpenFleet(t, c)
		two := storetest.Open(t, c)
		const n = 25
		var wg sync.WaitGroup
		wg.Go(func() {
			for range n {
				old := storetest.NewTightening(storetest.DenverJoint)
				for _, r := range []ledger.Record{old, replace(old, func(r *ledger.Tightening) { r.Fasteners = 5 })} {
					if outcomes, err := one.Record(context.Background(), []ledger.Record{r}, store.Change{}); err != nil || outcomes[0].State != store.Taken {
						t.Errorf("%+v, %v", outcomes, err)
					}
				}
			}
		})
		wg.Go(func() {
			for range 2 * n {
				r := storetest.NewTightening("KVR/CT1/C1/J001", func(r *ledger.Tightening) { r.Tool = storetest.DenverWrench })
				if outcomes, err := two.Record(context.Background(), []ledger.Record{r}, store.Change{}); err != nil || outcomes[0].State != store.Taken {
					t.Errorf("%+v, %v", outcomes, err)
				}
			}
		})
		wg.Wait()
		soundReport(t, one)
	})
}
