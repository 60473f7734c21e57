package service_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

// kept is what a thing reads back as: with its name, and with what the server
// adds left out.
func kept[M proto.Message](m M, name string) M {
	c := proto.Clone(m).(M)
	r := c.ProtoReflect()
	r.Set(r.Descriptor().Fields().ByName("name"), protoreflect.ValueOfString(name))
	for _, f := range []protoreflect.Name{"etag", "create_time", "update_time", "revision"} {
		if d := r.Descriptor().Fields().ByName(f); d != nil {
			r.Clear(d)
		}
	}
	return c
}

func checkKept[M proto.Message](t *testing.T, got, given M, name string) {
	t.Helper()
	r := got.ProtoReflect()
	for _, f := range []protoreflect.Name{"etag", "create_time", "update_time"} {
		if !r.Has(r.Descriptor().Fields().ByName(f)) {
			t.Errorf("%s: %s is not given", name, f)
		}
	}
	if d := cmp.Diff(kept(given, name), kept(got, name), protocmp.Transform()); d != "" {
		t.Errorf("%s: %s", name, d)
	}
	if n := r.Get(r.Descriptor().Fields().ByName("name")).String(); n != name {
		t.Errorf("named %q; expected %q", n, name)
	}
}

func TestThingsReadBackAsTheyWereGiven(t *testing.T) {
	c, ctx := fleet(t), t.Context()

	wantSite := site()
	wantSite.Status, wantSite.UnitPreference = pb.SiteStatus_SITE_STATUS_ACTIVE, pb.UnitPreference_UNIT_PREFERENCE_SI // the defaults
	checkKept(t, must[*pb.Site](t)(c.structure.GetSite(ctx, &pb.GetSiteRequest{Name: "sites/har"})), wantSite, "sites/HAR")
	checkKept(t, must[*pb.Tower](t)(c.structure.GetTower(ctx, &pb.GetTowerRequest{Name: theTower})), &pb.Tower{Material: pb.Material_MATERIAL_316}, theTower)
	checkKept(t, must[*pb.Cell](t)(c.structure.GetCell(ctx, &pb.GetCellRequest{Name: theCell})), &pb.Cell{}, theCell)
	checkKept(t, must[*pb.Joint](t)(c.structure.GetJoint(ctx, &pb.GetJointRequest{Name: theJoint})), joint(), theJoint)
	checkKept(t, must[*pb.Specification](t)(c.specs.GetSpecification(ctx, &pb.GetSpecificationRequest{Name: "specifications/SS-M10"})), specification(), "specifications/SS-M10")
	wantLot := lot()
	wantLot.State = pb.LotState_LOT_STATE_RELEASED
	checkKept(t, must[*pb.Lot](t)(c.lots.GetLot(ctx, &pb.GetLotRequest{Name: "lots/M10-S-1"})), wantLot, "lots/M10-S-1")
	wantTool := tool()
	wantTool.DueAfterEvent = proto.Bool(true)
	checkKept(t, must[*pb.Tool](t)(c.tools.GetTool(ctx, &pb.GetToolRequest{Name: "tools/TW-1"})), wantTool, "tools/TW-1")
	checkKept(t, must[*pb.Person](t)(c.people.GetPerson(ctx, &pb.GetPersonRequest{Name: "people/nd1"})), person(), "people/nd1")
}

func TestCreatingTheSameAgainChangesNothing(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	before := must[*pb.Lot](t)(c.lots.GetLot(ctx, &pb.GetLotRequest{Name: "lots/M10-S-1"}))
	again := must[*pb.Lot](t)(c.lots.CreateLot(ctx, &pb.CreateLotRequest{LotId: "M10-S-1", Lot: lot()}))
	if d := cmp.Diff(before, again, protocmp.Transform()); d != "" {
		t.Error(d)
	}
	other := lot()
	other.Heat = "H78"
	_, err := c.lots.CreateLot(ctx, &pb.CreateLotRequest{LotId: "M10-S-1", Lot: other})
	if d := cmp.Diff(`AlreadyExists: lot "M10-S-1" is already registered with other content; update it instead
reason jointledger/RESOURCE_EXISTS
resource jointledger/Lot lots/M10-S-1`, render(err)); d != "" {
		t.Error(d)
	}
}

