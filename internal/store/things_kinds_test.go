package store_test

import (
	"context"
	"fmt"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// kindOfThing is one kind of thing as the tests see it. Beside it the fleet is
// registered, so that things have something to lie in.
type kindOfThing[T any] struct {
	name string
	// fresh makes the i-th thing that is not in the fleet.
	fresh func(i int) T
	// other changes the content, and spoil makes the named fields wrong.
	other func(*T)
	spoil func(*T)
	wrong []string
	// rename gives the thing a name that is unknown but near to that of fresh(0).
	rename func(*T)

	resource func(T) string
	short    func(T) string
	revision func(*T) *ledger.Revision

	registerAll func(*store.Store, context.Context, []T, store.Change) ([]store.Outcome, error)
	get         func(*store.Store, context.Context, T) (T, error)
	update      func(*store.Store, context.Context, T, int, store.Change, func(*T) error) (T, error)
	page        func(*store.Store, context.Context, store.Page) ([]T, string, error)
}

// thingTests are the tests that each kind of thing goes through.
type thingTests interface {
	kind() string
	register(*testing.T, storetest.Engine)
	change(*testing.T, storetest.Engine)
	requests(*testing.T, storetest.Engine)
	validateOnly(*testing.T, storetest.Engine)
	list(*testing.T, storetest.Engine)
}

func (k kindOfThing[T]) kind() string { return k.name }

// eachKind runs one of the tests for each kind of thing.
func eachKind(test func(thingTests, *testing.T, storetest.Engine)) func(*testing.T, storetest.Engine) {
	return func(t *testing.T, e storetest.Engine) {
		for _, k := range []thingTests{siteKind, towerKind, cellKind, jointKind, specificationKind, lotKind, toolKind, personKind} {
			t.Run(k.kind(), func(t *testing.T) {
				t.Parallel()
				test(k, t, e)
			})
		}
	}
}

// byName reads and changes a thing that is known by a name of type K.
func byName[T, K any](key func(T) K, get func(*store.Store, context.Context, K) (T, error),
	update func(*store.Store, context.Context, K, int, store.Change, func(*T) error) (T, error)) (
	func(*store.Store, context.Context, T) (T, error),
	func(*store.Store, context.Context, T, int, store.Change, func(*T) error) (T, error),
) {
	return func(s *store.Store, ctx context.Context, v T) (T, error) { return get(s, ctx, key(v)) },
		func(s *store.Store, ctx context.Context, v T, version int, c store.Change, apply func(*T) error) (T, error) {
			return update(s, ctx, key(v), version, c, apply)
		}
}

var siteKind = func() kindOfThing[ledger.Site] {
	k := kindOfThing[ledger.Site]{
		name: "site",
		fresh: func(i int) ledger.Site {
			return ledger.Site{Code: fmt.Sprintf("NEW-%d", i), Name: "New site", Region: "coast", TimeZone: "Europe/Dublin", Status: ledger.SitePlanned, Units: ledger.UnitsSI}
		},
		other:       func(s *ledger.Site) { s.Region, s.Status = "islands", ledger.SiteClosed },
		spoil:       func(s *ledger.Site) { s.Name, s.TimeZone, s.Units = "", "Local", 0 },
		wrong:       []string{"display_name", "time_zone", "unit_preference"},
		rename:      func(s *ledger.Site) { s.Code = "NEWW-0" },
		resource:    func(s ledger.Site) string { return "sites/" + s.Code },
		short:       func(s ledger.Site) string { return s.Code },
		revision:    func(s *ledger.Site) *ledger.Revision { return &s.Revision },
		registerAll: (*store.Store).RegisterSites,
		page: func(s *store.Store, ctx context.Context, p store.Page) ([]ledger.Site, string, error) {
			return s.Sites(ctx, store.SiteFilter{}, p)
		},
	}
	k.get, k.update = byName(func(s ledger.Site) string { return s.Code }, (*store.Store).Site, (*store.Store).UpdateSite)
	return k
}()

var towerKind = func() kindOfThing[ledger.Tower] {
	k := kindOfThing[ledger.Tower]{
		name: "tower",
		fresh: func(i int) ledger.Tower {
			return ledger.Tower{Place: ledger.Place{Site: storetest.Denver, Tower: fmt.Sprintf("NEW-%d", i)}, Material: ledger.FibreReinforced, PlannedStart: "2026-02-28"}
		},
		other:       func(v *ledger.Tower) { v.Drawing, v.PlannedFinish = "D-77 rev B", "2026-12-01" },
		spoil:       func(v *ledger.Tower) { v.Material, v.PlannedStart, v.PlannedFinish = 0, "2026-02-30", "tomorrow" },
		wrong:       []string{"material", "planned_start", "planned_finish"},
		rename:      func(v *ledger.Tower) { v.Place.Tower = "NEWW-0" },
		resource:    func(v ledger.Tower) string { return v.Place.Resource() },
		short:       func(v ledger.Tower) string { return v.Place.String() },
		revision:    func(v *ledger.Tower) *ledger.Revision { return &v.Revision },
		registerAll: (*store.Store).RegisterTowers,
		page: func(s *store.Store, ctx context.Context, p store.Page) ([]ledger.Tower, string, error) {
			return s.Towers(ctx, store.PlaceFilter{Within: ledger.Place{Site: storetest.Denver}}, p)
		},
	}
	k.get, k.update = byName(func(v ledger.Tower) ledger.Place { return v.Place }, (*store.Store).Tower, (*store.Store).UpdateTower)
	return k
}()

var cellKind = func() kindOfThing[ledger.Cell] {
	k := kindOfThing[ledger.Cell]{
		name: "cell",
		fresh: func(i int) ledger.Cell {
			return ledger.Cell{Place: ledger.Place{Site: storetest.Denver, Tower: "CT2", Cell: fmt.Sprintf("NEW-%d", i)}}
		},
		other:       func(v *ledger.Cell) { v.Description = "north end" },
		spoil:       func(v *ledger.Cell) { v.Description = "north\x00end" },
		wrong:       []string{"description"},
		rename:      func(v *ledger.Cell) { v.Place.Cell = "NEWW-0" },
		resource:    func(v ledger.Cell) string { return v.Place.Resource() },
		short:       func(v ledger.Cell) string { return v.Place.String() },
		revision:    func(v *ledger.Cell) *ledger.Revision { return &v.Revision },
		registerAll: (*store.Store).RegisterCells,
		page: func(s *store.Store, ctx context.Context, p store.Page) ([]ledger.Cell, string, error) {
			return s.Cells(ctx, store.PlaceFilter{Within: ledger.Place{Site: storetest.Denver, Tower: "CT2"}}, p)
		},
	}
	k.get, k.update = byName(func(v ledger.Cell) ledger.Place { return v.Place }, (*store.Store).Cell, (*store.Store).UpdateCell)
	return k
}()

var jointKind = func() kindOfThing[ledger.Joint] {
	k := kindOfThing[ledger.Joint]{
		name: "joint",
		fresh: func(i int) ledger.Joint {
			return ledger.Joint{Place: ledger.Place{Site: storetest.Denver, Tower: "CT2", Cell: "C1", Joint: fmt.Sprintf("NEW-%d", i)},
				Kind: ledger.JointStructural, Specification: storetest.Galvanized, Fasteners: 12}
		},
		other:       func(v *ledger.Joint) { v.Critical, v.PartA, v.Specification = true, "girt", storetest.Stainless },
		spoil:       func(v *ledger.Joint) { v.Kind, v.Specification, v.Fasteners = 0, "", 0 },
		wrong:       []string{"kind", "specification", "fasteners"},
		rename:      func(v *ledger.Joint) { v.Place.Joint = "NEWW-0" },
		resource:    func(v ledger.Joint) string { return v.Place.Resource() },
		short:       func(v ledger.Joint) string { return v.Place.String() },
		revision:    func(v *ledger.Joint) *ledger.Revision { return &v.Revision },
		registerAll: (*store.Store).RegisterJoints,
		page: func(s *store.Store, ctx context.Context, p store.Page) ([]ledger.Joint, string, error) {
			return s.Joints(ctx, store.JointFilter{Within: ledger.Place{Site: storetest.Denver, Tower: "CT2"}}, p)
		},
	}
	k.get, k.update = byName(func(v ledger.Joint) ledger.Place { return v.Place }, (*store.Store).Joint, (*store.Store).UpdateJoint)
	return k
}()
