package store_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

var batchKind = func() kindOfThing[ledger.Batch] {
	k := kindOfThing[ledger.Batch]{
		name: "batch",
		fresh: func(i int) ledger.Batch {
			return ledger.Batch{Number: fmt.Sprintf("new.%d", i), Kind: ledger.ConsumableGunGradeSealant, Product: "cartridge", ExpireDate: "2027-01-31"}
		},
		other:       func(v *ledger.Batch) { v.Product, v.MinimumCelsius = "sausage", new(float64) },
		spoil:       func(v *ledger.Batch) { v.Kind, v.ExpireDate = 0, "2027-02-30" },
		wrong:       []string{"kind", "expire_date"},
		rename:      func(v *ledger.Batch) { v.Number = "neww.0" },
		resource:    func(v ledger.Batch) string { return "batches/" + v.Number },
		short:       func(v ledger.Batch) string { return v.Number },
		revision:    func(v *ledger.Batch) *ledger.Revision { return &v.Revision },
		registerAll: (*store.Store).RegisterBatches,
		page: func(s *store.Store, ctx context.Context, p store.Page) ([]ledger.Batch, string, error) {
			return s.Batches(ctx, store.BatchFilter{}, p)
		},
	}
	k.get, k.update = byName(func(v ledger.Batch) string { return v.Number }, (*store.Store).Batch, (*store.Store).UpdateBatch)
	return k
}()

var substitutionKind = func() kindOfThing[ledger.Substitution] {
	k := kindOfThing[ledger.Substitution]{
		name: "substitution",
		fresh: func(i int) ledger.Substitution {
			return ledger.Substitution{
				Code: fmt.Sprintf("new.%d", i), Specification: storetest.Stainless, Needs: "washers", ApprovedBy: "R. Shah",
				Permitted: ledger.Fastener{Thread: "M10x1.5", LengthMillimetres: 45, Material: ledger.Stainless304, PropertyClass: "A2-70", Coating: "plain", Head: "hex"},
			}
		},
		other:       func(v *ledger.Substitution) { v.Specification, v.TorqueNewtonMetres = storetest.Galvanized, 28.5 },
		spoil:       func(v *ledger.Substitution) { v.ApprovedBy, v.TorqueNewtonMetres = "", -1 },
		wrong:       []string{"approved_by", "torque_newton_metres"},
		rename:      func(v *ledger.Substitution) { v.Code = "neww.0" },
		resource:    func(v ledger.Substitution) string { return "substitutions/" + v.Code },
		short:       func(v ledger.Substitution) string { return v.Code },
		revision:    func(v *ledger.Substitution) *ledger.Revision { return &v.Revision },
		registerAll: (*store.Store).RegisterSubstitutions,
		page: func(s *store.Store, ctx context.Context, p store.Page) ([]ledger.Substitution, string, error) {
			return s.Substitutions(ctx, store.SubstitutionFilter{}, p)
		},
	}
	k.get, k.update = byName(func(v ledger.Substitution) string { return v.Code }, (*store.Store).Substitution, (*store.Store).UpdateSubstitution)
	return k
}()

// Batches and substitutions go through what every kind of thing goes through.
func TestConsumablesAreThings(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		for _, k := range []thingTests{batchKind, substitutionKind} {
			for name, test := range map[string]func(*testing.T, storetest.Engine){
				"register": k.register, "change": k.change, "requests": k.requests, "validateOnly": k.validateOnly, "list": k.list,
			} {
				t.Run(k.kind()+"/"+name, func(t *testing.T) { t.Parallel(); test(t, e) })
			}
		}
	})
}

// A limit of zero degrees is not an absent one, on the way in, out and back.
func TestBatchLimits(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		s := storetest.OpenFleet(t, e.NewConfig(t))
		zero, ten := 0.0, 10.0
		b := ledger.Batch{Number: "S-1", Kind: ledger.ConsumableStripSealant, MinimumCelsius: &zero}
		outcomes, err := s.RegisterBatches(ctx, []ledger.Batch{b}, store.Change{})
		wantStates(t, outcomes, err, store.Taken)
		for _, other := range []ledger.Batch{
			{Number: "S-1", Kind: ledger.ConsumableStripSealant},
			{Number: "S-1", Kind: ledger.ConsumableStripSealant, MinimumCelsius: &ten},
			{Number: "S-1", Kind: ledger.ConsumableStripSealant, MinimumCelsius: &zero, MaximumCelsius: &ten},
		} {
			outcomes, err := s.RegisterBatches(ctx, []ledger.Batch{other}, store.Change{})
			wantStates(t, outcomes, err, store.Refused)
			wantError(t, outcomes[0].Err, ledger.KindExists, ledger.ReasonResourceExists, "S-1")
		}
		for _, limits := range [][2]*float64{{&zero, &ten}, {nil, &zero}, {nil, nil}, {&zero, nil}} {
			if _, err := s.UpdateBatch(ctx, "S-1", 0, store.Change{}, func(v *ledger.Batch) error {
				v.MinimumCelsius, v.MaximumCelsius = limits[0], limits[1]
				return nil
			}); err != nil {
				t.Fatal(err)
			}
			got, err := s.Batch(ctx, "S-1")
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(limits, [2]*float64{got.MinimumCelsius, got.MaximumCelsius}); diff != "" {
				t.Errorf("limits (-set +read):\n%s", diff)
			}
		}
	})
}

func TestConsumableFilters(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		s := storetest.OpenFleet(t, e.NewConfig(t))
		outcomes, err := s.RegisterBatches(ctx, []ledger.Batch{
			{Number: "B-2", Kind: ledger.ConsumableAntiSeize}, {Number: "B-1", Kind: ledger.ConsumableAntiSeize}, {Number: "B-3", Kind: ledger.ConsumableSolvent},
		}, store.Change{})
		wantStates(t, outcomes, err, store.Taken, store.Taken, store.Taken)
		found, _, err := s.Batches(ctx, store.BatchFilter{Kind: ledger.ConsumableAntiSeize}, store.Page{Size: 10})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff([]string{"B-1", "B-2"}, mapped(found, func(b ledger.Batch) string { return b.Number })); diff != "" {
			t.Errorf("anti-seize (-want +got):\n%s", diff)
		}
		here, there := substitutionKind.fresh(1), substitutionKind.fresh(2)
		there.Specification = storetest.Galvanized
		outcomes, err = s.RegisterSubstitutions(ctx, []ledger.Substitution{here, there}, store.Change{})
		wantStates(t, outcomes, err, store.Taken, store.Taken)
		permitted, _, err := s.Substitutions(ctx, store.SubstitutionFilter{Specification: storetest.Galvanized}, store.Page{Size: 10})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff([]string{there.Code}, mapped(permitted, func(v ledger.Substitution) string { return v.Code })); diff != "" {
			t.Errorf("for one specification (-want +got):\n%s", diff)
		}
		_, _, err = s.Substitutions(ctx, store.SubstitutionFilter{Specification: "SS-M10-STX"}, store.Page{Size: 10})
		wantUnknown(t, err, "specifications/SS-M10-STX", storetest.Stainless)
		stray := substitutionKind.fresh(3)
		stray.Specification = "SS-M10-STX"
		outcomes, err = s.RegisterSubstitutions(ctx, []ledger.Substitution{stray}, store.Change{})
		wantStates(t, outcomes, err, store.Refused)
		wantUnknown(t, outcomes[0].Err, "specifications/SS-M10-STX", storetest.Stainless)
	})
}