func TestCreateNamesEverythingThatIsWrong(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	_, err := c.structure.CreateJoint(ctx, &pb.CreateJointRequest{
		Parent: "sites/HAR/towers/CT1", JointId: "J002", RequestId: "not-a-uuid",
		Joint: &pb.Joint{Kind: 77, Specification: "lots/SS-M10", Fasteners: 0, PartA: strings.Repeat("x", 101)},
	})
	if d := cmp.Diff(`InvalidArgument: joint is not valid
reason jointledger/INVALID_FIELD
field kind: is required; expected one of structural, mechanical, seam
field part_a: has 101 characters; expected at most 100
field specification: "lots/SS-M10" is not such a name; expected specifications/{specification}
field fasteners: 0 is out of range; expected a whole number from 1 to 100000
field request_id: "not-a-uuid" is not a UUID in its usual form of 36 characters (AIP-155)
field parent: "sites/HAR/towers/CT1" is not the name of a cell; expected sites/{site}/towers/{tower}/cells/{cell}`, render(err)); d != "" {
		t.Error(d)
	}
	_, err = c.structure.CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "BAD SITE", Site: &pb.Site{DisplayName: "x", TimeZone: "Dublin"}})
	if got := render(err); !strings.Contains(got, `field name: "BAD SITE": "BAD SITE" may have only capital letters, digits and hyphens`) || !strings.Contains(got, "field time_zone: ") {
		t.Error(got)
	}
	_, err = c.structure.CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "NEW"})
	if got := render(err); got != "InvalidArgument: site is not valid\nreason jointledger/INVALID_FIELD\nfield site: is required" {
		t.Error(got)
	}
	// A number beyond the domain's width must not wrap around into a valid one.
	_, err = c.structure.CreateTower(ctx, &pb.CreateTowerRequest{Parent: "sites/HAR", TowerId: "CT2", Tower: &pb.Tower{Material: 257}})
	if got := render(err); !strings.Contains(got, "field material: ") {
		t.Error(got)
	}
}

func TestUnknownNamesAreNamedWithTheNearest(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	for _, tc := range []struct {
		name string
		call func() error
		want string
	}{
		{"get", func() error { _, err := c.lots.GetLot(ctx, &pb.GetLotRequest{Name: "lots/M10-S-11"}); return err },
			"NotFound: lot \"M10-S-11\" is not known; the nearest known is \"M10-S-1\"\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/Lot lots/M10-S-11"},
		{"get below", func() error {
			_, err := c.structure.GetJoint(ctx, &pb.GetJointRequest{Name: "sites/HAR/towers/CT9/cells/C1/joints/J001"})
			return err
		}, "NotFound: tower \"HAR/CT9\" is not known; the nearest known is \"CT1\"\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/Tower sites/HAR/towers/CT9"},
		{"create under", func() error {
			_, err := c.structure.CreateTower(ctx, &pb.CreateTowerRequest{Parent: "sites/HAT", TowerId: "CT1", Tower: &pb.Tower{Material: pb.Material_MATERIAL_316}})
			return err
		}, "NotFound: site \"HAT\" is not known; the nearest known is \"HAR\"\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/Site sites/HAT"},
		{"update", func() error {
			_, err := c.people.UpdatePerson(ctx, &pb.UpdatePersonRequest{Person: &pb.Person{Name: "people/zz9"}})
			return err
		}, "NotFound: person \"zz9\" is not known\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/Person people/zz9"},
	} {
		if d := cmp.Diff(tc.want, render(tc.call())); d != "" {
			t.Errorf("%s: %s", tc.name, d)
		}
	}
}

func TestNamesThatAreNone(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	for name, want := range map[string]string{
		"":                         "is required; expected lots/{lot}",
		"M10-S-1":                  `"M10-S-1" is not such a name; expected lots/{lot}`,
		"lots/":                    `"lots/" is not such a name; expected lots/{lot}`,
		"lots/M10-S-1/movements/1": `"lots/M10-S-1/movements/1" is not such a name; expected lots/{lot}`,
	} {
		_, err := c.lots.GetLot(ctx, &pb.GetLotRequest{Name: name})
		if got := render(err); got != "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield name: "+want {
			t.Errorf("%q: %s", name, got)
		}
	}
	_, err := c.structure.GetTower(ctx, &pb.GetTowerRequest{Name: "sites/HAR/towers/-"})
	if got := render(err); !strings.Contains(got, "stands for many") {
		t.Error(got)
	}
}

