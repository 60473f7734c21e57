package csvfolder

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "jointledger/proto/jointledger/v1"
)

// keeper stands where the server would: it keeps what is sent by name, knows it
// again, and refuses what it is told to and what names a thing it has not got.
// It answers every batch method alike, so that the passes of an import can be
// followed without a server.
type keeper struct {
	mu      sync.Mutex        // batches are checked some at once
	kept    map[string]string // content by name
	refuse  map[string]*pb.Refusal
	found   map[string][]*pb.Finding
	failAt  string // a method that fails as if the server were gone
	batches []string
}

func newKeeper() *keeper { return &keeper{kept: map[string]string{}, refuse: map[string]*pb.Refusal{}} }

func (k *keeper) NewStream(context.Context, *grpc.StreamDesc, string, ...grpc.CallOption) (grpc.ClientStream, error) {
	return nil, errors.ErrUnsupported
}

func (k *keeper) Invoke(_ context.Context, method string, args, reply any, _ ...grpc.CallOption) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	method = method[strings.LastIndexByte(method, '/')+1:]
	request := args.(proto.Message).ProtoReflect()
	if strings.HasPrefix(method, "Get") {
		if k.kept[memberName(request)] == "" {
			return status.Error(codes.NotFound, "not known")
		}
		return nil
	}
	var members []protoreflect.Message
	validate := false
	request.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if f.IsList() {
			for i := range v.List().Len() {
				members = append(members, v.List().Get(i).Message())
			}
		} else if f.Name() == "validate_only" {
			validate = v.Bool()
		}
		return true
	})
	k.batches = append(k.batches, fmt.Sprintf("%s %d %v", method, len(members), validate))
	if method == k.failAt && !validate {
		return status.Error(codes.Unavailable, "gone")
	}
	answer := reply.(proto.Message).ProtoReflect()
	outcomes := answer.Mutable(answer.Descriptor().Fields().ByName("outcomes")).List()
	for _, m := range members {
		outcomes.Append(protoreflect.ValueOfMessage(k.answer(m, validate).ProtoReflect()))
	}
	return nil
}

func (k *keeper) answer(m protoreflect.Message, validate bool) *pb.Outcome {
	name := memberName(m)
	content := fmt.Sprint(m.Interface())
	o := &pb.Outcome{Name: name, State: pb.Outcome_STATE_TAKEN, Findings: k.found[name]}
	refused := func(r *pb.Refusal) *pb.Outcome {
		o.State, o.Refusal = pb.Outcome_STATE_REFUSED, r
		return o
	}
	if r := k.refuse[name]; r != nil {
		return refused(r)
	}
	for _, field := range []string{"joint", "lot", "tool", "parent"} {
		f := m.Descriptor().Fields().ByName(protoreflect.Name(field))
		if f == nil || f.Kind() != protoreflect.StringKind {
			continue
		}
		if ref := m.Get(f).String(); ref != "" && k.kept[ref] == "" {
			return refused(&pb.Refusal{Reason: pb.ErrorReason_ERROR_REASON_UNKNOWN_RESOURCE, ResourceName: ref, Message: ref + " is not known"})
		}
	}
	switch have := k.kept[name]; {
	case have == content:
		o.State = pb.Outcome_STATE_ALREADY_KNOWN
	case have != "":
		return refused(&pb.Refusal{Reason: pb.ErrorReason_ERROR_REASON_RESOURCE_EXISTS, ResourceName: name, Message: name + " has other content"})
	case !validate:
		k.kept[name] = content
	}
	return o
}

// memberName is the name that a member of a batch has, or will have.
func memberName(m protoreflect.Message) string {
	fields := m.Descriptor().Fields()
	if f := fields.ByName("name"); f != nil {
		return m.Get(f).String()
	}
	collections := map[string]string{
		"site_id": "sites", "tower_id": "towers", "cell_id": "cells", "joint_id": "joints",
		"specification_id": "specifications", "lot_id": "lots", "tool_id": "tools", "person_id": "people", "batch_id": "batches",
	}
	for i := range fields.Len() {
		if c := collections[string(fields.Get(i).Name())]; c != "" {
			name := c + "/" + m.Get(fields.Get(i)).String()
			if p := fields.ByName("parent"); p != nil {
				name = m.Get(p).String() + "/" + name
			}
			return name
		}
	}
	return ""
}

