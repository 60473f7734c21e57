package service_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"jointledger/internal/access"
	"jointledger/internal/rpc"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// The invented fleet of these tests: ASH and ELM are the caller's own sites, BAY is
// another's, as CAY is; there is no BAX. What is typed at the others has a mark.
const (
	own, ownToo, other, nowhere = "ASH", "ELM", "BAY", "BAX"
	otherMark, otherQuantity    = "zzqx", "77731"
)

// door serves a store to the principals in it, each under the token of its name; who
// shows none is the administrator of everything.
type door struct {
	clients
	mu     sync.Mutex
	guests map[string]*access.Principal
	// alarms are the ids of the alarms that were raised, by site.
	alarms map[string]string
}

func openDoor(t *testing.T, config store.Config) *door {
	t.Helper()
	d := &door{guests: map[string]*access.Principal{}, alarms: map[string]string{}}
	d.clients = serveTo(t, config, func(ctx context.Context) (*access.Principal, error) {
		name, ok := rpc.BearerToken(ctx)
		if !ok {
			return access.Local, nil
		}
		d.mu.Lock()
		defer d.mu.Unlock()
		if p := d.guests[name]; p != nil {
			return p, nil
		}
		return nil, rpc.Unauthenticated("nobody knows " + name)
	})
	return d
}

// as gives the context of a call by a principal with these grants.
func (d *door) as(ctx context.Context, grants ...access.Grant) context.Context {
	d.mu.Lock()
	defer d.mu.Unlock()
	name := fmt.Sprint("guest", len(d.guests))
	d.guests[name] = &access.Principal{Name: "guest", Grants: grants}
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+name)
}

// method is a method of the API as its definition has it.
type method struct {
	protoreflect.MethodDescriptor
	// name is without the package: Service/Method.
	name   string
	action access.Action
}

// apiMethods are all methods of the API, in the order of their names.
func apiMethods(t *testing.T) []method {
	t.Helper()
	var all []method
	protoregistry.GlobalFiles.RangeFilesByPackage("jointledger.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			s := f.Services().Get(i)
			for j := range s.Methods().Len() {
				m := method{MethodDescriptor: s.Methods().Get(j)}
				m.name = string(s.Name()) + "/" + string(m.Name())
				var err error
				if m.action, err = access.ActionOf("/jointledger.v1." + m.name); err != nil {
					t.Error(err)
				}
				all = append(all, m)
			}
		}
		return true
	})
	slices.SortFunc(all, func(a, b method) int { return strings.Compare(a.name, b.name) })
	if len(all) < 120 {
		t.Fatalf("only %d methods", len(all))
	}
	return all
}

func messageOf(t *testing.T, d protoreflect.MessageDescriptor) proto.Message {
	t.Helper()
	kind, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
	if err != nil {
		t.Fatal(err)
	}
	return kind.New().Interface()
}

// batch is the list of members that a request has; nil when it is no batch.
func (m method) batch() protoreflect.FieldDescriptor {
	name := string(m.Name())
	if !strings.HasPrefix(name, "BatchCreate") && !strings.HasPrefix(name, "Record") && !strings.HasPrefix(name, "Deliver") {
		return nil
	}
	fields := m.Input().Fields()
	for i := range fields.Len() {
		if f := fields.Get(i); f.IsList() && f.Message() != nil {
			return f
		}
	}
	return nil
}

// requests reads the messages of a request about each of the sites: members of one
// batch, or one request about the last of them. What would change something is only
// tried, where the API can.
func (m method) requests(t *testing.T, d *door, text string, sites ...string) []proto.Message {
	t.Helper()
	read := func(into proto.Message, text, site string) proto.Message {
		if err := prototext.Unmarshal([]byte(d.fill(text, site)), into); err != nil {
			t.Fatalf("%s: %v in %s", m.name, err, d.fill(text, site))
		}
		return into
	}
	var all []proto.Message
	if list := m.batch(); list != nil {
		r := messageOf(t, m.Input())
		members := r.ProtoReflect().Mutable(list).List()
		for _, site := range sites {
			member := members.NewElement()
			read(member.Message().Interface(), text, site)
			members.Append(member)
		}
		all = []proto.Message{r}
	} else {
		for _, part := range strings.Split(text, "\n---\n") {
			all = append(all, read(messageOf(t, m.Input()), part, sites[len(sites)-1]))
		}
	}
	if f := m.Input().Fields().ByName("validate_only"); f != nil {
		all[0].ProtoReflect().Set(f, protoreflect.ValueOfBool(true))
	}
	return all
}