func TestUpdateChangesWhatTheMaskNames(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	got := must[*pb.Lot](t)(c.lots.UpdateLot(ctx, &pb.UpdateLotRequest{
		Lot:        &pb.Lot{Name: "lots/M10-S-1", State: pb.LotState_LOT_STATE_USED_UP, Supplier: "ignored", Fastener: &pb.Fastener{Coating: "waxed", Thread: "ignored"}},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"state", "fastener.coating"}},
	}))
	want := lot()
	want.State = pb.LotState_LOT_STATE_USED_UP
	want.Fastener.Coating = "waxed"
	checkKept(t, got, want, "lots/M10-S-1")
	checkKept(t, must[*pb.Lot](t)(c.lots.GetLot(ctx, &pb.GetLotRequest{Name: "lots/M10-S-1"})), want, "lots/M10-S-1")

	// Without a mask, and with `*`, everything is as the message has it.
	for _, mask := range []*fieldmaskpb.FieldMask{nil, {Paths: []string{"*"}}} {
		full := &pb.Tool{Name: "tools/TW-1", Kind: pb.ToolKind_TOOL_KIND_HOIST, HomeSite: "sites/HAR", DueAfterEvent: proto.Bool(false)}
		got := must[*pb.Tool](t)(c.tools.UpdateTool(ctx, &pb.UpdateToolRequest{Tool: full, UpdateMask: mask}))
		checkKept(t, got, full, "tools/TW-1")
		must[*pb.Tool](t)(c.tools.UpdateTool(ctx, &pb.UpdateToolRequest{Tool: &pb.Tool{Name: "tools/TW-1", IntervalMonths: 3}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"interval_months"}}}))
	}

	// What the mask does not name may be wrong; what it names may not.
	_, err := c.lots.UpdateLot(ctx, &pb.UpdateLotRequest{
		Lot:        &pb.Lot{Name: "lots/M10-S-1", Supplier: "", State: 99, Fastener: &pb.Fastener{LengthMillimetres: -1}},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"supplier", "fastener"}},
	})
	for _, part := range []string{"field supplier: is required", "field fastener.thread: is required", "field fastener.length_millimetres: -1", "field fastener.material: "} {
		if !strings.Contains(render(err), part) {
			t.Errorf("%q is missing in %s", part, render(err))
		}
	}
	if strings.Contains(render(err), "field state") {
		t.Errorf("state is not in the mask: %s", render(err))
	}
}

// A lot is quarantined by a hold on it: saying so is refused, and told how.
func TestLotIsNotQuarantinedBySayingSo(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	const how = "\nreason jointledger/INVALID_FIELD\nfield state: a lot is quarantined by a hold on it: trackctl hold place --lot …, and released by releasing that hold"
	quarantined := &pb.Lot{Name: "lots/M10-S-1", State: pb.LotState_LOT_STATE_QUARANTINED}
	mask := &fieldmaskpb.FieldMask{Paths: []string{"state"}}
	_, err := c.lots.UpdateLot(ctx, &pb.UpdateLotRequest{Lot: quarantined, UpdateMask: mask})
	if d := cmp.Diff("InvalidArgument: lot is not valid"+how, render(err)); d != "" {
		t.Errorf("update: %s", d)
	}
	fresh := lot()
	fresh.State = pb.LotState_LOT_STATE_QUARANTINED
	_, err = c.lots.CreateLot(ctx, &pb.CreateLotRequest{LotId: "M10-S-77", Lot: fresh})
	if d := cmp.Diff("InvalidArgument: lot is not valid"+how, render(err)); d != "" {
		t.Errorf("create: %s", d)
	}
	hold := &pb.Hold{Name: "holds/" + newID(), Action: pb.HoldAction_HOLD_ACTION_PLACED, Lot: "lots/M10-S-1", Site: "sites/HAR", Reason: "galls",
		Entry: &pb.Entry{OccurTime: timestamppb.Now(), Person: "people/nd1"}}
	taken(t, must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{hold}})).Outcomes)
	if got := must[*pb.Lot](t)(c.lots.GetLot(ctx, &pb.GetLotRequest{Name: "lots/M10-S-1"})); got.State != quarantined.State {
		t.Errorf("on hold: %v", got.State)
	}
	must[*pb.Lot](t)(c.lots.UpdateLot(ctx, &pb.UpdateLotRequest{Lot: quarantined, UpdateMask: mask}))
}

