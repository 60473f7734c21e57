package store_test

import (
	"context"
	"fmt"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

var specificationKind = func() kindOfThing[ledger.Specification] {
	k := kindOfThing[ledger.Specification]{
		name: "specification",
		fresh: func(i int) ledger.Specification {
			return ledger.Specification{Code: fmt.Sprintf("new.%d", i), Fastener: ledger.Fastener{Thread: "M12", Material: ledger.Stainless304},
				Treatment: ledger.TreatmentAntiSeize, Locking: ledger.LockingJamNut, TorqueNewtonMetres: 55, TorqueTolerancePercent: 10, TorqueBasis: ledger.BasisLubricated}
		},
		other: func(v *ledger.Specification) { v.TorqueNewtonMetres, v.Fastener.Coating = 52.5, "waxed" },
		spoil: func(v *ledger.Specification) {
			v.Fastener.Thread, v.TorqueNewtonMetres, v.TorqueBasis, v.NutFactor = "", 0, 9, 1.5
		},
		wrong:       []string{"fastener.thread", "torque_newton_metres", "torque_basis", "nut_factor"},
		rename:      func(v *ledger.Specification) { v.Code = "neww.0" },
		resource:    func(v ledger.Specification) string { return "specifications/" + v.Code },
		short:       func(v ledger.Specification) string { return v.Code },
		revision:    func(v *ledger.Specification) *ledger.Revision { return &v.Revision },
		registerAll: (*store.Store).RegisterSpecifications,
		page: func(s *store.Store, ctx context.Context, p store.Page) ([]ledger.Specification, string, error) {
			return s.Specifications(ctx, store.SpecificationFilter{}, p)
		},
	}
	newest := func(s *store.Store, ctx context.Context, code string) (ledger.Specification, error) {
		return s.Specification(ctx, code, 0)
	}
	k.get, k.update = byName(func(v ledger.Specification) string { return v.Code }, newest, (*store.Store).UpdateSpecification)
	return k
}()

var lotKind = func() kindOfThing[ledger.Lot] {
	k := kindOfThing[ledger.Lot]{
		name: "lot",
		fresh: func(i int) ledger.Lot {
			return ledger.Lot{Number: fmt.Sprintf("new_%d", i), Supplier: "Cedar", Fastener: ledger.Fastener{Thread: "M12", Material: ledger.SiliconBronze}, State: ledger.LotReleased}
		},
		other:       func(v *ledger.Lot) { v.State, v.Fastener.LengthMillimetres = ledger.LotUsedUp, 50.8 },
		spoil:       func(v *ledger.Lot) { v.Supplier, v.Fastener.Material, v.Fastener.LengthMillimetres = "", 0, -1 },
		wrong:       []string{"supplier", "fastener.length_millimetres", "fastener.material"},
		rename:      func(v *ledger.Lot) { v.Number = "neww_0" },
		resource:    func(v ledger.Lot) string { return "lots/" + v.Number },
		short:       func(v ledger.Lot) string { return v.Number },
		revision:    func(v *ledger.Lot) *ledger.Revision { return &v.Revision },
		registerAll: (*store.Store).RegisterLots,
		page: func(s *store.Store, ctx context.Context, p store.Page) ([]ledger.Lot, string, error) {
			return s.Lots(ctx, store.LotFilter{}, p)
		},
	}
	k.get, k.update = byName(func(v ledger.Lot) string { return v.Number }, (*store.Store).Lot, (*store.Store).UpdateLot)
	return k
}()

var toolKind = func() kindOfThing[ledger.Tool] {
	k := kindOfThing[ledger.Tool]{
		name: "tool",
		fresh: func(i int) ledger.Tool {
			return ledger.Tool{Serial: fmt.Sprintf("NEW-%d", i), Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 5, MaximumNewtonMetres: 25, HomeSite: storetest.Denver, IntervalMonths: 12}
		},
		other:       func(v *ledger.Tool) { v.HomeSite, v.IntervalCycles, v.DueAfterEvent = storetest.Kolkata, 5000, true },
		spoil:       func(v *ledger.Tool) { v.TypeClass, v.MaximumNewtonMetres, v.HomeSite = "III-A", 1, "" },
		wrong:       []string{"type_class", "maximum_newton_metres", "home_site"},
		rename:      func(v *ledger.Tool) { v.Serial = "NEWW-0" },
		resource:    func(v ledger.Tool) string { return "tools/" + v.Serial },
		short:       func(v ledger.Tool) string { return v.Serial },
		revision:    func(v *ledger.Tool) *ledger.Revision { return &v.Revision },
		registerAll: (*store.Store).RegisterTools,
		page: func(s *store.Store, ctx context.Context, p store.Page) ([]ledger.Tool, string, error) {
			return s.Tools(ctx, store.ToolFilter{}, p)
		},
	}
	k.get, k.update = byName(func(v ledger.Tool) string { return v.Serial }, (*store.Store).Tool, (*store.Store).UpdateTool)
	return k
}()

var personKind = func() kindOfThing[ledger.Person] {
	k := kindOfThing[ledger.Person]{
		name: "person",
		fresh: func(i int) ledger.Person {
			return ledger.Person{ID: fmt.Sprintf("new.%d", i), Name: "N. Ewe", HomeSite: storetest.Kolkata, Roles: []ledger.Role{ledger.RoleCrib}}
		},
		other: func(v *ledger.Person) {
			v.HomeSite, v.Roles, v.Qualifications = "", nil, []ledger.Qualification{{Task: "rigging", ExpireDate: "2026-08-01"}}
		},
		spoil: func(v *ledger.Person) {
			v.HomeSite, v.Roles, v.Qualifications = "no site", []ledger.Role{ledger.RoleCrib, 99}, []ledger.Qualification{{ExpireDate: "soon"}}
		},
		wrong:       []string{"home_site", "roles[1]", "qualifications[0].task", "qualifications[0].expire_date"},
		rename:      func(v *ledger.Person) { v.ID = "neww.0" },
		resource:    func(v ledger.Person) string { return "people/" + v.ID },
		short:       func(v ledger.Person) string { return v.ID },
		revision:    func(v *ledger.Person) *ledger.Revision { return &v.Revision },
		registerAll: (*store.Store).RegisterPeople,
		page: func(s *store.Store, ctx context.Context, p store.Page) ([]ledger.Person, string, error) {
			return s.People(ctx, store.PersonFilter{}, p)
		},
	}
	k.get, k.update = byName(func(v ledger.Person) string { return v.ID }, (*store.Store).Person, (*store.Store).UpdatePerson)
	return k
}()
