package storetest

import (
	"context"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// Names of the fleet that tests speak of most.
const (
	Denver  = "RVB" // America/Denver: 7 h behind UTC, 6 h in summer
	Kolkata = "KVR" // Asia/Kolkata: 5 h 30 min ahead, all year

	DenverJoint  = "RVB/CT1/C1/J001" // stainless
	KolkataJoint = "KVR/CT1/C1/J001" // stainless

	Stainless  = "SS-M10-STR"
	Galvanized = "GS-M16-STR"
	Seam       = "SS-SEAM"

	StainlessLot      = "M10-316-4471"
	OtherStainlessLot = "M10-316-5120"
	GalvanizedLot     = "M16-HDG-0093"

	DenverWrench  = "TW-0107"
	KolkataWrench = "TW-0212"
	ImpactWrench  = "IW-0031" // without any due policy

	DenverPerson  = "a.reyes"
	KolkataPerson = "p.nair"
	Visitor       = "jt4" // belongs to no site
)

// Fleet is a small fleet, in the order in which it can be registered. All of it
// is invented.
type Fleet struct {
	Sites          []ledger.Site
	Specifications []ledger.Specification
	Lots           []ledger.Lot
	Tools          []ledger.Tool
	People         []ledger.Person
	Towers         []ledger.Tower
	Cells          []ledger.Cell
	Joints         []ledger.Joint
}

// NewFleet gives two sites in different time zones with all that records name.
func NewFleet() Fleet {
	f := Fleet{
		Sites: []ledger.Site{
			{Code: Denver, Name: "Riverbend", Region: "mountain", TimeZone: "America/Denver", Status: ledger.SiteActive, Units: ledger.UnitsUSCustomary},
			{Code: Kolkata, Name: "Kaveri", Region: "south", TimeZone: "Asia/Kolkata", Status: ledger.SiteActive, Units: ledger.UnitsSI},
		},
		Specifications: specifications(),
		Lots: []ledger.Lot{
			{Number: StainlessLot, Supplier: "Alder", Heat: "H-2207", Fastener: m10(), State: ledger.LotReleased},
			{Number: OtherStainlessLot, Supplier: "Birch", Fastener: m10(), Description: "second delivery", State: ledger.LotReleased},
			{Number: GalvanizedLot, Supplier: "Birch", Heat: "H-0093", Fastener: m16(), State: ledger.LotReleased},
		},
		Tools: []ledger.Tool{
			{Serial: DenverWrench, Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 20, MaximumNewtonMetres: 100,
				ResolutionNewtonMetres: 0.5, HomeSite: Denver, IntervalMonths: 12, IntervalCycles: 5000, DueAfterEvent: true},
			{Serial: KolkataWrench, Kind: ledger.ToolTorqueWrench, TypeClass: "I-C", MinimumNewtonMetres: 40, MaximumNewtonMetres: 200,
				HomeSite: Kolkata, IntervalMonths: 6},
			{Serial: ImpactWrench, Kind: ledger.ToolImpactWrench, HomeSite: Denver},
		},
		People: []ledger.Person{
			{ID: DenverPerson, Name: "A. Reyes", Employer: "Northgate Erectors", HomeSite: Denver,
				Roles:          []ledger.Role{ledger.RoleTechnician, ledger.RoleSiteLead},
				Qualifications: []ledger.Qualification{{Task: "bolting", ExpireDate: "2027-06-30"}, {Task: "sealing"}}},
			{ID: KolkataPerson, Name: "P. Nair", HomeSite: Kolkata, Roles: []ledger.Role{ledger.RoleTechnician}},
			{ID: Visitor},
		},
	}
	for _, t := range []string{"RVB/CT1", "RVB/CT2", "KVR/CT1"} {
		f.Towers = append(f.Towers, ledger.Tower{Place: place(t), Material: ledger.Stainless316, Drawing: "D-" + place(t).Tower,
			PlannedStart: "2026-01-12", PlannedFinish: "2026-11-30"})
	}
	for _, c := range []string{"RVB/CT1/C1", "RVB/CT1/C2", "RVB/CT2/C1", "KVR/CT1/C1"} {
		f.Cells = append(f.Cells, ledger.Cell{Place: place(c), Description: "cell " + place(c).Cell})
		f.Joints = append(f.Joints,
			ledger.Joint{Place: place(c + "/J001"), Kind: ledger.JointStructural, Critical: true, PartA: "column", PartB: "beam", Specification: Stainless, Fasteners: 24},
			ledger.Joint{Place: place(c + "/J002"), Kind: ledger.JointMechanical, PartA: "fan deck", PartB: "gearbox base", Specification: Galvanized, Fasteners: 8},
			ledger.Joint{Place: place(c + "/J003"), Kind: ledger.JointSeam, Specification: Seam, Fasteners: 40})
	}
	return f
}

func m10() ledger.Fastener {
	return ledger.Fastener{Thread: "M10x1.5", LengthMillimetres: 40, Material: ledger.Stainless316, PropertyClass: "A4-70", Coating: "plain", Head: "hex"}
}

func m16() ledger.Fastener {
	return ledger.Fastener{Thread: "M16x2", LengthMillimetres: 65, Material: ledger.GalvanizedSteel, PropertyClass: "8.8", Coating: "hot-dip", Head: "hex"}
}

func specifications() []ledger.Specification {
	freezing := 0.0
	return []ledger.Specification{
		{Code: Stainless, Fastener: m10(), Treatment: ledger.TreatmentAntiSeize, Locking: ledger.LockingNone, TorqueNewtonMetres: 32,
			TorqueTolerancePercent: 10, TorqueBasis: ledger.BasisLubricated, NutFactor: 0.14, TorqueToolRequired: true},
		{Code: Galvanized, Fastener: m16(), Treatment: ledger.TreatmentNone, Locking: ledger.LockingWasher, TorqueNewtonMetres: 150,
			TorqueTolerancePercent: 15, TorqueBasis: ledger.BasisDry},
		{Code: Seam, Fastener: ledger.Fastener{Thread: "ST4.8", Material: ledger.Stainless304}, Treatment: ledger.TreatmentNone,
			Locking: ledger.LockingNone, TorqueNewtonMetres: 4.5, TorqueTolerancePercent: 20, TorqueBasis: ledger.BasisDry,
			Sealant: "polyurethane", SealWidthMillimetres: 9.5, MinimumSurfaceCelsius: &freezing},
	}
}

func place(text string) ledger.Place {
	p, err := ledger.ParsePlace(text)
	if err != nil {
		panic(err)
	}
	return p
}

// Register takes the fleet into a store; every part of it must be new.
func (f Fleet) Register(tb testing.TB, s *store.Store) {
	tb.Helper()
	ctx := context.Background()
	taken(tb, "sites")(s.RegisterSites(ctx, f.Sites, store.Change{}))
	taken(tb, "specifications")(s.RegisterSpecifications(ctx, f.Specifications, store.Change{}))
	taken(tb, "lots")(s.RegisterLots(ctx, f.Lots, store.Change{}))
	taken(tb, "tools")(s.RegisterTools(ctx, f.Tools, store.Change{}))
	taken(tb, "people")(s.RegisterPeople(ctx, f.People, store.Change{}))
	taken(tb, "towers")(s.RegisterTowers(ctx, f.Towers, store.Change{}))
	taken(tb, "cells")(s.RegisterCells(ctx, f.Cells, store.Change{}))
	taken(tb, "joints")(s.RegisterJoints(ctx, f.Joints, store.Change{}))
}

func taken(tb testing.TB, what string) func([]store.Outcome, error) {
	return func(outcomes []store.Outcome, err error) {
		tb.Helper()
		if err != nil {
			tb.Fatalf("%s: %v", what, err)
		}
		for i, o := range outcomes {
			if o.State != store.Taken {
				tb.Fatalf("%s[%d]: state %d, %v", what, i, o.State, o.Err)
			}
		}
	}
}

// OpenFleet opens the store and registers the fleet.
func OpenFleet(tb testing.TB, c store.Config) *store.Store {
	tb.Helper()
	s := Open(tb, c)
	NewFleet().Register(tb, s)
	return s
}

// Record keeps records, every one of which must be new.
func Record(tb testing.TB, s *store.Store, records ...ledger.Record) {
	tb.Helper()
	taken(tb, "records")(s.Record(context.Background(), records, store.Change{}))
}
