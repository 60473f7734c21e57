package service_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "jointledger/proto/jointledger/v1"
)

func batch() *pb.Batch {
	return &pb.Batch{
		Kind: pb.ConsumableKind_CONSUMABLE_KIND_STRIP_SEALANT, Product: "butyl strip, 20 mm", ExpireDate: "2026-09-30",
		MinimumCelsius: proto.Float64(0), MaximumCelsius: proto.Float64(38),
	}
}

func substitution() *pb.Substitution {
	permitted := stud()
	permitted.LengthMillimetres = 45
	return &pb.Substitution{
		Specification: "specifications/SS-M10", Permitted: permitted, Needs: "two washers", TorqueNewtonMetres: 30, ApprovedBy: "chief engineer",
	}
}

func TestConsumablesReadBackAsTheyWereGiven(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	checkKept(t, must[*pb.Batch](t)(c.consumables.CreateBatch(ctx, &pb.CreateBatchRequest{BatchId: "S-77", Batch: batch()})), batch(), "batches/S-77")
	checkKept(t, must[*pb.Batch](t)(c.consumables.GetBatch(ctx, &pb.GetBatchRequest{Name: "batches/S-77"})), batch(), "batches/S-77")
	bare := &pb.Batch{Kind: pb.ConsumableKind_CONSUMABLE_KIND_SOLVENT}
	checkKept(t, must[*pb.Batch](t)(c.consumables.CreateBatch(ctx, &pb.CreateBatchRequest{BatchId: "S-78", Batch: bare})), bare, "batches/S-78")

	const name = "substitutions/SUB-1"
	must[*pb.Substitution](t)(c.consumables.CreateSubstitution(ctx, &pb.CreateSubstitutionRequest{SubstitutionId: "SUB-1", Substitution: substitution()}))
	checkKept(t, must[*pb.Substitution](t)(c.consumables.GetSubstitution(ctx, &pb.GetSubstitutionRequest{Name: name})), substitution(), name)
}

func TestConsumablesAreChangedByTheirMasks(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	must[*pb.Batch](t)(c.consumables.CreateBatch(ctx, &pb.CreateBatchRequest{BatchId: "S-77", Batch: batch()}))
	must[*pb.Substitution](t)(c.consumables.CreateSubstitution(ctx, &pb.CreateSubstitutionRequest{SubstitutionId: "SUB-1", Substitution: substitution()}))

	want := batch()
	want.ExpireDate, want.MaximumCelsius = "2026-12-31", nil
	got := must[*pb.Batch](t)(c.consumables.UpdateBatch(ctx, &pb.UpdateBatchRequest{
		Batch:      &pb.Batch{Name: "batches/S-77", ExpireDate: "2026-12-31", Product: "ignored"},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"expire_date", "maximum_celsius"}},
	}))
	checkKept(t, got, want, "batches/S-77")

	wantSub := substitution()
	wantSub.Permitted.Coating, wantSub.Needs = "waxed", ""
	gotSub := must[*pb.Substitution](t)(c.consumables.UpdateSubstitution(ctx, &pb.UpdateSubstitutionRequest{
		Substitution: &pb.Substitution{Name: "substitutions/SUB-1", Permitted: &pb.Fastener{Coating: "waxed", Thread: "ignored"}},
		UpdateMask:   &fieldmaskpb.FieldMask{Paths: []string{"permitted.coating", "needs"}},
	}))
	checkKept(t, gotSub, wantSub, "substitutions/SUB-1")

	_, err := c.consumables.UpdateSubstitution(ctx, &pb.UpdateSubstitutionRequest{
		Substitution: &pb.Substitution{Name: "substitutions/SUB-1", Permitted: &pb.Fastener{LengthMillimetres: -1}},
		UpdateMask:   &fieldmaskpb.FieldMask{Paths: []string{"permitted", "fastener.thread"}},
	})
	if d := cmp.Diff(`InvalidArgument: the update mask is not valid; of a substitution these can be changed: specification, permitted, permitted.thread, permitted.length_millimetres, permitted.material, permitted.property_class, permitted.coating, permitted.head, needs, torque_newton_metres, approved_by
reason jointledger/UPDATE_MASK_INVALID
field update_mask: "fastener.thread" is not a field of a substitution`, render(err)); d != "" {
		t.Error(d)
	}
	_, err = c.consumables.UpdateSubstitution(ctx, &pb.UpdateSubstitutionRequest{
		Substitution: &pb.Substitution{Name: "substitutions/SUB-1", Permitted: &pb.Fastener{LengthMillimetres: -1}},
		UpdateMask:   &fieldmaskpb.FieldMask{Paths: []string{"permitted"}},
	})
	for _, part := range []string{"field permitted.thread: is required", "field permitted.length_millimetres: -1", "field permitted.material: "} {
		if !strings.Contains(render(err), part) {
			t.Errorf("%q is missing in %s", part, render(err))
		}
	}
}

