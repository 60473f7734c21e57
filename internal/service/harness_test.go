package service_test

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/rpc"
	"jointledger/internal/service"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
	pb "jointledger/proto/jointledger/v1"
)

func TestMain(m *testing.M) { storetest.Main(m) }

// now is the clock of every server under test.
var now = time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)

type clients struct {
	structure pb.StructureServiceClient
	specs     pb.SpecificationServiceClient
	lots      pb.LotServiceClient
	tools     pb.ToolServiceClient
	people    pb.PersonServiceClient
	assembly  pb.AssemblyServiceClient
	analysis  pb.AnalysisServiceClient

	comparisons pb.ComparisonServiceClient

	consumables pb.ConsumableServiceClient
	inspection  pb.InspectionServiceClient
	control     pb.ControlServiceClient
	crib        pb.CribServiceClient
	progress    pb.ProgressServiceClient
	files       pb.AttachmentServiceClient
	impact      pb.ImpactServiceClient
	alarms      pb.AlarmServiceClient
	readiness   pb.ReadinessServiceClient
	delivery    pb.DeliveryServiceClient
	server      pb.ServerServiceClient
	carry       pb.CarryServiceClient

	conn  *grpc.ClientConn
	store *store.Store
	end   func() // ends what lasts as long as its client wants, as a shut-down does
}

// start serves a new embedded store.
func start(t *testing.T) clients {
	t.Helper()
	return serve(t, storetest.SQLite().NewConfig(t))
}

// each runs a story on every engine, one after the other: a leak is looked for
// after each.
func each(t *testing.T, story func(*testing.T, clients)) {
	t.Helper()
	for _, e := range storetest.Engines(t) {
		t.Run(e.Name, func(t *testing.T) {
			c := serve(t, e.NewConfig(t))
			registerFleet(t, c)
			story(t, c)
		})
	}
}

// serve serves a store through the production constructor, over an in-memory
// listener, and sees to it that nothing of it is left running.
func serve(t *testing.T, config store.Config) clients {
	t.Helper()
	return serveTo(t, config, rpc.EverybodyIsLocal)
}

// serveTo is serve for a server that asks who calls.
func serveTo(t *testing.T, config store.Config, who rpc.Authenticate) clients {
	t.Helper()
	before := goleak.IgnoreCurrent()
	t.Cleanup(func() { goleak.VerifyNone(t, before) })
	log := slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError}))
	config.Logger = log
	st, err := store.Open(t.Context(), config)
	if err != nil {
		t.Fatal(err)
	}
	services := service.New(st, func() time.Time { return now })
	server, err := rpc.NewServer(rpc.Config{Authenticate: who, Logger: log, Register: services.Register})
	if err != nil {
		t.Fatal(err)
	}
	l := bufconn.Listen(1 << 20)
	served := make(chan error, 1)
	go func() { served <- server.Serve(l) }()
	conn, err := grpc.NewClient("passthrough:///bufconn",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return l.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		conn.Close()
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		server.Stop(ctx)
		if err := <-served; err != nil {
			t.Errorf("serve: %v", err)
		}
		if err := st.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return clients{
		structure: pb.NewStructureServiceClient(conn), specs: pb.NewSpecificationServiceClient(conn),
		lots: pb.NewLotServiceClient(conn), tools: pb.NewToolServiceClient(conn), people: pb.NewPersonServiceClient(conn),
		assembly: pb.NewAssemblyServiceClient(conn), analysis: pb.NewAnalysisServiceClient(conn),
		comparisons: pb.NewComparisonServiceClient(conn),
		consumables: pb.NewConsumableServiceClient(conn), inspection: pb.NewInspectionServiceClient(conn),
		crib:    pb.NewCribServiceClient(conn),
		control: pb.NewControlServiceClient(conn), progress: pb.NewProgressServiceClient(conn), files: pb.NewAttachmentServiceClient(conn),
		impact: pb.NewImpactServiceClient(conn),
		alarms: pb.NewAlarmServiceClient(conn), end: services.EndWatches,
		readiness: pb.NewReadinessServiceClient(conn),
		delivery:  pb.NewDeliveryServiceClient(conn),
		server:    pb.NewServerServiceClient(conn),
		carry:     pb.NewCarryServiceClient(conn),
		conn:      conn,
		store:     st,
	}
}