// call calls the method and gives all that it answers. A watch is read until it has
// told what there is.
func (m method) call(t *testing.T, ctx context.Context, d *door, requests []proto.Message) ([]proto.Message, error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(ctx, 2*time.Minute)
	defer cancel()
	path := "/jointledger.v1." + m.name
	if !m.IsStreamingClient() && !m.IsStreamingServer() {
		answer := messageOf(t, m.Output())
		if err := d.conn.Invoke(ctx, path, requests[0], answer); err != nil {
			return nil, err
		}
		return []proto.Message{answer}, nil
	}
	s, err := d.conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: m.IsStreamingServer(), ClientStreams: m.IsStreamingClient()}, path)
	if err != nil {
		return nil, err
	}
	for _, r := range requests {
		if err := s.SendMsg(r); err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
	}
	if err := s.CloseSend(); err != nil {
		return nil, err
	}
	var answers []proto.Message
	for {
		answer := messageOf(t, m.Output())
		if err := s.RecvMsg(answer); errors.Is(err, io.EOF) {
			return answers, nil
		} else if err != nil {
			return answers, err
		}
		answers = append(answers, answer)
		if w, ok := answer.(*pb.WatchAlarmsResponse); ok && w.Alarm == nil || !m.IsStreamingServer() {
			return answers, nil
		}
	}
}

var (
	placeholder = regexp.MustCompile(`\{[a-zA-Z]+\}`)
	nextNew     int
	newMutex    sync.Mutex
)

// fill puts a site into the text of a request.
func (d *door) fill(text, site string) string {
	mark := markOf(site)
	return placeholder.ReplaceAllStringFunc(text, func(p string) string {
		switch name := p[1 : len(p)-1]; name {
		case "S":
			return site
		case "s":
			return strings.ToLower(site)
		case "M":
			return mark
		case "new":
			newMutex.Lock()
			defer newMutex.Unlock()
			nextNew++
			return fmt.Sprintf("01950000-0000-7000-9000-%012x", nextNew)
		case "alarm":
			if id := d.alarms[site]; id != "" {
				return id
			}
			return idAt(site, name)
		case "sum":
			sum := sha256.Sum256([]byte("\x89PNG\r\n\x1a\n" + mark))
			return hex.EncodeToString(sum[:])
		case "e", "q":
			person := map[string]string{"e": "nd1", "q": "qa1"}[name]
			return fmt.Sprintf(`entry:{occur_time:{seconds:%d} person:"people/%s" device:"tablet %s" note:"%s"}`, workTime.Unix(), person, mark, mark)
		default:
			return idAt(site, name)
		}
	})
}

// workTime is when everything at the sites happened.
var workTime = time.Date(2026, 3, 10, 9, 0, 0, 0, time.UTC)

func markOf(site string) string {
	if site == own || site == ownToo {
		return "plain " + site
	}
	return otherMark + " " + site
}

// idAt is the id of a record of a site: the same in every database.
func idAt(site, name string) string {
	sum := sha256.Sum256([]byte(site + " " + name))
	return "01950000-0000-7000-8000-" + hex.EncodeToString(sum[:6])
}

// told is one step of a story: a method and its request, of a batch one member.
type told struct{ method, text string }

// companyStory is what belongs to no site.
var companyStory = []told{
	{"StructureService/CreateSite", `site_id:"ASH" ` + aSite},
	{"StructureService/CreateSite", `site_id:"ELM" site:{display_name:"Elm" region:"region ELM" time_zone:"Europe/Dublin"}`},
	{"SpecificationService/CreateSpecification", `specification_id:"SS-M10" specification:{` + specBody + `}`},
	{"SpecificationService/CreateSpecification", `specification_id:"SS-SEAM" specification:{` + specBody + ` sealant:"strip" seal_width_millimetres:20 minimum_surface_celsius:5}`},
	{"ConsumableService/CreateBatch", `batch_id:"S-77" batch:{kind:CONSUMABLE_KIND_STRIP_SEALANT product:"strip"}`},
	{"ConsumableService/CreateSubstitution", `substitution_id:"S-1" substitution:{specification:"specifications/SS-M10" permitted:{thread:"M10" length_millimetres:50 material:MATERIAL_316} approved_by:"qa1"}`},
	{"LotService/CreateLot", `lot_id:"L-1" ` + aLot},
	{"LotService/CreateLot", `lot_id:"L-2" ` + aLot},
	{"PersonService/CreatePerson", `person_id:"nd1" person:{display_name:"Nessa" roles:ROLE_TECHNICIAN qualifications:{task:"bolting"} qualifications:{task:"sealing"}}`},
	{"PersonService/CreatePerson", `person_id:"qa1" person:{display_name:"Orla" roles:ROLE_QUALITY qualifications:{task:"inspection"}}`},
	{"ToolService/CreateTool", `tool_id:"TW-1" tool:{` + toolBody + `home_site:"sites/ASH" interval_cycles:5000}`},
	{"ToolService/CreateTool", `tool_id:"TW-2" tool:{` + toolBody + `home_site:"sites/ASH"}`},
	{"ToolService/RecordCalibrations", `name:"calibrations/` + goodCalibration + `" tool:"tools/TW-1" certificate:"C-1" ` + early(aReading)},
	{"ToolService/RecordCalibrations", `name:"calibrations/01950000-0000-7000-8000-0000000000c2" tool:"tools/TW-2" certificate:"C-2" ` + early(aReading)},
	{"AlarmService/CreateAlarmRule", `alarm_rule_id:"GALL" alarm_rule:{` + gallsOf + `}`},
}

