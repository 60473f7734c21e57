package service_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

// late is an entry that was kept without signal: whenever the test runs, its
// clock is at no fault.
func late(when, person string) *pb.Entry {
	e := entry(when)
	e.Person, e.Offline = "people/"+person, true
	return e
}

// inspector is a person whose role may decide; the fleet's own nd1 may not.
const inspector = "qa1"

// readyToWork registers the inspector and a joint with a seal, and records what
// makes work sound: a calibration, a delivery, the wrench in hand.
func readyToWork(t *testing.T, c clients) {
	t.Helper()
	ctx := t.Context()
	must[*pb.Person](t)(c.people.CreatePerson(ctx, &pb.CreatePersonRequest{PersonId: inspector, Person: &pb.Person{
		DisplayName: "Orla", HomeSite: "sites/HAR", Roles: []pb.Role{pb.Role_ROLE_QUALITY},
		Qualifications: []*pb.Qualification{{Task: "bolting"}, {Task: "inspection"}},
	}}))
	seam := specification()
	seam.Sealant, seam.SealWidthMillimetres, seam.MinimumSurfaceCelsius = "strip", 20, proto.Float64(5)
	must[*pb.Specification](t)(c.specs.CreateSpecification(ctx, &pb.CreateSpecificationRequest{SpecificationId: "SS-SEAM", Specification: seam}))
	must[*pb.Joint](t)(c.structure.CreateJoint(ctx, &pb.CreateJointRequest{Parent: theCell, JointId: "J002", Joint: &pb.Joint{
		Kind: pb.JointKind_JOINT_KIND_SEAM, PartA: "casing", PartB: "casing", Specification: "specifications/SS-SEAM", Fasteners: 10,
	}}))
	cal, move := calibration("2026-02-02T09:00:00Z", 24, 24.1, 24), movement(pb.MovementKind_MOVEMENT_KIND_RECEIVED, 500)
	cal.Entry, move.Entry = late("2026-02-02T09:00:00Z", "nd1"), late("2026-02-03T09:00:00Z", "nd1")
	taken(t, must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{cal}})).Outcomes)
	taken(t, must[*pb.RecordLotMovementsResponse](t)(c.lots.RecordLotMovements(ctx, &pb.RecordLotMovementsRequest{LotMovements: []*pb.LotMovement{move}})).Outcomes)
	taken(t, must[*pb.RecordCustodyChangesResponse](t)(c.control.RecordCustodyChanges(ctx, &pb.RecordCustodyChangesRequest{CustodyChanges: []*pb.CustodyChange{
		custody("2026-02-04T09:00:00Z", pb.CustodyKind_CUSTODY_KIND_ISSUED),
	}})).Outcomes)
}

const theSeam = theCell + "/joints/J002"

func custody(when string, kind pb.CustodyKind) *pb.CustodyChange {
	m := &pb.CustodyChange{Name: "custodyChanges/" + newID(), Tool: "tools/TW-1", Kind: kind, Site: "sites/HAR", Entry: late(when, "nd1")}
	if kind == pb.CustodyKind_CUSTODY_KIND_ISSUED {
		m.Holder = "people/nd1"
	}
	return m
}

func toolCheck(when string) *pb.ToolCheck {
	return &pb.ToolCheck{
		Name: "toolChecks/" + newID(), Tool: "tools/TW-1", Site: "sites/HAR", Action: pb.ToolAction_TOOL_ACTION_PRE_USE_CHECK,
		Result: pb.InspectionResult_INSPECTION_RESULT_PASS, Certificate: "PU-1", Entry: late(when, "nd1"),
	}
}

// sound is a tightening that breaks no rule.
func sound(when string, fasteners int32) *pb.Tightening {
	m := tightening(when, fasteners)
	m.Entry = late(when, "nd1")
	return m
}

func sealing(when string) *pb.Sealing {
	e := late(when, "nd1")
	return &pb.Sealing{
		Name: "sealings/" + newID(), Joint: theSeam, Sealant: "strip", Batch: "S-77", WidthMillimetres: 20, Solvent: "isopropanol",
		CleanTime: timestamppb.New(e.OccurTime.AsTime().Add(-5 * time.Minute)), AirCelsius: proto.Float64(12.5), SurfaceCelsius: proto.Float64(14),
		HumidityPercent: proto.Float64(60), Splice: pb.Splice_SPLICE_CORNER, FlangeStraight: proto.Bool(false), Entry: e,
	}
}

func inspection(when, joint string, result pb.InspectionResult) *pb.Inspection {
	return &pb.Inspection{
		Name: "inspections/" + newID(), Joint: joint, Kind: pb.InspectionKind_INSPECTION_KIND_TORQUE_AUDIT, Sample: 3, Plan: "10 %, at least 2",
		ReadingsNewtonMetres: []float64{31.5, 30, 32}, Result: result, Tool: "tools/TW-1", Entry: late(when, inspector),
	}
}

func hold(when, place string) *pb.Hold {
	return &pb.Hold{
		Name: "holds/" + newID(), Action: pb.HoldAction_HOLD_ACTION_PLACED, Place: place, Reason: "washers missing", Entry: late(when, "nd1"),
	}
}

// release ends a hold as the person decides.
func release(of *pb.Hold, when, person string) *pb.Hold {
	return &pb.Hold{
		Name: "holds/" + newID(), Action: pb.HoldAction_HOLD_ACTION_RELEASED, Place: of.Place, Lot: of.Lot, Tool: of.Tool, Site: of.Site,
		Reason: "seen and measured again", Releases: of.Name, Decision: pb.Decision_DECISION_USE_AS_IS, Entry: late(when, person),
	}
}

func disposition(when, incident, person string) *pb.Disposition {
	return &pb.Disposition{
		Name: "dispositions/" + newID(), Incident: incident, Decision: pb.Decision_DECISION_REWORK, Reason: "new studs", Entry: late(when, person),
	}
}

func signOff(when, place, person string) *pb.SignOff {
	return &pb.SignOff{
		Name: "signOffs/" + newID(), Place: place, Point: pb.SignOffPoint_SIGN_OFF_POINT_HOLD_POINT, Title: "before filling", Entry: late(when, person),
	}
}

func correction(when, corrects string) *pb.Correction {
	return &pb.Correction{Name: "corrections/" + newID(), Corrects: corrects, Reason: "counted wrong", Entry: late(when, "nd1")}
}
