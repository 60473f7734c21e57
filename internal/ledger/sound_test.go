package ledger_test

import (
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

// The records and things of these tests are sound, have every field, and stay as
// they are: golden bytes and hand-computed links hang on them.

func id(last byte) uuid.UUID {
	return uuid.UUID{0x01, 0x9c, 0xa7, 0x3e, 0x4d, 0x10, 0x7a, 0xaa, 0x8b, 0xbb, 0xcc, 0xcc, 0xcc, 0xcc, 0xcc, last}
}

func ptr[T any](v T) *T { return &v }

var joint = ledger.Place{Site: "RVB", Tower: "CT2", Cell: "C3", Joint: "J014"}

// occurred is 2026-03-02 08:04:05.123456 in Denver, 1,772,463,845,123,456 µs after
// 1970-01-01 UTC.
var occurred = time.Date(2026, 3, 2, 15, 4, 5, 123_456_000, time.UTC)

func entry(last byte, sequence int64) ledger.Entry {
	return ledger.Entry{
		ID: id(last), OccurTime: occurred, OffsetMinutes: -420, Person: "a.reyes", Device: "handheld-7", Note: "windy",
		ReceiveTime: occurred.Add(time.Minute), LocalDay: 20514, Sequence: sequence,
	}
}

func tightening() *ledger.Tightening {
	return &ledger.Tightening{
		Entry: entry(1, 1), Joint: joint, Lot: "M10-316-4471", Treatment: ledger.TreatmentAntiSeize, CompoundBatch: "AS-19", Tool: "TW-0107",
		TorqueNewtonMetres: ptr(32.5), TorqueAsTyped: "24 lbf.ft", Fasteners: 8, Pass: ledger.PassFirst, Method: ledger.DrivenByHand,
		Specification: ledger.SpecificationRef{Code: "SS-M10-STR", Revision: 2},
	}
}

func incident() *ledger.Incident {
	return &ledger.Incident{
		Entry: entry(2, 2), Kind: ledger.Galling, Site: "RVB", Joint: joint, Fasteners: 1, Lot: "M10-316-4471", Treatment: ledger.TreatmentNone,
		Tool: "TW-0107", Method: ledger.DrivenByImpact, Noticed: "at three turns", Action: "cut off",
		Specification: ledger.SpecificationRef{Code: "SS-M10-STR", Revision: 2},
	}
}

func calibration() *ledger.Calibration {
	return &ledger.Calibration{
		Entry: entry(3, 3), Tool: "TW-0107", Laboratory: "Torque Laboratory 3", Certificate: "C-26-118", Site: "RVB",
		Document: ledger.CalibrationCertificate, Rule: ledger.RuleGuardBand, StatedVerdict: ledger.VerdictPass,
		AirCelsius: ptr(0.0), HumidityPercent: ptr(45.0), DeviceUncertaintyPercent: 0.25,
		Verdict: &ledger.CalibrationVerdict{
			Rule: ledger.RuleGuardBand, Edition: "2017", LimitPercent: 4, AsFound: ledger.VerdictFail, AsLeft: ledger.VerdictConditionalPass,
			WorstAsFoundPercent: ptr(-5.5), WorstAsLeftPercent: ptr(0.0), ConformityProbability: ptr(0.97), TestUncertaintyRatio: ptr(4.0),
			Deficiencies: []string{"no test point at 20 N.m"},
		},
		Points: []ledger.CalibrationPoint{
			{Phase: ledger.AsFound, TargetNewtonMetres: 20, ReadingsNewtonMetres: []float64{19.9, 0}, ExpandedUncertaintyNewtonMetres: 0.25, CoverageFactor: 2},
			{Phase: ledger.AsLeft, TargetNewtonMetres: 1e6 / 16, ReadingsNewtonMetres: []float64{0.30000000000000004}},
		},
	}
}

func movement() *ledger.LotMovement {
	return &ledger.LotMovement{Entry: entry(4, 4), Lot: "M10-316-4471", Site: "RVB", Kind: ledger.MovementReceived, Quantity: 1000, Reference: "PO 8812", HandledBy: "crib"}
}

func sealing() *ledger.Sealing {
	return &ledger.Sealing{
		Entry: entry(5, 5), Joint: joint, Sealant: "polyurethane", Batch: "PU-7", WidthMillimetres: 9.5, Solvent: "isopropanol",
		CleanTime: occurred.Add(-time.Hour), AirCelsius: ptr(0.0), SurfaceCelsius: ptr(-1.5), HumidityPercent: ptr(60.0),
		Splice: ledger.SpliceCorner, FlangeStraight: ptr(false), Specification: ledger.SpecificationRef{Code: "SS-SEAM", Revision: 1},
	}
}

func inspection() *ledger.Inspection {
	return &ledger.Inspection{Entry: entry(6, 6), Joint: joint, Kind: ledger.TorqueAudit, Sample: 2, Plan: "10 %, at least two",
		ReadingsNewtonMetres: []float64{31, 0}, Result: ledger.InspectionPass, Tool: "TW-0107"}
}

func custody() *ledger.Custody {
	return &ledger.Custody{Entry: entry(7, 7), Tool: "TW-0107", Kind: ledger.CustodyIssued, Site: "RVB", Holder: "a.reyes", OverrideBy: "q.lead", OverrideReason: "no other wrench"}
}

func toolCheck() *ledger.ToolCheck {
	return &ledger.ToolCheck{Entry: entry(14, 12), Tool: "TW-0107", Site: "RVB", Action: ledger.ActionProofTest, Result: ledger.InspectionFail, Certificate: "PT-9"}
}

func alarm() *ledger.Alarm {
	return &ledger.Alarm{Entry: entry(15, 13), Rule: "GALL-LOT", Site: "RVB", Lot: "M10-316-4471", Test: ledger.AlarmCUSUM,
		Statistic: 207, Threshold: 200.5, Failures: 6, Attempts: 120, Sentence: "It is likely raised.", Cause: id(2)}
}

func hold() *ledger.Hold {
	return &ledger.Hold{Entry: entry(8, 8), Action: ledger.HoldReleased, Place: joint, Site: "RVB", Reason: "gone over again", Rule: "torque-window",
		Cause: id(1), Releases: id(9), Decision: ledger.DecisionRework}
}

func disposition() *ledger.Disposition {
	return &ledger.Disposition{Entry: entry(10, 9), Incident: id(2), Decision: ledger.DecisionUseAsIs, Reason: "cosmetic", Site: "RVB"}
}

func signOff() *ledger.SignOff {
	return &ledger.SignOff{Entry: entry(11, 10), Place: ledger.Place{Site: "RVB", Tower: "CT2"}, Point: ledger.WitnessPoint, Title: "fan deck"}
}

func correction() *ledger.Correction {
	return &ledger.Correction{Entry: entry(12, 11), Corrects: id(1), Replacement: id(13), Reason: "another lot", Site: "RVB"}
}

func m10() ledger.Fastener {
	return ledger.Fastener{Thread: "M10x1.5", LengthMillimetres: 40, Material: ledger.Stainless316, PropertyClass: "A4-70", Coating: "plain", Head: "hex"}
}

func site() ledger.Site {
	return ledger.Site{Code: "RVB", Name: "Riverbend", Region: "mountain", TimeZone: "America/Denver", Status: ledger.SiteActive, Units: ledger.UnitsSI}
}

func tower() ledger.Tower {
	return ledger.Tower{Place: joint.Parent().Parent(), Material: ledger.Stainless316, Drawing: "D-1", PlannedStart: "2026-01-12", PlannedFinish: "2026-11-30"}
}

func cell() ledger.Cell { return ledger.Cell{Place: joint.Parent(), Description: "north"} }

func plannedJoint() ledger.Joint {
	return ledger.Joint{Place: joint, Kind: ledger.JointStructural, Critical: true, PartA: "column", PartB: "beam", Specification: "SS-M10-STR", Fasteners: 24}
}

func specification() ledger.Specification {
	return ledger.Specification{Code: "SS-M10-STR", Fastener: m10(), Treatment: ledger.TreatmentAntiSeize, Locking: ledger.LockingNone, TorqueNewtonMetres: 32,
		TorqueTolerancePercent: 10, TorqueBasis: ledger.BasisLubricated, NutFactor: 0.14, Sealant: "polyurethane", SealWidthMillimetres: 9.5, MinimumSurfaceCelsius: ptr(4.4)}
}

func lot() ledger.Lot {
	return ledger.Lot{Number: "M10-316-4471", Supplier: "Alder", Heat: "H-2207", Fastener: m10(), Description: "first", State: ledger.LotReleased}
}

func tool() ledger.Tool {
	return ledger.Tool{Serial: "TW-0107", Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 20, MaximumNewtonMetres: 100,
		ResolutionNewtonMetres: 0.5, HomeSite: "RVB", IntervalMonths: 12, IntervalCycles: 5000}
}

func person() ledger.Person {
	return ledger.Person{ID: "a.reyes", Name: "A. Reyes", Employer: "Northgate Erectors", HomeSite: "RVB", Roles: []ledger.Role{ledger.RoleTechnician},
		Qualifications: []ledger.Qualification{{Task: "bolting", ExpireDate: "2027-06-30"}}}
}

func batch() ledger.Batch {
	return ledger.Batch{Number: "AS-19", Kind: ledger.ConsumableAntiSeize, Product: "paste", ExpireDate: "2027-01-31", MinimumCelsius: ptr(-10.0), MaximumCelsius: ptr(40.0)}
}

func substitution() ledger.Substitution {
	return ledger.Substitution{Code: "SUB-1", Specification: "SS-M10-STR", Permitted: m10(), Needs: "two washers", TorqueNewtonMetres: 30, ApprovedBy: "chief engineer"}
}

// everyRecord gives a sound record of each kind, in the order of the kinds.
func everyRecord() []ledger.Record {
	return []ledger.Record{tightening(), incident(), calibration(), movement(), sealing(), inspection(), custody(), hold(), disposition(), signOff(), correction(), toolCheck(), alarm()}
}