// failureStory is how TW-2 was found to have failed, after the work.
var failureStory = []told{
	{"ToolService/RecordCalibrations", `name:"calibrations/01950000-0000-7000-8000-0000000000c3" tool:"tools/TW-2" certificate:"C-3" ` +
		`laboratory:"Fell Metrology" points:{phase:CALIBRATION_PHASE_AS_FOUND target_newton_metres:24 readings_newton_metres:[22.4,22.4] expanded_uncertainty_newton_metres:0.3 coverage_factor:2} ` +
		`entry:{occur_time:{seconds:1773565200} person:"people/nd1"}`},
}

// early puts what is written into the beginning of the month, before the work.
func early(text string) string {
	return strings.ReplaceAll(text, "{e}", `entry:{occur_time:{seconds:1772355600} person:"people/nd1"}`)
}

// siteStory is what is registered and recorded at a site.
var siteStory = []told{
	{"StructureService/CreateSite", `site_id:"{S}" ` + aSite},
	{"StructureService/CreateTower", `parent:"sites/{S}" tower_id:"CT1" tower:{material:MATERIAL_316 drawing:"{M}" planned_start:"2026-03-02" planned_finish:"2026-04-30"}`},
	{"StructureService/CreateCell", `parent:"sites/{S}/towers/CT1" cell_id:"C1" cell:{description:"{M}"}`},
	{"StructureService/CreateCell", `parent:"sites/{S}/towers/CT1" cell_id:"C2" cell:{}`},
	{"StructureService/CreateJoint", `parent:"sites/{S}/towers/CT1/cells/C1" joint_id:"J001" joint:{` + jointBody + `}`},
	{"StructureService/CreateJoint", `parent:"sites/{S}/towers/CT1/cells/C1" joint_id:"J002" joint:{kind:JOINT_KIND_SEAM part_a:"{M}" part_b:"casing" specification:"specifications/SS-SEAM" fasteners:10}`},
	{"StructureService/CreateJoint", `parent:"sites/{S}/towers/CT1/cells/C1" joint_id:"J003" joint:{` + jointBody + `}`},
	{"StructureService/CreateJoint", `parent:"sites/{S}/towers/CT1/cells/C2" joint_id:"J004" joint:{` + jointBody + `}`},
	{"LotService/RecordLotMovements", `name:"lotMovements/{came}" lot:"lots/L-1" site:"sites/{S}" kind:MOVEMENT_KIND_RECEIVED quantity:{many} reference:"{M}" handled_by:"{M}" ` + early(`{e}`)},
	{"LotService/RecordLotMovements", `name:"lotMovements/{cameToo}" lot:"lots/L-2" site:"sites/{S}" kind:MOVEMENT_KIND_RECEIVED quantity:{many} reference:"{M}" ` + early(`{e}`)},
	{"AssemblyService/RecordTightenings", `name:"tightenings/{driven}" joint:"` + joint1 + `" ` + aTightening},
	{"AssemblyService/RecordTightenings", `name:"tightenings/{drivenToo}" joint:"` + joint3 + `" ` + strings.Replace(aTightening, "L-1", "L-2", 1)},
	{"AssemblyService/RecordTightenings", `name:"tightenings/{loose}" joint:"` + cell2 + `/joints/J004" ` + strings.Replace(aTightening, "newton_metres:32", "newton_metres:12", 1)},
	{"AssemblyService/RecordTightenings", `name:"tightenings/{mistaken}" joint:"` + joint3 + `" ` + aTightening},
	{"AssemblyService/RecordTightenings", `name:"tightenings/{miscounted}" joint:"` + joint3 + `" ` + aTightening},
	{"InspectionService/RecordSealings", `name:"sealings/{sealed}" joint:"` + seamOf + `" ` + aSealing},
	{"AssemblyService/RecordIncidents", `name:"incidents/{galled}" joint:"` + joint1 + `" fasteners:9 ` + galls},
	{"AssemblyService/RecordIncidents", `name:"incidents/{galledToo}" joint:"` + joint3 + `" fasteners:2 ` + strings.Replace(galls, "L-1", "L-2", 1)},
	{"AssemblyService/RecordIncidents", `name:"incidents/{leaked}" kind:INCIDENT_KIND_LEAK joint:"` + seamOf + `" noticed:"{M}" {e}`},
	{"InspectionService/RecordInspections", `name:"inspections/{tested}" kind:INSPECTION_KIND_LEAK_TEST sample:1 result:INSPECTION_RESULT_FAIL joint:"` + seamOf + `" plan:"{M}" {q}`},
	{"InspectionService/RecordInspections", `name:"inspections/{audited}" joint:"` + joint1 + `" ` + anAudit},
	{"ControlService/RecordHolds", `name:"holds/{held}" place:"` + joint1 + `" ` + aHold},
	{"ControlService/RecordHolds", `name:"holds/{heldCell}" place:"` + cell2 + `" ` + aHold},
	{"ControlService/RecordHolds", `name:"holds/{heldOnce}" place:"` + joint3 + `" ` + aHold},
	{"ControlService/RecordHolds", `name:"holds/{freed}" action:HOLD_ACTION_RELEASED releases:"holds/{heldOnce}" place:"` + joint3 + `" decision:DECISION_USE_AS_IS reason:"measured {M}" {q}`},
	{"ControlService/RecordDispositions", `name:"dispositions/{decided}" incident:"incidents/{galled}" ` + reworked},
	{"ControlService/RecordSignOffs", `name:"signOffs/{signed}" place:"sites/{S}/towers/CT1/cells/C1" ` + aSignOff},
	{"ControlService/RecordCorrections", `name:"corrections/{corrected}" corrects:"tightenings/{mistaken}" reason:"counted twice {M}" {e}`},
	{"AttachmentService/UploadAttachment", anUpload},
}