// fleet is a small folder of the test's own.
func fleet() map[string]string {
	return map[string]string{
		"sites.csv":         "code,name,region,time_zone,status\nASH,Ashmere Works,west,Europe/Dublin,active\n",
		"people.csv":        "person,name,employer,site,roles,qualification,expires\nab,A B,Erectors,ASH,technician,bolting,2027-01-31\nab,,,ASH,crib;technician,sealing,\n",
		"specs.csv":         "spec,thread,length_mm,material,property_class,coating,head,treatment,locking,torque_n_m,torque_tolerance_pct,torque_basis,nut_factor,sealant,seal_width_mm,min_surface_c\nS1,M10,30,304,A2-70,plain,hex,anti-seize,none,32,10,lubricated,0.15,,,\n",
		"lots.csv":          "lot,supplier,heat,thread,length_mm,material,property_class,coating,head\nL1,Boltworks,H1,M10,30,304,A2-70,plain,hex\n",
		"tools.csv":         "serial,kind,type_class,min_n_m,max_n_m,resolution_n_m,home_site,interval_months,interval_cycles\nT1,torque-wrench,II-A,8,40,0.2,ASH,12,5000\n",
		"towers.csv":        "site,tower,material,drawing,planned_start,planned_finish\nASH,CT1,304,D-1,2026-03-02,\n",
		"joints.csv":        "site,tower,cell,joint,kind,critical,spec,fasteners\nASH,CT1,C1,J1,structural,true,S1,12\nASH,CT1,C2,J1,seam,false,S1,8\n",
		"lot_movements.csv": "id,lot,site,kind,quantity,at,by,reference\n019c55cc-a180-7186-ab73-e0ee2a189905,L1,ASH,received,4800,2026-02-13T07:00:00Z,stores,DN-1\n",
		"calibrations.csv": "id,serial,at,laboratory,certificate,phase,target_n_m,readings_n_m,expanded_uncertainty_n_m,coverage_factor\n" +
			"01967b9f-ea80-7862-bc88-d1cefe175270,T1,2025-04-28T09:00:00Z,Lab,C1,as-left,8.0,8.06;8.05,0.096,2\n" +
			"01967b9f-ea80-7862-bc88-d1cefe175270,T1,2025-04-28T09:00:00Z,Lab,C1,as-left,24.0,24.1;24.2,0.288,2\n",
		"tightenings.csv": "id,site,tower,cell,joint,at,person,lot,treatment,batch,tool,torque_n_m,fasteners,pass,method\n" +
			"019cad6f-a0e0-7d33-b5f5-d520a5bbb89f,ASH,CT1,C1,J1,2026-03-02T07:25:00+01:00,ab,L1,anti-seize,B1,T1,32,11,first,hand\n",
		"incidents.csv": "id,site,tower,cell,joint,at,person,kind,fasteners,lot,treatment,tool,method,noticed,action,note\n" +
			"019cadd3-6bc0-77c9-9e41-58325664ba11,ASH,CT1,C1,J1,2026-03-02T09:14:00Z,ab,galling,1,L1,anti-seize,T1,hand,run-down,cut off,\n" +
			"019cadd3-6bc0-77c9-9e41-58325664ba12,ASH,,,,2026-03-02T09:15:00Z,ab,dropped-tool,,,,T1,,,,from the deck\n",
		"batches.csv": "batch,kind,product,expires,max_c\nB1,anti-seize,nickel paste,2027-06-30,40\n",
		"custody.csv": "id,serial,kind,site,person,at,reported_by\n" +
			"019685ec-a280-7174-939e-e24e43a94dc6,T1,issued,ASH,ab,2025-04-30T09:00:00+01:00,ab\n",
		"sealings.csv": "id,site,tower,cell,joint,at,person,sealant,batch,width_mm,solvent,cleaned_at,air_c,surface_c,humidity_pct,splices,flange_straight\n" +
			"019cad6f-a0e0-7a40-8637-7ab521c5dcf2,ASH,CT1,C2,J1,2026-03-02T07:25:00Z,ab,strip,B2,25.4,acetone,2026-03-02T06:24:00Z,-1,0,79.5,mid-run,true\n",
		"inspections.csv": "id,site,tower,cell,joint,at,person,kind,sample,readings_n_m,result\n" +
			"019caeae-3b60-7b40-9aaf-3d36e5a382a4,ASH,CT1,C1,J1,2026-03-02T13:13:00Z,ab,torque-audit,,30.7;33.4,pass\n",
		"joint.csv": "x\n",
		"notes.txt": "x\n",
	}
}

