package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/fleetgen"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// fleetTorque is what every specification of the fleet asks for, and every record says:
// within the range of the small and of the large wrench.
const fleetTorque = 40.0

// fleetDays is about how long the crews of a fleet take for so many attempts, with some
// days to spare: the last of them must not lie ahead.
func fleetDays(attempts, crews int) int { return attempts/(crews*240) + 10 }

// specName is the code of the specification of a kind of joint.
func specName(material, kind, thread string) string {
	return strings.ToUpper(fmt.Sprintf("%s-%s-%s", material, kind, thread))
}

// wordOf is the number of a word of the trade; the generator knows no other words.
func wordOf[T ~uint8](words ledger.Words[T], word string) int {
	v, err := words.Parse(word)
	if err != nil {
		panic(err)
	}
	return int(v)
}

func fleetFastener(material, thread string) ledger.Fastener {
	m := ledger.Material(wordOf(ledger.Materials, material))
	f := ledger.Fastener{Thread: thread, LengthMillimetres: 30, Material: m, PropertyClass: "A2-70"}
	if !m.Stainless() {
		f.PropertyClass = "8.8"
	}
	return f
}

// allAt has all tools calibrated at a moment.
func allAt(at time.Time) func(int) time.Time { return func(int) time.Time { return at } }

// monthByMonth has a twelfth of the tools calibrated each month of the last year: the
// calibrations of the oldest run out within the next.
func monthByMonth(now time.Time) func(tool int) time.Time {
	return func(tool int) time.Time { return now.AddDate(0, -(tool % 12), -20) }
}

// registerFleet registers sites, specifications, lots, tools with a calibration each
// at the moment given, and people; and, when stocked, what the sites received of their
// lots. Work that is recorded thereafter then breaks no rule but for the crews that left
// the anti-seize out.
func registerFleet(ctx context.Context, s *store.Store, f *fleetgen.Fleet, calibrated func(tool int) time.Time, stocked bool) error {
	var sites []ledger.Site
	for _, v := range f.Sites() {
		sites = append(sites, ledger.Site{Code: v.Code, Name: v.Code, Region: v.Region, TimeZone: v.TimeZone, Status: ledger.SiteActive, Units: ledger.UnitsSI})
	}
	var tools []ledger.Tool
	var people []ledger.Person
	var records []ledger.Record
	for _, v := range f.Tools() {
		tools = append(tools, ledger.Tool{Serial: v.Serial, Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: v.MinNewtonMetres,
			MaximumNewtonMetres: v.MaxNewtonMetres, HomeSite: v.Site, IntervalMonths: 12, IntervalCycles: 100_000})
		people = append(people, ledger.Person{ID: strings.ToLower(v.Person), HomeSite: v.Site, Qualifications: []ledger.Qualification{{Task: "bolting"}}})
		records = append(records, calibratedOver(v.Serial, v.MinNewtonMetres, v.MaxNewtonMetres, calibrated(len(records))))
	}
	var lots []ledger.Lot
	for v := range f.Lots() {
		lots = append(lots, ledger.Lot{Number: v.Lot, Supplier: "Bench", Fastener: fleetFastener(v.Material, v.Thread), State: ledger.LotReleased})
	}
	if stocked {
		records = append(records, stock(f, calibrated(0))...)
	}
	for _, step := range []func() ([]store.Outcome, error){
		func() ([]store.Outcome, error) { return s.RegisterSites(ctx, sites, store.Change{}) },
		func() ([]store.Outcome, error) { return s.RegisterSpecifications(ctx, fleetKinds(), store.Change{}) },
		func() ([]store.Outcome, error) { return s.RegisterLots(ctx, lots, store.Change{}) },
		func() ([]store.Outcome, error) { return s.RegisterTools(ctx, tools, store.Change{}) },
		func() ([]store.Outcome, error) { return s.RegisterPeople(ctx, people, store.Change{}) },
		func() ([]store.Outcome, error) { return s.Record(ctx, records, store.Change{}) },
	} {
		if err := allTaken(step()); err != nil {
			return err
		}
	}
	return nil
}

// fleetKinds are the specifications of the kinds of joint that the generator draws.
func fleetKinds() (kinds []ledger.Specification) {
	for _, k := range []struct {
		material, kind, thread string
		treatment              ledger.Treatment
		basis                  ledger.TorqueBasis
	}{
		{fleetgen.MaterialStainless, "structural", "M10", ledger.TreatmentAntiSeize, ledger.BasisLubricated},
		{fleetgen.MaterialStainless, "seam", "M8", ledger.TreatmentAntiSeize, ledger.BasisLubricated},
		{fleetgen.MaterialGalvanised, "structural", "M12", ledger.TreatmentThreadLocking, ledger.BasisLubricated},
		{fleetgen.MaterialGalvanised, "seam", "M8", ledger.TreatmentNone, ledger.BasisDry},
		{fleetgen.MaterialGalvanised, "mechanical", "M16", ledger.TreatmentThreadLocking, ledger.BasisLubricated},
	} {
		kinds = append(kinds, ledger.Specification{Code: specName(k.material, k.kind, k.thread), Fastener: fleetFastener(k.material, k.thread), Treatment: k.treatment,
			Locking: ledger.LockingNone, TorqueNewtonMetres: fleetTorque, TorqueTolerancePercent: 10, TorqueBasis: k.basis})
	}
	return kinds
}

// stock has every site receive enough of each lot of its pool.
func stock(f *fleetgen.Fleet, at time.Time) (received []ledger.Record) {
	for v := range f.Lots() {
		var pool int
		if _, err := fmt.Sscanf(v.Lot, "L%d", &pool); err != nil {
			panic(err) // the generator spells them so
		}
		sites := f.Sites()[(pool-1)*fleetgen.SitesPerPool:]
		for _, s := range sites[:min(len(sites), fleetgen.SitesPerPool)] {
			received = append(received, &ledger.LotMovement{Entry: ledger.Entry{ID: uuid.Must(uuid.NewV7()), OccurTime: ledger.Microseconds(at)},
				Lot: v.Lot, Site: s.Code, Kind: ledger.MovementReceived, Quantity: ledger.MaxQuantity})
		}
	}
	return received
}

// calibratedOver proves a wrench at the ends and the middle of its range.
func calibratedOver(serial string, least, greatest float64, at time.Time) *ledger.Calibration {
	c := calibration(serial)
	c.OccurTime = ledger.Microseconds(at)
	for i, target := range []float64{least, (least + greatest) / 2, greatest} {
		c.Points[i].TargetNewtonMetres, c.Points[i].ExpandedUncertaintyNewtonMetres = target, target/100
		c.Points[i].ReadingsNewtonMetres = []float64{target, target, target, target, target}
	}
	return c
}