// must fails the test on an error and gives the answer.
func must[T any](t *testing.T) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(render(err))
		}
		return v
	}
}

// The invented fleet of these tests: one site of one tower and one cell.

func site() *pb.Site {
	return &pb.Site{DisplayName: "Harrow Fell", Region: "north", TimeZone: "Europe/Dublin"}
}

func specification() *pb.Specification {
	return &pb.Specification{
		Fastener: stud(), Treatment: pb.Treatment_TREATMENT_ANTI_SEIZE, LockingMethod: pb.LockingMethod_LOCKING_METHOD_NONE,
		TorqueNewtonMetres: 32, TorqueTolerancePercent: 10, TorqueBasis: pb.TorqueBasis_TORQUE_BASIS_LUBRICATED, NutFactor: 0.15,
	}
}

func stud() *pb.Fastener {
	return &pb.Fastener{Thread: "M10", LengthMillimetres: 40, Material: pb.Material_MATERIAL_316, PropertyClass: "A4-70", Coating: "plain", Head: "hex"}
}

func joint() *pb.Joint {
	return &pb.Joint{Kind: pb.JointKind_JOINT_KIND_STRUCTURAL, Critical: true, PartA: "beam", PartB: "column", Specification: "specifications/SS-M10", Fasteners: 24}
}

func lot() *pb.Lot { return &pb.Lot{Supplier: "Corrie Fasteners", Heat: "H77", Fastener: stud()} }

func tool() *pb.Tool {
	return &pb.Tool{
		Kind: pb.ToolKind_TOOL_KIND_TORQUE_WRENCH, TypeClass: "II-A", MinimumNewtonMetres: 8, MaximumNewtonMetres: 40,
		ResolutionNewtonMetres: 0.2, HomeSite: "sites/HAR", IntervalMonths: 12, IntervalCycles: 5000,
	}
}

func person() *pb.Person {
	return &pb.Person{
		DisplayName: "Nessa", Employer: "Fell Erectors", HomeSite: "sites/HAR", Roles: []pb.Role{pb.Role_ROLE_TECHNICIAN, pb.Role_ROLE_CRIB},
		Qualifications: []*pb.Qualification{{Task: "bolting", ExpireDate: "2027-01-31"}, {Task: "lifting"}},
	}
}

const (
	theTower = "sites/HAR/towers/CT1"
	theCell  = theTower + "/cells/C1"
	theJoint = theCell + "/joints/J001"
)

// fleet starts a server with the fleet registered.
func fleet(t *testing.T) clients {
	t.Helper()
	c := start(t)
	registerFleet(t, c)
	return c
}

func registerFleet(t *testing.T, c clients) {
	t.Helper()
	ctx := t.Context()
	must[*pb.Site](t)(c.structure.CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "HAR", Site: site()}))
	must[*pb.Specification](t)(c.specs.CreateSpecification(ctx, &pb.CreateSpecificationRequest{SpecificationId: "SS-M10", Specification: specification()}))
	must[*pb.Tower](t)(c.structure.CreateTower(ctx, &pb.CreateTowerRequest{Parent: "sites/HAR", TowerId: "CT1", Tower: &pb.Tower{Material: pb.Material_MATERIAL_316}}))
	must[*pb.Cell](t)(c.structure.CreateCell(ctx, &pb.CreateCellRequest{Parent: theTower, CellId: "C1", Cell: &pb.Cell{}}))
	must[*pb.Joint](t)(c.structure.CreateJoint(ctx, &pb.CreateJointRequest{Parent: theCell, JointId: "J001", Joint: joint()}))
	must[*pb.Lot](t)(c.lots.CreateLot(ctx, &pb.CreateLotRequest{LotId: "M10-S-1", Lot: lot()}))
	must[*pb.Lot](t)(c.lots.CreateLot(ctx, &pb.CreateLotRequest{LotId: "M10-S-2", Lot: lot()}))
	must[*pb.Tool](t)(c.tools.CreateTool(ctx, &pb.CreateToolRequest{ToolId: "TW-1", Tool: tool()}))
	must[*pb.Person](t)(c.people.CreatePerson(ctx, &pb.CreatePersonRequest{PersonId: "nd1", Person: person()}))
}

func newID() string { return uuid.Must(uuid.NewV7()).String() }

