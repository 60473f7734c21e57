package storetest

import (
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

// NewID makes the id of a record.
func NewID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// Occurred is when the records of this package happened unless the test says
// otherwise: a Monday morning in Denver, a Monday evening in Kolkata.
var Occurred = time.Date(2026, 3, 2, 15, 4, 5, 123_456_000, time.UTC)

func entry(site string) ledger.Entry {
	e := ledger.Entry{ID: NewID(), OccurTime: Occurred, OffsetMinutes: -420, Person: DenverPerson, Device: "handheld-7"}
	if site == Kolkata {
		e.OffsetMinutes, e.Person = 330, KolkataPerson
	}
	return e
}

// NewTightening is a sound tightening of eight fasteners of a joint of the
// fleet, given in its short form, with the changes applied.
func NewTightening(joint string, changes ...func(*ledger.Tightening)) *ledger.Tightening {
	p := place(joint)
	torque := 32.0
	r := &ledger.Tightening{
		Entry: entry(p.Site), Joint: p, Lot: StainlessLot, Treatment: ledger.TreatmentAntiSeize, CompoundBatch: "AS-19", Tool: DenverWrench,
		TorqueNewtonMetres: &torque, TorqueAsTyped: "32 N.m", Fasteners: 8, Pass: ledger.PassFirst, Method: ledger.DrivenByHand,
	}
	if p.Site == Kolkata {
		r.Tool = KolkataWrench
	}
	return apply(r, changes)
}

// NewIncident is a sound incident with one fastener of a joint of the fleet.
func NewIncident(kind ledger.IncidentKind, joint string, changes ...func(*ledger.Incident)) *ledger.Incident {
	p := place(joint)
	r := &ledger.Incident{
		Entry: entry(p.Site), Kind: kind, Site: p.Site, Joint: p, Fasteners: 1, Lot: StainlessLot, Treatment: ledger.TreatmentAntiSeize,
		Tool: DenverWrench, Method: ledger.DrivenByHand, Noticed: "at three turns", Action: "cut off and replaced",
	}
	if p.Site == Kolkata {
		r.Tool = KolkataWrench
	}
	return apply(r, changes)
}

// NewCalibration is a sound calibration of a tool of the fleet, as found alone,
// with a certificate of its own.
func NewCalibration(tool string, changes ...func(*ledger.Calibration)) *ledger.Calibration {
	head := entry(Denver)
	r := &ledger.Calibration{
		Entry: head, Tool: tool, Laboratory: "Torque Laboratory 3", Certificate: "C-26-" + head.ID.String()[24:],
		Points: []ledger.CalibrationPoint{
			{Phase: ledger.AsFound, TargetNewtonMetres: 20, ReadingsNewtonMetres: []float64{19.9, 20.1, 20}, ExpandedUncertaintyNewtonMetres: 0.2, CoverageFactor: 2},
			{Phase: ledger.AsFound, TargetNewtonMetres: 60, ReadingsNewtonMetres: []float64{60.2, 60.3}, ExpandedUncertaintyNewtonMetres: 0.6},
		},
	}
	if tool == KolkataWrench { // its scale begins at 40 N.m
		r.Points[0].TargetNewtonMetres, r.Points[0].ReadingsNewtonMetres = 40, []float64{39.8, 40.2, 40}
	}
	return apply(r, changes)
}

// NewToolCheck is a sound pre-use check of a tool of the fleet at its site.
func NewToolCheck(tool string, changes ...func(*ledger.ToolCheck)) *ledger.ToolCheck {
	site := Denver
	if tool == KolkataWrench {
		site = Kolkata
	}
	r := &ledger.ToolCheck{Entry: entry(site), Tool: tool, Site: site, Action: ledger.ActionPreUseCheck, Result: ledger.InspectionPass, Certificate: "PU-7"}
	return apply(r, changes)
}

// NewLotMovement is a sound receipt of a lot of the fleet at a site.
func NewLotMovement(lot, site string, changes ...func(*ledger.LotMovement)) *ledger.LotMovement {
	r := &ledger.LotMovement{
		Entry: entry(site), Lot: lot, Site: site, Kind: ledger.MovementReceived, Quantity: 1000, Reference: "PO 8812", HandledBy: "crib",
	}
	return apply(r, changes)
}

func apply[T any](r *T, changes []func(*T)) *T {
	for _, c := range changes {
		c(r)
	}
	return r
}
