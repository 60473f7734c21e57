package store_test

import (
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/store/storetest"
)

// What one server knows of the treatments of a joint, another one adds to: a
// conflict must be found whichever of them wrote which tightening, and in one batch
// as in many.
func TestServersSeeEachOthersTreatments(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		one := storetest.OpenFleet(t, c)
		two := storetest.Open(t, c)
		minute := 0
		tightening := func(treatment ledger.Treatment) *ledger.Tightening {
			minute++
			at := minute
			return storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) {
				r.Treatment, r.CompoundBatch = treatment, ""
				r.OccurTime = r.OccurTime.Add(time.Duration(at) * time.Minute)
			})
		}
		want := func(what string, conflict bool, found []rules.Finding) {
			t.Helper()
			if broken(found, rules.CodeTreatmentConflict) != conflict {
				t.Errorf("%s: a conflict is found: %v; expected %v: %+v", what, !conflict, conflict, found)
			}
		}
		want("the first", false, keep(t, one, tightening(ledger.TreatmentAntiSeize))[0])
		want("the same again, from memory", false, keep(t, one, tightening(ledger.TreatmentAntiSeize))[0])
		want("by the other server", true, keep(t, two, tightening(ledger.TreatmentThreadLocking))[0])
		want("after the other server", true, keep(t, one, tightening(ledger.TreatmentAntiSeize))[0])
		// In one batch: the first of the two is not in the database yet.
		on := func(treatment ledger.Treatment) *ledger.Tightening {
			r := tightening(treatment)
			r.Joint = ledger.Place{Site: "RVB", Tower: "CT1", Cell: "C1", Joint: "J002"}
			return r
		}
		want("another joint", false, keep(t, one, on(ledger.TreatmentThreadLocking))[0])
		found := keep(t, one, on(ledger.TreatmentThreadLocking), on(ledger.TreatmentAntiSeize))
		want("its own kind in a batch", false, found[0])
		want("against the one before it in the batch", true, found[1])
		soundReport(t, one)
	})
}