func entry(when string) *pb.Entry {
	at, err := time.Parse(time.RFC3339, when)
	if err != nil {
		panic(err)
	}
	return &pb.Entry{OccurTime: timestamppb.New(at), Person: "people/nd1", Device: "tablet 3", Note: "deck\nwet"}
}

func tightening(when string, fasteners int32) *pb.Tightening {
	return &pb.Tightening{
		Name: "tightenings/" + newID(), Joint: theJoint, Lot: "lots/M10-S-1", Treatment: pb.Treatment_TREATMENT_ANTI_SEIZE,
		CompoundBatch: "AS-9", Tool: "tools/TW-1", TorqueNewtonMetres: proto.Float64(32), TorqueAsTyped: "32 N.m", Fasteners: fasteners,
		Pass: pb.Pass_PASS_FIRST, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND, Entry: entry(when),
	}
}

func galling(when string, fasteners int32) *pb.Incident {
	return &pb.Incident{
		Name: "incidents/" + newID(), Kind: pb.IncidentKind_INCIDENT_KIND_GALLING, Joint: theJoint, Fasteners: fasteners, Lot: "lots/M10-S-1",
		Treatment: pb.Treatment_TREATMENT_ANTI_SEIZE, Tool: "tools/TW-1", DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND,
		Noticed: "before clamp-up", Action: "cut off", Entry: entry(when),
	}
}

func movement(kind pb.MovementKind, quantity int64) *pb.LotMovement {
	return &pb.LotMovement{Name: "lotMovements/" + newID(), Lot: "lots/M10-S-1", Site: "sites/HAR", Kind: kind, Quantity: quantity, Reference: "DN 4", HandledBy: "crib", Entry: entry("2026-03-01T08:00:00Z")}
}

// calibration has a certificate of its own; a single reading stands for two alike.
func calibration(when string, readings ...float64) *pb.Calibration {
	id := newID()
	if len(readings) == 1 {
		readings = append(readings, readings[0])
	}
	return &pb.Calibration{
		Name: "calibrations/" + id, Tool: "tools/TW-1", Laboratory: "Fell Metrology", Certificate: "C-" + id[24:], Entry: entry(when),
		Points: []*pb.CalibrationPoint{{
			Phase: pb.CalibrationPhase_CALIBRATION_PHASE_AS_LEFT, TargetNewtonMetres: 24, ReadingsNewtonMetres: readings,
			ExpandedUncertaintyNewtonMetres: 0.3, CoverageFactor: 2,
		}},
	}
}

// render writes a status down with all its details, one a line.
func render(err error) string {
	st := status.Convert(err)
	lines := []string{st.Code().String() + ": " + st.Message()}
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			lines = append(lines, "reason "+d.Domain+"/"+d.Reason)
		case *errdetails.BadRequest:
			for _, f := range d.FieldViolations {
				lines = append(lines, "field "+f.Field+": "+f.Description)
			}
		case *errdetails.ResourceInfo:
			lines = append(lines, "resource "+d.ResourceType+" "+d.ResourceName)
		case *errdetails.PreconditionFailure:
			for _, v := range d.Violations {
				lines = append(lines, "precondition "+v.Type+" "+v.Subject+": "+v.Description)
			}
		default:
			lines = append(lines, fmt.Sprintf("detail %T", d))
		}
	}
	return strings.Join(lines, "\n")
}

// outcomes writes the outcomes of a batch down, one a line with its details.
func outcomes(list []*pb.Outcome) string {
	var lines []string
	for _, o := range list {
		line := strings.TrimPrefix(o.State.String(), "STATE_") + " " + o.Name
		if r := o.Refusal; r != nil {
			line += " " + strings.TrimPrefix(r.Reason.String(), "ERROR_REASON_") + ": " + r.Message
			for _, f := range r.FieldViolations {
				line += "\n  " + f.Field + ": " + f.Description
			}
			if r.ResourceName != "" {
				line += "\n  resource " + r.ResourceName
			}
		}
		lines = append(lines, line)
	}
	return strings.Join(lines, "\n")
}

// taken fails the test unless every member was taken.
func taken(t *testing.T, list []*pb.Outcome) {
	t.Helper()
	for i, o := range list {
		if o.State != pb.Outcome_STATE_TAKEN {
			t.Fatalf("member %d:\n%s", i, outcomes([]*pb.Outcome{o}))
		}
	}
}