func TestUpdateMaskNamesTheTroubleAndWhatIsAllowed(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	_, err := c.structure.UpdateCell(ctx, &pb.UpdateCellRequest{
		Cell:       &pb.Cell{Name: theCell, Description: "north"},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"description", "name", "colour", "*"}},
	})
	if d := cmp.Diff(`InvalidArgument: the update mask is not valid; of a cell these can be changed: description
reason jointledger/UPDATE_MASK_INVALID
field update_mask: "name" can't be changed
field update_mask: "colour" is not a field of a cell
field update_mask: "*" stands alone or not at all`, render(err)); d != "" {
		t.Error(d)
	}
}

func TestEtag(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	first := must[*pb.Site](t)(c.structure.GetSite(ctx, &pb.GetSiteRequest{Name: "sites/HAR"}))
	mask := &fieldmaskpb.FieldMask{Paths: []string{"region"}}
	second := must[*pb.Site](t)(c.structure.UpdateSite(ctx, &pb.UpdateSiteRequest{Site: &pb.Site{Name: "sites/HAR", Region: "south", Etag: first.Etag}, UpdateMask: mask}))
	if second.Etag == first.Etag || second.Etag == "" {
		t.Errorf("etag %q after %q", second.Etag, first.Etag)
	}
	for _, etag := range []string{first.Etag, "made up"} {
		_, err := c.structure.UpdateSite(ctx, &pb.UpdateSiteRequest{Site: &pb.Site{Name: "sites/HAR", Region: "east", Etag: etag}, UpdateMask: mask})
		if got := render(err); status.Code(err) != codes.Aborted || !strings.Contains(got, "reason jointledger/ETAG_MISMATCH\nresource jointledger/Site sites/HAR") || strings.Contains(got, "RetryInfo") {
			t.Errorf("etag %q: %s", etag, got)
		}
	}
	if s := must[*pb.Site](t)(c.structure.GetSite(ctx, &pb.GetSiteRequest{Name: "sites/HAR"})); s.Region != "south" {
		t.Errorf("region %q", s.Region)
	}
	// The same values again are no change.
	third := must[*pb.Site](t)(c.structure.UpdateSite(ctx, &pb.UpdateSiteRequest{Site: &pb.Site{Name: "sites/HAR", Region: "south", Etag: second.Etag}, UpdateMask: mask}))
	if third.Etag != second.Etag {
		t.Errorf("etag %q after an update that changed nothing; was %q", third.Etag, second.Etag)
	}
}

func TestValidateOnlyKeepsNothing(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	would := must[*pb.Lot](t)(c.lots.CreateLot(ctx, &pb.CreateLotRequest{LotId: "M10-S-3", Lot: lot(), ValidateOnly: true}))
	if would.Name != "lots/M10-S-3" || would.Supplier != "Corrie Fasteners" || would.State != pb.LotState_LOT_STATE_RELEASED || would.Etag != "" {
		t.Errorf("%v", would)
	}
	if _, err := c.lots.GetLot(ctx, &pb.GetLotRequest{Name: "lots/M10-S-3"}); status.Code(err) != codes.NotFound {
		t.Errorf("it was kept: %v", err)
	}
	bad := lot()
	bad.Supplier = ""
	if _, err := c.lots.CreateLot(ctx, &pb.CreateLotRequest{LotId: "M10-S-3", Lot: bad, ValidateOnly: true}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("checked as usual: %v", err)
	}
	up := must[*pb.Lot](t)(c.lots.UpdateLot(ctx, &pb.UpdateLotRequest{
		Lot: &pb.Lot{Name: "lots/M10-S-1", Heat: "H99"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"heat"}}, ValidateOnly: true,
	}))
	if up.Heat != "H99" {
		t.Errorf("would be %v", up)
	}
	if is := must[*pb.Lot](t)(c.lots.GetLot(ctx, &pb.GetLotRequest{Name: "lots/M10-S-1"})); is.Heat != "H77" {
		t.Errorf("it was kept: %v", is)
	}
}