func write(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// summary is one line for each report.
func summary(reports []*FileReport) []string {
	var lines []string
	for _, r := range reports {
		lines = append(lines, fmt.Sprintf("%s %d %d %d %s", r.File, r.Taken, r.AlreadyKnown, r.Refused, r.Status))
	}
	return lines
}

func problemsOf(dir string, reports []*FileReport) []string {
	var lines []string
	for _, r := range reports {
		for _, p := range r.Problems.Listed() {
			lines = append(lines, strings.TrimPrefix(p.String(), dir+string(filepath.Separator)))
		}
	}
	return lines
}

var allTaken = []string{
	"sites.csv 1 0 0 taken", "people.csv 1 0 0 taken", "specs.csv 1 0 0 taken", "lots.csv 1 0 0 taken", "batches.csv 1 0 0 taken",
	"tools.csv 1 0 0 taken", "towers.csv 1 0 0 taken", "cells.csv 2 0 0 taken", "joints.csv 2 0 0 taken",
	"lot_movements.csv 1 0 0 taken", "calibrations.csv 1 0 0 taken", "custody.csv 1 0 0 taken", "sealings.csv 1 0 0 taken",
	"tightenings.csv 1 0 0 taken", "incidents.csv 2 0 0 taken", "inspections.csv 1 0 0 taken",
	"joint.csv 0 0 0 left-alone", "notes.txt 0 0 0 left-alone",
}

func TestTakeAndTakeAgain(t *testing.T) {
	dir, server := write(t, fleet()), newKeeper()
	reports, err := Take(t.Context(), dir, server, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(allTaken, summary(reports)); d != "" {
		t.Errorf("first import (-want +got):\n%s", d)
	}
	if note := reports[len(reports)-2].Note; !strings.Contains(note, "did you mean joints.csv") {
		t.Errorf("note on joint.csv: %q", note)
	}
	before := len(server.kept)
	reports, err = Take(t.Context(), dir, server, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range reports[:16] {
		if r.Taken != 0 || r.Refused != 0 || r.AlreadyKnown == 0 || r.Status != StatusTaken {
			t.Errorf("second import: %+v", r)
		}
	}
	if len(server.kept) != before {
		t.Errorf("the second import changed the server: %d to %d", before, len(server.kept))
	}
}

func TestTakeIsIndifferentToTheWayAFileIsWritten(t *testing.T) {
	plain, server := fleet(), newKeeper()
	if _, err := Take(t.Context(), write(t, plain), server, Options{}); err != nil {
		t.Fatal(err)
	}
	want := server.kept
	other, again := map[string]string{}, newKeeper()
	for name, text := range plain {
		other[name] = "\ufeff" + strings.ReplaceAll(text, "\n", "\r\n") + "\r\n"
	}
	if _, err := Take(t.Context(), write(t, other), again, Options{}); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, again.kept); d != "" {
		t.Error(d)
	}
}

// Every message is made of every column: read back from the fields of the API.
func TestTakeReadsEveryColumn(t *testing.T) {
	dir, server := write(t, fleet()), newKeeper()
	if _, err := Take(t.Context(), dir, server, Options{}); err != nil {
		t.Fatal(err)
	}
	for name, parts := range map[string][]string{
		"people/ab":         {`display_name:"A B"`, `employer:"Erectors"`, `home_site:"sites/ASH"`, "roles:ROLE_TECHNICIAN roles:ROLE_CRIB", `task:"bolting" expire_date:"2027-01-31"`, `task:"sealing"`},
		"tools/T1":          {"kind:TOOL_KIND_TORQUE_WRENCH", `type_class:"II-A"`, "minimum_newton_metres:8", "maximum_newton_metres:40", "resolution_newton_metres:0.2", "interval_months:12", "interval_cycles:5000"},
		"specifications/S1": {"torque_newton_metres:32", "torque_tolerance_percent:10", "torque_basis:TORQUE_BASIS_LUBRICATED", "nut_factor:0.15", "locking_method:LOCKING_METHOD_NONE", "material:MATERIAL_304"},
		"batches/B1":        {"kind:CONSUMABLE_KIND_ANTI_SEIZE", `product:"nickel paste"`, `expire_date:"2027-06-30"`, "maximum_celsius:40"},
		"custodyChanges/019685ec-a280-7174-939e-e24e43a94dc6": {`tool:"tools/T1"`, "kind:CUSTODY_KIND_ISSUED", `site:"sites/ASH"`, `holder:"people/ab"`, `person:"people/ab"`, "utc_offset_minutes:60"},
		// 2026-03-02T06:24:00Z is 1772432640 s after 1970, from date(1).
		"sealings/019cad6f-a0e0-7a40-8637-7ab521c5dcf2": {`joint:"sites/ASH/towers/CT1/cells/C2/joints/J1"`, `sealant:"strip"`, `batch:"B2"`, "width_millimetres:25.4", `solvent:"acetone"`,
			"clean_time:{seconds:1772432640}", "air_celsius:-1", "surface_celsius:0", "humidity_percent:79.5", "splice:SPLICE_MID_RUN", "flange_straight:true", `person:"people/ab"`},
		"inspections/019caeae-3b60-7b40-9aaf-3d36e5a382a4":  {"kind:INSPECTION_KIND_TORQUE_AUDIT", "sample:2", "readings_newton_metres:30.7 readings_newton_metres:33.4", "result:INSPECTION_RESULT_PASS"},
		"sites/ASH/towers/CT1":                              {`drawing:"D-1"`, `planned_start:"2026-03-02"`},
		"sites/ASH/towers/CT1/cells/C1/joints/J1":           {"kind:JOINT_KIND_STRUCTURAL", "critical:true", `specification:"specifications/S1"`, "fasteners:12"},
		"lotMovements/019c55cc-a180-7186-ab73-e0ee2a189905": {"kind:MOVEMENT_KIND_RECEIVED", "quantity:4800", `handled_by:"stores"`, `reference:"DN-1"`},
		"calibrations/01967b9f-ea80-7862-bc88-d1cefe175270": {"target_newton_metres:8", "readings_newton_metres:8.06 readings_newton_metres:8.05", "target_newton_metres:24", "expanded_uncertainty_newton_metres:0.288", "coverage_factor:2"},
		"tightenings/019cad6f-a0e0-7d33-b5f5-d520a5bbb89f":  {`joint:"sites/ASH/towers/CT1/cells/C1/joints/J1"`, `compound_batch:"B1"`, "torque_newton_metres:32", "fasteners:11", "pass:PASS_FIRST", "driving_method:DRIVING_METHOD_HAND", "utc_offset_minutes:60", `person:"people/ab"`},
		"incidents/019cadd3-6bc0-77c9-9e41-58325664ba12":    {"kind:INCIDENT_KIND_DROPPED_TOOL", `site:"sites/ASH"`, `tool:"tools/T1"`, `note:"from the deck"`},
		"incidents/019cadd3-6bc0-77c9-9e41-58325664ba11":    {"kind:INCIDENT_KIND_GALLING", `noticed:"run-down"`, `action:"cut off"`, "fasteners:1"},
	} {
		text := strings.Join(strings.Fields(server.kept[name]), " ")
		for _, part := range parts {
			if !strings.Contains(text, part) {
				t.Errorf("%s lacks %s: %s", name, part, text)
			}
		}
	}
}

// A file with a bad line is refused as a whole, and so is what needs it.
func TestTakeRefusesAFileWithABadLine(t *testing.T) {
	files := fleet()
	files["joints.csv"] += "ASH,CT1,C3,J1,seam,false,S1,0\n"
	dir, server := write(t, files), newKeeper()
	reports, err := Take(t.Context(), dir, server, Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := append(append([]string{}, allTaken[:7]...), "joints.csv 0 0 1 refused",
		"lot_movements.csv 1 0 0 taken", "calibrations.csv 1 0 0 taken", "custody.csv 1 0 0 taken", "sealings.csv 0 0 0 skipped",
		"tightenings.csv 0 0 0 skipped", "incidents.csv 0 0 0 skipped", "inspections.csv 0 0 0 skipped")
	if d := cmp.Diff(want, summary(reports)[:len(want)]); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if d := cmp.Diff([]string{`joints.csv:4:29: column fasteners: expected a whole number from 1 to 100000, got "0"`}, problemsOf(dir, reports)); d != "" {
		t.Error(d)
	}
	for name := range server.kept {
		if strings.Contains(name, "/cells/") {
			t.Errorf("%s was taken from a refused file", name)
		}
	}
	if !strings.Contains(reports[12].Note, "joints.csv") {
		t.Errorf("the skipped file does not say why: %q", reports[9].Note)
	}
}

func TestTakeKeepsGoodLinesWhenAsked(t *testing.T) {
	files := fleet()
	files["joints.csv"] += "ASH,CT1,C3,J1,seam,false,S1,0\nASH,CT1,C3,J2,seam,false,S1,2\n"
	server := newKeeper()
	reports, err := Take(t.Context(), write(t, files), server, Options{KeepGood: true})
	if err != nil {
		t.Fatal(err)
	}
	got := summary(reports)
	if got[7] != "cells.csv 3 0 0 taken" || got[8] != "joints.csv 3 0 1 partly-taken" || got[13] != "tightenings.csv 1 0 0 taken" {
		t.Errorf("%q", got)
	}
}

// What the server refuses is named like what the file itself has wrong, and the
// checking pass keeps the file whole.
func TestTakeNamesTheServersRefusals(t *testing.T) {
	const joint = "sites/ASH/towers/CT1/cells/C2/joints/J1"
	for _, tc := range []struct {
		name    string
		at      string
		refusal *pb.Refusal
		want    []string
	}{
		{"field of a thing", joint, &pb.Refusal{Reason: pb.ErrorReason_ERROR_REASON_INVALID_FIELD, FieldViolations: []*pb.FieldViolation{
			{Field: "fasteners", Description: "too many"}, {Field: "joint.part_a", Description: "too long"}, {Field: "strange", Description: "odd"}}},
			[]string{"joints.csv:3:29: column fasteners: too many", "joints.csv:3:1: column part_a: too long", "joints.csv:3:1: strange: odd"}},
		{"unknown thing", joint, &pb.Refusal{Reason: pb.ErrorReason_ERROR_REASON_UNKNOWN_RESOURCE, ResourceName: "specifications/S1", Message: `specification "S1" is not known`},
			[]string{`joints.csv:3:26: column spec: specification "S1" is not known`}},
		{"unknown place", joint, &pb.Refusal{ResourceName: "sites/ASH/towers/CT1/cells/C2", Message: "cell is not known"},
			[]string{"joints.csv:3:9: column cell: cell is not known"}},
		{"point of a calibration", "calibrations/01967b9f-ea80-7862-bc88-d1cefe175270", &pb.Refusal{FieldViolations: []*pb.FieldViolation{
			{Field: "points[1].readings_newton_metres[0]", Description: "out of range"}, {Field: "entry.occur_time", Description: "bad"}}},
			[]string{"calibrations.csv:3:82: column readings_n_m: out of range", "calibrations.csv:2:41: column at: bad"}},
		{"qualification", "people/ab", &pb.Refusal{FieldViolations: []*pb.FieldViolation{{Field: "qualifications[1].task", Description: "too long"}}},
			[]string{"people.csv:3:26: column qualification: too long"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			dir, server := write(t, fleet()), newKeeper()
			server.refuse[tc.at] = tc.refusal
			reports, err := Take(t.Context(), dir, server, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(tc.want, problemsOf(dir, reports)); d != "" {
				t.Errorf("(-want +got):\n%s", d)
			}
			if strings.HasPrefix(tc.want[0], "joints") && server.kept["sites/ASH/towers/CT1/cells/C1/joints/J1"] != "" {
				t.Error("a good line of a refused file was kept")
			}
		})
	}
}

func TestTakeRefusesLinesThatDisagree(t *testing.T) {
	const cal = "01967b9f-ea80-7862-bc88-d1cefe175270"
	files := fleet()
	files["people.csv"] += "ab,Another Name,,,,,\n"
	files["lots.csv"] += "L1,Boltworks,H1,M10,30,304,A2-70,plain,hex\nL1,Other,H1,M10,30,304,A2-70,plain,hex\n"
	files["calibrations.csv"] += cal + ",T1,2025-04-28T09:00:00Z,Lab,C2,as-left,40.0,40.1,0.48,2\n"
	dir, server := write(t, files), newKeeper()
	reports, err := Take(t.Context(), dir, server, Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		`people.csv:4:4: column name: expected "A B" as in line 2, got "Another Name"`,
		`lots.csv:4:1: column lot: expected a name that no other line has, got that of line 3 with other content`,
		`calibrations.csv:4:66: column certificate: expected "C1" as in line 2, which has the same id, got "C2"`,
	}
	if d := cmp.Diff(want, problemsOf(dir, reports)); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if server.kept["people/ab"] != "" || server.kept["calibrations/"+cal] != "" || server.kept["lots/L1"] != "" {
		t.Error("something of a refused file was kept")
	}
}

func TestTakeAcceptsCellsThatAreKnownWithADescription(t *testing.T) {
	files := fleet()
	files["cells.csv"] = "site,tower,cell,description\nASH,CT1,C1,north end\n"
	dir, server := write(t, files), newKeeper()
	if _, err := Take(t.Context(), dir, server, Options{}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(server.kept["sites/ASH/towers/CT1/cells/C1"], "north end") {
		t.Errorf("cell: %s", server.kept["sites/ASH/towers/CT1/cells/C1"])
	}
	if err := os.Remove(filepath.Join(dir, "cells.csv")); err != nil {
		t.Fatal(err)
	}
	reports, err := Take(t.Context(), dir, server, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := summary(reports)[7]; got != "cells.csv 0 2 0 taken" {
		t.Errorf("implied cells that have a description: %s", got)
	}
}

func TestTakeInBatches(t *testing.T) {
	files := fleet()
	for i := range 2300 {
		files["joints.csv"] += fmt.Sprintf("ASH,CT1,C1,X%d,seam,false,S1,4\n", i)
	}
	server := newKeeper()
	var last Progress
	reports, err := Take(t.Context(), write(t, files), server, Options{Progress: func(p Progress) {
		if p.File == jointsFile {
			last = p
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	if got := summary(reports)[8]; got != "joints.csv 2302 0 0 taken" {
		t.Error(got)
	}
	if want := (Progress{jointsFile, false, 2302, 2302}); last != want {
		t.Errorf("progress %+v", last)
	}
	var sent []string
	for _, b := range server.batches {
		if strings.HasPrefix(b, "BatchCreateJoints") {
			sent = append(sent, strings.TrimPrefix(b, "BatchCreateJoints "))
		}
	}
	slices.Sort(sent[:min(3, len(sent))]) // those that are checked come in any order
	if d := cmp.Diff([]string{"1000 true", "1000 true", "302 true", "1000 false", "1000 false", "302 false"}, sent); d != "" {
		t.Error(d)
	}
}

func TestTakeDryRunKeepsNothing(t *testing.T) {
	files := fleet()
	files["tightenings.csv"] += "019cad6f-a0e0-7d33-b5f5-d520a5bbb890,ASH,CT1,C1,J1,2026-03-02T07:25:00+01:00,ab,L2,anti-seize,,T1,32,11,first,hand\n"
	dir, server := write(t, files), newKeeper()
	reports, err := Take(t.Context(), dir, server, Options{DryRun: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(server.kept) != 0 {
		t.Errorf("kept %d", len(server.kept))
	}
	got := summary(reports)
	if got[8] != "joints.csv 2 0 0 valid" || got[13] != "tightenings.csv 1 0 1 refused" {
		t.Errorf("%q", got)
	}
	if p := problemsOf(dir, reports); len(p) != 1 || !strings.HasPrefix(p[0], "tightenings.csv:3:81: column lot: expected something that is known or comes with the folder, got \"L2\"") {
		t.Errorf("%q", p)
	}
}

func TestTakeStopsWhenTheServerIsGone(t *testing.T) {
	server := newKeeper()
	server.failAt = "RecordTightenings"
	reports, err := Take(t.Context(), write(t, fleet()), server, Options{})
	if status.Code(err) != codes.Unavailable {
		t.Fatalf("got %v", err)
	}
	if last := reports[len(reports)-1]; last.File != "tightenings.csv" || last.Status != StatusNotFinished || last.Taken != 0 {
		t.Errorf("%+v", last)
	}
}

func TestTakeNeedsAFolderOfTheFormat(t *testing.T) {
	dir := write(t, map[string]string{"notes.txt": "x"})
	for _, path := range []string{filepath.Join(dir, "absent"), filepath.Join(dir, "notes.txt"), dir} {
		_, err := Take(t.Context(), path, newKeeper(), Options{})
		var unreadable *NotReadableError
		if !errors.As(err, &unreadable) || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: %v", path, err)
		}
	}
}

func TestTakeNoticesAFileThatChangesUnderIt(t *testing.T) {
	dir, server := write(t, fleet()), newKeeper()
	_, err := Take(t.Context(), dir, server, Options{Progress: func(p Progress) {
		if p.File == "lots.csv" && p.Checking {
			if err := os.WriteFile(filepath.Join(dir, "lots.csv"), []byte(fleet()["lots.csv"]+"L2,X,,M8,,304,,,\n"), 0o600); err != nil {
				t.Error(err)
			}
		}
	}})
	if err == nil || !strings.Contains(err.Error(), "changed") || server.kept["lots/L1"] != "" {
		t.Errorf("got %v", err)
	}
}
