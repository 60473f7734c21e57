package store_test

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// testReferencesOfThings names things that do not exist, on registering and on
// changing.
func testReferencesOfThings(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	tower := towerKind.fresh(0)
	tower.Place.Site = "RVBB"
	outcomes, err := s.RegisterTowers(ctx, []ledger.Tower{tower, towerKind.fresh(0)}, store.Change{})
	wantStates(t, outcomes, err, store.Refused, store.Taken)
	wantUnknown(t, outcomes[0].Err, "sites/RVBB", "RVB")

	cell := cellKind.fresh(0)
	cell.Place.Tower = "CT22"
	outcomes, err = s.RegisterCells(ctx, []ledger.Cell{cell}, store.Change{})
	wantStates(t, outcomes, err, store.Refused)
	wantUnknown(t, outcomes[0].Err, "sites/RVB/towers/CT22", "CT2")

	joint, unspecified := jointKind.fresh(0), jointKind.fresh(1)
	joint.Place.Cell, unspecified.Specification = "C9", "GS-M16-STRR"
	outcomes, err = s.RegisterJoints(ctx, []ledger.Joint{joint, unspecified, jointKind.fresh(2)}, store.Change{})
	wantStates(t, outcomes, err, store.Refused, store.Refused, store.Taken)
	wantUnknown(t, outcomes[0].Err, "sites/RVB/towers/CT2/cells/C9", "C1")
	wantUnknown(t, outcomes[1].Err, "specifications/GS-M16-STRR", storetest.Galvanized)
	_, err = s.UpdateJoint(ctx, jointKind.fresh(2).Place, 1, store.Change{}, func(j *ledger.Joint) error { j.Specification = "GS-M16-STRR"; return nil })
	wantUnknown(t, err, "specifications/GS-M16-STRR", storetest.Galvanized)

	tool := toolKind.fresh(0)
	tool.HomeSite = "KVRR"
	outcomes, err = s.RegisterTools(ctx, []ledger.Tool{tool}, store.Change{})
	wantStates(t, outcomes, err, store.Refused)
	wantUnknown(t, outcomes[0].Err, "sites/KVRR", "KVR")
	_, err = s.UpdateTool(ctx, storetest.DenverWrench, 0, store.Change{ValidateOnly: true}, func(v *ledger.Tool) error { v.HomeSite = "KVRR"; return nil })
	wantUnknown(t, err, "sites/KVRR", "KVR")

	person := personKind.fresh(0)
	person.HomeSite = "KVRR"
	outcomes, err = s.RegisterPeople(ctx, []ledger.Person{person}, store.Change{})
	wantStates(t, outcomes, err, store.Refused)
	wantUnknown(t, outcomes[0].Err, "sites/KVRR", "KVR")
	_, err = s.UpdatePerson(ctx, storetest.DenverPerson, 0, store.Change{}, func(v *ledger.Person) error { v.HomeSite = "KVRR"; return nil })
	wantUnknown(t, err, "sites/KVRR", "KVR")

	// Things of one batch may lie in one another only across calls; a name that a
	// refused member would have had stays free.
	outcomes, err = s.RegisterTools(ctx, []ledger.Tool{toolKind.fresh(0)}, store.Change{})
	wantStates(t, outcomes, err, store.Taken)
}

func testSpecificationRevisions(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	first, err := s.Specification(ctx, storetest.Stainless, 0)
	if err != nil {
		t.Fatal(err)
	}
	wants := []ledger.Specification{first}
	for torque := range 3 {
		v, err := s.UpdateSpecification(ctx, storetest.Stainless, torque+1, store.Change{}, func(v *ledger.Specification) error {
			v.TorqueNewtonMetres = 33 + float64(torque)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		wants = append(wants, v)
	}
	revisions, err := s.SpecificationRevisions(ctx, storetest.Stainless)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(wants, revisions); diff != "" {
		t.Errorf("all revisions (-as each was made +read now):\n%s", diff)
	}
	for i, want := range wants {
		got, err := s.Specification(ctx, storetest.Stainless, i+1)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("revision %d (-as it was made +read now):\n%s", i+1, diff)
		}
	}
	if got, err := s.Specification(ctx, storetest.Stainless, 0); err != nil || got.Version != 4 || got.TorqueNewtonMetres != 35 {
		t.Errorf("the newest: %+v, %v; expected revision 4 with 35 N.m", got, err)
	}
	list, _, err := s.Specifications(ctx, store.SpecificationFilter{}, store.Page{Size: 10})
	if err != nil || len(list) != 3 {
		t.Errorf("%d specifications, %v; expected 3, whatever their revisions", len(list), err)
	}
	_, err = s.Specification(ctx, storetest.Stainless, 5)
	wantUnknown(t, err, "specifications/SS-M10-STR@5", "SS-M10-STR@4")
	_, err = s.SpecificationRevisions(ctx, "SS-M10")
	wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)
}