func TestRequestIDMakesARepetitionSafe(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	id := newID()
	update := func(region, id string) (*pb.Site, error) {
		return c.structure.UpdateSite(ctx, &pb.UpdateSiteRequest{
			Site: &pb.Site{Name: "sites/HAR", Region: region}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"region"}}, RequestId: id,
		})
	}
	first := must[*pb.Site](t)(update("south", id))
	must[*pb.Site](t)(update("west", newID()))
	// A late repetition of the first must not undo the second.
	if late := must[*pb.Site](t)(update("south", strings.ToUpper(id))); late.Region != "west" || late.Etag == first.Etag {
		t.Errorf("after the repetition: %v", late)
	}
	_, err := update("east", id)
	if got := render(err); !strings.HasPrefix(got, "InvalidArgument: ") || !strings.Contains(got, "reason jointledger/REQUEST_ID_REUSED") {
		t.Error(got)
	}
}

// A request that was refused kept nothing, so its id is free to be sent again
// when the trouble is mended.
func TestARefusedRequestCanBeRepeated(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	r := &pb.CreateTowerRequest{Parent: "sites/NEW", TowerId: "CT1", Tower: &pb.Tower{Material: pb.Material_MATERIAL_304}, RequestId: newID()}
	if _, err := c.structure.CreateTower(ctx, r); status.Code(err) != codes.NotFound {
		t.Fatalf("no such site: %v", err)
	}
	must[*pb.Site](t)(c.structure.CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "NEW", Site: site()}))
	if got, err := c.structure.CreateTower(ctx, r); err != nil || got.Name != "sites/NEW/towers/CT1" {
		t.Errorf("%v %v", got, err)
	}
}

func TestSpecificationRevisions(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	const name = "specifications/SS-M10"
	got := must[*pb.Specification](t)(c.specs.UpdateSpecification(ctx, &pb.UpdateSpecificationRequest{
		Specification: &pb.Specification{Name: name, TorqueNewtonMetres: 35, MinimumSurfaceCelsius: proto.Float64(0)},
		UpdateMask:    &fieldmaskpb.FieldMask{Paths: []string{"torque_newton_metres", "minimum_surface_celsius"}},
	}))
	if got.Revision != 2 || got.Name != name || got.TorqueNewtonMetres != 35 || got.GetMinimumSurfaceCelsius() != 0 || got.MinimumSurfaceCelsius == nil {
		t.Errorf("%v", got)
	}
	old := must[*pb.Specification](t)(c.specs.GetSpecification(ctx, &pb.GetSpecificationRequest{Name: name + "@1"}))
	if old.Revision != 1 || old.Name != name+"@1" || old.TorqueNewtonMetres != 32 || old.MinimumSurfaceCelsius != nil {
		t.Errorf("%v", old)
	}
	all := must[*pb.ListSpecificationRevisionsResponse](t)(c.specs.ListSpecificationRevisions(ctx, &pb.ListSpecificationRevisionsRequest{Name: name}))
	var names []string
	for _, s := range all.Specifications {
		names = append(names, s.Name)
	}
	if got := strings.Join(names, " "); got != name+"@1 "+name+"@2" {
		t.Error(got)
	}
	if l := must[*pb.ListSpecificationsResponse](t)(c.specs.ListSpecifications(ctx, &pb.ListSpecificationsRequest{})); len(l.Specifications) != 1 || l.Specifications[0].Revision != 2 {
		t.Errorf("%v", l)
	}
	for _, bad := range []string{name + "@0", name + "@x", name + "@"} {
		if _, err := c.specs.GetSpecification(ctx, &pb.GetSpecificationRequest{Name: bad}); status.Code(err) != codes.InvalidArgument {
			t.Errorf("%s: %v", bad, err)
		}
	}
	if _, err := c.specs.GetSpecification(ctx, &pb.GetSpecificationRequest{Name: name + "@7"}); status.Code(err) != codes.NotFound {
		t.Errorf("no seventh revision: %v", err)
	}
	_, err := c.specs.UpdateSpecification(ctx, &pb.UpdateSpecificationRequest{Specification: &pb.Specification{Name: name + "@1"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"sealant"}}})
	if !strings.Contains(render(err), "which never changes") {
		t.Error(render(err))
	}
}