func TestConsumablesThatAreNotValid(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	worse := batch()
	worse.Kind, worse.ExpireDate, worse.MinimumCelsius, worse.MaximumCelsius = 99, "30 September", proto.Float64(40), proto.Float64(10)
	_, err := c.consumables.CreateBatch(ctx, &pb.CreateBatchRequest{BatchId: "S 77", Batch: worse})
	if d := cmp.Diff(`InvalidArgument: batch is not valid
reason jointledger/INVALID_FIELD
field name: "S 77" may have only letters, digits, dots, underscores and hyphens
field kind: is required; expected one of anti-seize, thread-locking-compound, strip-sealant, gun-grade-sealant, solvent, lubricant
field expire_date: "30 September" is not a date; expected YYYY-MM-DD
field maximum_celsius: 10 °C is below the minimum 40 °C`, render(err)); d != "" {
		t.Error(d)
	}
	orphan := substitution()
	orphan.Specification = "specifications/SS-M11"
	got := must[*pb.BatchCreateSubstitutionsResponse](t)(c.consumables.BatchCreateSubstitutions(ctx, &pb.BatchCreateSubstitutionsRequest{Requests: []*pb.CreateSubstitutionRequest{
		{SubstitutionId: "SUB-1", Substitution: substitution()},
		{SubstitutionId: "SUB-2", Substitution: orphan},
		{SubstitutionId: "SUB-3", Substitution: &pb.Substitution{Specification: "SS-M10"}},
		{SubstitutionId: "SUB-1", Substitution: substitution()},
	}}))
	if d := cmp.Diff(`TAKEN substitutions/SUB-1
REFUSED substitutions/SUB-2 UNKNOWN_RESOURCE: specification "SS-M11" is not known; the nearest known is "SS-M10"
  resource specifications/SS-M11
REFUSED substitutions/SUB-3 INVALID_FIELD: substitution is not valid
  specification: "SS-M10" is not such a name; expected specifications/{specification}
  permitted.thread: is required
  permitted.material: is required; expected one of galvanized-steel, 304, 316, fibre-reinforced, carbon-steel, silicon-bronze
  approved_by: is required
ALREADY_KNOWN substitutions/SUB-1`, outcomes(got.Outcomes)); d != "" {
		t.Error(d)
	}
	if _, err := c.consumables.GetBatch(ctx, &pb.GetBatchRequest{Name: "batches/none"}); status.Code(err) != codes.NotFound || !strings.HasSuffix(render(err), "\nresource jointledger/Batch batches/none") {
		t.Error(render(err))
	}
	if _, err := c.consumables.GetSubstitution(ctx, &pb.GetSubstitutionRequest{Name: "substitutions/none"}); status.Code(err) != codes.NotFound || !strings.HasSuffix(render(err), "\nresource jointledger/Substitution substitutions/none") {
		t.Error(render(err))
	}
}

func TestListsOfConsumables(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	solvent := &pb.Batch{Kind: pb.ConsumableKind_CONSUMABLE_KIND_SOLVENT}
	got := must[*pb.BatchCreateBatchesResponse](t)(c.consumables.BatchCreateBatches(ctx, &pb.BatchCreateBatchesRequest{Requests: []*pb.CreateBatchRequest{
		{BatchId: "C", Batch: batch()}, {BatchId: "A", Batch: batch()}, {BatchId: "B", Batch: solvent},
	}}))
	taken(t, got.Outcomes)
	other := specification()
	must[*pb.Specification](t)(c.specs.CreateSpecification(ctx, &pb.CreateSpecificationRequest{SpecificationId: "SS-2", Specification: other}))
	second := substitution()
	second.Specification = "specifications/SS-2"
	for id, s := range map[string]*pb.Substitution{"S2": substitution(), "S1": substitution(), "S3": second} {
		must[*pb.Substitution](t)(c.consumables.CreateSubstitution(ctx, &pb.CreateSubstitutionRequest{SubstitutionId: id, Substitution: s}))
	}
	batches := func(kind pb.ConsumableKind) []string {
		all, _ := follow(t, c.consumables.ListBatches, func(token string) *pb.ListBatchesRequest {
			return &pb.ListBatchesRequest{PageSize: 1, PageToken: token, Kind: kind}
		}, func(a *pb.ListBatchesResponse) []string { return named(a.Batches) })
		return all
	}
	if got := batches(0); !slices.Equal(got, []string{"batches/A", "batches/B", "batches/C"}) {
		t.Errorf("%v", got)
	}
	if got := batches(pb.ConsumableKind_CONSUMABLE_KIND_STRIP_SEALANT); !slices.Equal(got, []string{"batches/A", "batches/C"}) {
		t.Errorf("%v", got)
	}
	all, _ := follow(t, c.consumables.ListSubstitutions, func(token string) *pb.ListSubstitutionsRequest {
		return &pb.ListSubstitutionsRequest{PageSize: 1, PageToken: token, Specification: "specifications/SS-M10"}
	}, func(a *pb.ListSubstitutionsResponse) []string { return named(a.Substitutions) })
	if !slices.Equal(all, []string{"substitutions/S1", "substitutions/S2"}) {
		t.Errorf("%v", all)
	}
	if _, err := c.consumables.ListSubstitutions(ctx, &pb.ListSubstitutionsRequest{Specification: "specifications/SS-9"}); status.Code(err) != codes.NotFound {
		t.Errorf("%v", err)
	}
	if _, err := c.consumables.ListBatches(ctx, &pb.ListBatchesRequest{Kind: 99}); !strings.Contains(render(err), "field kind: 99 is no consumable kind; expected one of anti-seize, ") {
		t.Error(render(err))
	}
}