// testZeroIsNotAbsentInThings tells 0 °C from no limit at all.
func testZeroIsNotAbsentInThings(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	seam, err := s.Specification(ctx, storetest.Seam, 0)
	if err != nil || seam.MinimumSurfaceCelsius == nil || *seam.MinimumSurfaceCelsius != 0 {
		t.Fatalf("minimum surface %v, %v; expected 0 °C", seam.MinimumSurfaceCelsius, err)
	}
	absent := seam
	absent.MinimumSurfaceCelsius = nil
	outcomes, err := s.RegisterSpecifications(ctx, []ledger.Specification{seam, absent}, store.Change{})
	wantStates(t, outcomes, err, store.AlreadyKnown, store.Refused)
	got, err := s.UpdateSpecification(ctx, storetest.Seam, 1, store.Change{}, func(v *ledger.Specification) error {
		v.MinimumSurfaceCelsius = nil
		return nil
	})
	if err != nil || got.Version != 2 {
		t.Fatalf("version %d, %v; taking the limit away is a change", got.Version, err)
	}
	if got, err = s.Specification(ctx, storetest.Seam, 0); err != nil || got.MinimumSurfaceCelsius != nil {
		t.Errorf("minimum surface %v, %v; expected none", got.MinimumSurfaceCelsius, err)
	}
	if got, err = s.Specification(ctx, storetest.Seam, 1); err != nil || got.MinimumSurfaceCelsius == nil {
		t.Errorf("minimum surface of the first revision %v, %v; expected 0 °C", got.MinimumSurfaceCelsius, err)
	}
}

// testNamesNobodyCouldGive asks for names with bytes that no thing can have and
// that PostgreSQL takes in no text: they are unknown, on every engine.
func testNamesNobodyCouldGive(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	for _, name := range []string{"a\x00b", "\xff\xfe", "'; DROP TABLE lots; --", "?", "%", "$1", ""} {
		_, err := s.Lot(ctx, name)
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)
		_, err = s.LotStock(ctx, name)
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)
		_, err = s.Site(ctx, name)
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)
		_, err = s.Joint(ctx, ledger.Place{Site: storetest.Denver, Tower: "CT1", Cell: "C1", Joint: name})
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)
		_, err = s.UpdatePerson(ctx, name, 0, store.Change{}, func(*ledger.Person) error { return nil })
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)
		if name == "" {
			continue // an empty filter is none
		}
		if lots, _, err := s.Lots(ctx, store.LotFilter{Supplier: name, Thread: name}, store.Page{Size: 5}); err != nil || len(lots) > 0 {
			t.Errorf("lots of supplier %q: %v, %v; expected none", name, lots, err)
		}
		if sites, _, err := s.Sites(ctx, store.SiteFilter{Region: name}, store.Page{Size: 5}); err != nil || len(sites) > 0 {
			t.Errorf("sites of region %q: %v, %v; expected none", name, sites, err)
		}
		_, _, err = s.Records(ctx, store.RecordFilter{Kind: ledger.KindTightening, Tool: name}, store.Page{Size: 5})
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)
	}
	if lots, _, err := s.Lots(ctx, store.LotFilter{}, store.Page{Size: 5}); err != nil || len(lots) != 3 {
		t.Errorf("%d lots, %v; expected 3", len(lots), err)
	}
}
