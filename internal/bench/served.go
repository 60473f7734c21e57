package main

import (
	"context"
	"fmt"
	"net"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// benchJoints is the number of joints that the records are spread over: a joint
// has a few records, not thousands. A test takes fewer.
var benchJoints = 20_000

// benchCrews is the number of people, each with a wrench.
const benchCrews = 16

// record sends so many tightenings in one call and requires each to be taken.
func record(ctx context.Context, client pb.AssemblyServiceClient, seed, each int) error {
	batch := make([]*pb.Tightening, each)
	for i := range batch {
		batch[i] = tightening(seed, seed*each+i)
	}
	answer, err := client.RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: batch})
	if err != nil {
		return err
	}
	for _, o := range answer.Outcomes {
		if len(o.Findings) > 0 {
			return fmt.Errorf("the fleet of the benchmark must break no rule: %s", o.Findings[0].Message)
		}
		if o.State != pb.Outcome_STATE_TAKEN {
			return fmt.Errorf("%s: %v", o.Name, o.Refusal)
		}
	}
	return nil
}

// tightening is the nth of a crew that the seed chooses.
func tightening(seed, n int) *pb.Tightening {
	// 7919 and 7921 have no divisor in common with the number of joints: all have their
	// turn, whether the seed comes to n or not.
	joint, torque := (n*7919+2*seed)%benchJoints, 32.0
	return &pb.Tightening{
		Name: "tightenings/" + uuid.Must(uuid.NewV7()).String(), Joint: jointPlace(joint).Resource(), Lot: "lots/M10-1", Treatment: pb.Treatment_TREATMENT_ANTI_SEIZE,
		CompoundBatch: "AS-1", Tool: fmt.Sprintf("tools/TW-%d", 1+seed%benchCrews), TorqueNewtonMetres: &torque, TorqueAsTyped: "32 N.m", Fasteners: 12,
		Pass: pb.Pass_PASS_FIRST, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND,
		Entry: &pb.Entry{OccurTime: timestamppb.Now(), Person: fmt.Sprintf("people/tech%d", 1+seed%benchCrews), Device: "bench"},
	}
}

func listen(serve func(net.Listener) error) (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	go serve(l) // it ends with Stop
	return l.Addr().String(), nil
}

// withClients gives each client a connection of its own, as devices have.
func withClients(address string, clients int, f func([]*grpc.ClientConn) (figure, error)) (figure, error) {
	conns := make([]*grpc.ClientConn, clients)
	for i := range conns {
		c, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
		if err != nil {
			return figure{}, err
		}
		defer c.Close()
		conns[i] = c
	}
	return f(conns)
}

func jointPlace(n int) ledger.Place {
	return ledger.Place{Site: "BEN", Tower: "CT1", Cell: fmt.Sprintf("C%d", 1+n/40), Joint: fmt.Sprintf("J%03d", 1+n%40)}
}

// fixture registers what the records name.
func fixture(ctx context.Context, s *store.Store) error {
	fastener := ledger.Fastener{Thread: "M10", LengthMillimetres: 30, Material: ledger.Stainless304, PropertyClass: "A2-70"}
	var cells []ledger.Cell
	var joints []ledger.Joint
	for n := range benchJoints {
		p := jointPlace(n)
		if n%40 == 0 {
			cells = append(cells, ledger.Cell{Place: p.Parent()})
		}
		joints = append(joints, ledger.Joint{Place: p, Kind: ledger.JointStructural, Specification: "SPEC", Fasteners: 24})
	}
	var tools []ledger.Tool
	var people []ledger.Person
	var calibrations []ledger.Record
	for n := 1; n <= benchCrews; n++ {
		serial := fmt.Sprintf("TW-%d", n)
		tools = append(tools, ledger.Tool{Serial: serial, Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 20, MaximumNewtonMetres: 100,
			HomeSite: "BEN", IntervalMonths: 12, IntervalCycles: 10_000_000})
		people = append(people, ledger.Person{ID: fmt.Sprintf("tech%d", n), HomeSite: "BEN", Qualifications: []ledger.Qualification{{Task: "bolting"}}})
		calibrations = append(calibrations, calibration(serial))
	}
	steps := []func() ([]store.Outcome, error){
		func() ([]store.Outcome, error) {
			return s.RegisterSites(ctx, []ledger.Site{{Code: "BEN", Name: "Bench", TimeZone: "Europe/Dublin", Status: ledger.SiteActive, Units: ledger.UnitsSI}}, store.Change{})
		},
		func() ([]store.Outcome, error) {
			return s.RegisterSpecifications(ctx, []ledger.Specification{{Code: "SPEC", Fastener: fastener, Treatment: ledger.TreatmentAntiSeize, Locking: ledger.LockingNone,
				TorqueNewtonMetres: 32, TorqueTolerancePercent: 10, TorqueBasis: ledger.BasisLubricated}}, store.Change{})
		},
		func() ([]store.Outcome, error) {
			return s.RegisterTowers(ctx, []ledger.Tower{{Place: ledger.Place{Site: "BEN", Tower: "CT1"}, Material: ledger.Stainless304}}, store.Change{})
		},
		func() ([]store.Outcome, error) { return s.RegisterCells(ctx, cells, store.Change{}) },
		func() ([]store.Outcome, error) { return s.RegisterJoints(ctx, joints, store.Change{}) },
		func() ([]store.Outcome, error) {
			return s.RegisterLots(ctx, []ledger.Lot{{Number: "M10-1", Supplier: "Bench", Fastener: fastener, State: ledger.LotReleased}}, store.Change{})
		},
		func() ([]store.Outcome, error) { return s.RegisterTools(ctx, tools, store.Change{}) },
		func() ([]store.Outcome, error) { return s.RegisterPeople(ctx, people, store.Change{}) },
		func() ([]store.Outcome, error) { return s.Record(ctx, calibrations, store.Change{}) },
	}
	for _, step := range steps {
		outcomes, err := step()
		if err != nil {
			return err
		}
		for _, o := range outcomes {
			if o.Err != nil {
				return o.Err
			}
		}
	}
	return nil
}

// calibration proves the wrench a month ago, at the test points of its range.
func calibration(serial string) *ledger.Calibration {
	c := &ledger.Calibration{Entry: ledger.Entry{ID: uuid.Must(uuid.NewV7()), OccurTime: ledger.Microseconds(time.Now().AddDate(0, -1, 0))}, Tool: serial}
	for _, target := range []float64{20, 60, 100} {
		c.Points = append(c.Points, ledger.CalibrationPoint{Phase: ledger.AsLeft, TargetNewtonMetres: target,
			ReadingsNewtonMetres: []float64{target, target, target, target, target}, ExpandedUncertaintyNewtonMetres: target / 100, CoverageFactor: 2})
	}
	return c
}