// toolStory is what befell tools at the caller's own site.
var toolStory = []told{
	{"ControlService/RecordCustodyChanges", `name:"custodyChanges/{issued}" kind:CUSTODY_KIND_RETURNED ` + aCustody},
	{"ToolService/RecordToolChecks", `name:"toolChecks/{checked}" ` + aCheck},
	{"ControlService/RecordHolds", `name:"holds/{heldLot}" lot:"lots/L-2" site:"sites/{S}" ` + aHold},
}

// tell has a story happen at a site.
func (d *door) tell(t *testing.T, methods []method, site string, story ...told) {
	t.Helper()
	quantity := "500"
	if site == other {
		quantity = otherQuantity
	}
	for _, step := range story {
		i := slices.IndexFunc(methods, func(m method) bool { return m.name == step.method })
		requests := methods[i].requests(t, d, strings.ReplaceAll(step.text, "{many}", quantity), site)
		if f := methods[i].Input().Fields().ByName("validate_only"); f != nil {
			requests[0].ProtoReflect().Clear(f)
		}
		answers, err := methods[i].call(t, t.Context(), d, requests)
		if err != nil {
			t.Fatalf("%s at %s: %s", step.method, site, render(err))
		}
		for _, a := range answers {
			taken(t, outcomesOf(a))
		}
	}
}

// world has the whole fleet happen: the company, the caller's site, those of others,
// and then the tool that failed.
func (d *door) world(t *testing.T, methods []method, others ...string) {
	t.Helper()
	d.tell(t, methods, own, companyStory...)
	for _, site := range append([]string{own}, others...) {
		story := siteStory
		if site == own {
			story = slices.Concat(siteStory, toolStory)
		}
		d.tell(t, methods, site, story...)
		for more := true; more; {
			var err error
			if more, err = d.store.AdvanceAlarms(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
		list := must[*pb.ListAlarmsResponse](t)(d.clients.alarms.ListAlarms(t.Context(), &pb.ListAlarmsRequest{Site: "sites/" + site}))
		if len(list.Alarms) == 0 {
			t.Fatalf("no alarm at %s", site)
		}
		d.alarms[site] = strings.TrimPrefix(list.Alarms[0].Name, "alarms/")
	}
	d.tell(t, methods, own, failureStory...)
}

// outcomesOf are those of an answer to a batch, or of one that has a single one.
func outcomesOf(answer proto.Message) []*pb.Outcome {
	switch a := answer.(type) {
	case interface{ GetOutcomes() []*pb.Outcome }:
		return a.GetOutcomes()
	case interface{ GetOutcome() *pb.Outcome }:
		if o := a.GetOutcome(); o != nil {
			return []*pb.Outcome{o}
		}
	}
	return nil
}
