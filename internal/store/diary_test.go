package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// Joints of the fleet's first cell, and a lot for its seam.
const (
	structural = "RVB/CT1/C1/J001" // critical, 24 stainless
	mechanical = "RVB/CT1/C1/J002" // 8 galvanised
	seam       = "RVB/CT1/C1/J003" // 40, with a sealant
	seamLot    = "ST-0042"
)

// diary records what happens on a site, one thing a minute: each of its methods
// keeps one record, which must be new, and gives it as it was sent.
type diary struct {
	t   testing.TB
	s   *store.Store
	now time.Time
}

// newDiary opens a store with the fleet, in which nothing stands in the way of
// sound work: the lots are there, the wrenches calibrated, the
// people qualified.
func newDiary(t *testing.T, e storetest.Engine) *diary {
	s := storetest.OpenFleet(t, e.NewConfig(t))
	ctx := context.Background()
	d := &diary{t, s, storetest.Occurred}
	seamFastener := ledger.Fastener{Thread: "ST4.8", Material: ledger.Stainless304}
	outcomes, err := s.RegisterLots(ctx, []ledger.Lot{{Number: seamLot, Supplier: "Cedar", Fastener: seamFastener, State: ledger.LotReleased}}, store.Change{})
	wantStates(t, outcomes, err, store.Taken)
	for _, id := range []string{storetest.DenverPerson, storetest.KolkataPerson} {
		if _, err := s.UpdatePerson(ctx, id, 0, store.Change{}, func(p *ledger.Person) error {
			p.Qualifications = []ledger.Qualification{{Task: "bolting"}, {Task: "sealing"}}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
	}
	for _, wrench := range []string{storetest.DenverWrench, storetest.KolkataWrench} {
		d.keep(storetest.NewCalibration(wrench))
	}
	for _, lot := range []string{storetest.StainlessLot, storetest.GalvanizedLot, seamLot} {
		d.keep(storetest.NewLotMovement(lot, storetest.Denver))
		d.keep(storetest.NewLotMovement(lot, storetest.Kolkata))
	}
	return d
}

// place reads the short form.
func (d *diary) place(text string) ledger.Place {
	d.t.Helper()
	p, err := ledger.ParsePlace(text)
	if err != nil {
		d.t.Fatal(err)
	}
	return p
}

// keep keeps a record, with a time after that of the record before. Its id and
// person stand when they are given.
func (d *diary) keep(r ledger.Record) store.Outcome {
	d.t.Helper()
	d.now = d.now.Add(time.Minute)
	e := ledger.Entry{ID: r.Head().ID, OccurTime: d.now, OffsetMinutes: -420, Person: r.Head().Person, Offline: true}
	if e.ID == uuid.Nil {
		e.ID = storetest.NewID()
	}
	if e.Person == "" {
		e.Person = storetest.DenverPerson
	}
	*r.Head() = e
	outcomes, err := d.s.Record(context.Background(), []ledger.Record{r}, store.Change{})
	if err != nil {
		d.t.Fatal(err)
	}
	if outcomes[0].State != store.Taken {
		d.t.Fatalf("%T: state %d, %v", r, outcomes[0].State, outcomes[0].Err)
	}
	return outcomes[0]
}

// tighten brings fasteners of a joint to torque in a first pass, soundly.
func (d *diary) tighten(joint string, fasteners int, changes ...func(*ledger.Tightening)) *ledger.Tightening {
	d.t.Helper()
	r := storetest.NewTightening(joint, func(r *ledger.Tightening) { r.Fasteners = fasteners })
	switch r.Joint.Joint {
	case "J002":
		torque := 150.0
		r.Lot, r.Treatment, r.CompoundBatch, r.TorqueNewtonMetres, r.TorqueAsTyped, r.Tool = storetest.GalvanizedLot, ledger.TreatmentNone, "", &torque, "150 N.m", storetest.KolkataWrench
	case "J003":
		r.Lot, r.Treatment, r.CompoundBatch, r.TorqueNewtonMetres, r.TorqueAsTyped, r.Tool = seamLot, ledger.TreatmentNone, "", nil, "", ""
	}
	for _, c := range changes {
		c(r)
	}
	d.keep(r)
	return r
}

func (d *diary) seal(joint string, changes ...func(*ledger.Sealing)) *ledger.Sealing {
	d.t.Helper()
	air, surface, humidity := 15.0, 15.0, 50.0
	r := &ledger.Sealing{
		Joint: d.place(joint), Sealant: "polyurethane", WidthMillimetres: 9.5,
		AirCelsius: &air, SurfaceCelsius: &surface, HumidityPercent: &humidity, Splice: ledger.SpliceCorner,
	}
	for _, c := range changes {
		c(r)
	}
	d.keep(r)
	return r
}

func (d *diary) inspect(joint string, kind ledger.InspectionKind, result ledger.InspectionResult, readings ...float64) *ledger.Inspection {
	d.t.Helper()
	r := &ledger.Inspection{Joint: d.place(joint), Kind: kind, Result: result, ReadingsNewtonMetres: readings}
	d.keep(r)
	return r
}

func (d *diary) happen(kind ledger.IncidentKind, joint string, changes ...func(*ledger.Incident)) *ledger.Incident {
	d.t.Helper()
	r := storetest.NewIncident(kind, joint, changes...)
	d.keep(r)
	return r
}

func (d *diary) decide(incident uuid.UUID) *ledger.Disposition {
	d.t.Helper()
	r := &ledger.Disposition{Incident: incident, Decision: ledger.DecisionRepair, Reason: "resealed"}
	d.keep(r)
	return r
}

func (d *diary) hold(where string) *ledger.Hold {
	d.t.Helper()
	r := &ledger.Hold{Action: ledger.HoldPlaced, Place: d.place(where), Reason: "shim missing"}
	d.keep(r)
	return r
}

func (d *diary) holdLot(lot, site string) *ledger.Hold {
	d.t.Helper()
	r := &ledger.Hold{Action: ledger.HoldPlaced, Lot: lot, Site: site, Reason: "heads crack"}
	d.keep(r)
	return r
}

func (d *diary) release(h *ledger.Hold) *ledger.Hold {
	d.t.Helper()
	r := &ledger.Hold{
		Action: ledger.HoldReleased, Place: h.Place, Lot: h.Lot, Tool: h.Tool, Site: h.Site,
		Releases: h.ID, Decision: ledger.DecisionUseAsIs, Reason: "accepted by concession",
	}
	d.keep(r)
	return r
}

func (d *diary) signOff(where string, point ledger.SignOffPoint) *ledger.SignOff {
	d.t.Helper()
	r := &ledger.SignOff{Place: d.place(where), Point: point, Title: "structure"}
	d.keep(r)
	return r
}

// correct withdraws a record, or replaces it.
func (d *diary) correct(old ledger.Record, with ledger.Record) *ledger.Correction {
	d.t.Helper()
	r := &ledger.Correction{Corrects: old.Head().ID, Reason: "wrong joint typed", With: with}
	if with != nil {
		r.Replacement = with.Head().ID
	}
	d.keep(r)
	return r
}
