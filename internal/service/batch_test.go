package service_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "jointledger/proto/jointledger/v1"
)

func TestABadMemberNeverFailsItsNeighbours(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	other := lot()
	other.Heat = "H1"
	noSupplier := lot()
	noSupplier.Supplier = ""
	batch := &pb.BatchCreateLotsRequest{Requests: []*pb.CreateLotRequest{
		{LotId: "NEW-1", Lot: lot()},
		{LotId: "NEW 2", Lot: noSupplier},
		{LotId: "M10-S-1", Lot: lot()},
		{LotId: "M10-S-1", Lot: other},
		{LotId: "NEW-3", Lot: lot(), RequestId: newID(), ValidateOnly: true},
		{LotId: "NEW-4"},
		{LotId: "NEW-5", Lot: lot()},
	}}
	want := `TAKEN lots/NEW-1
REFUSED lots/NEW 2 INVALID_FIELD: lot is not valid
  name: "NEW 2" may have only letters, digits, dots, underscores and hyphens
  supplier: is required
ALREADY_KNOWN lots/M10-S-1
REFUSED lots/M10-S-1 RESOURCE_EXISTS: lot "M10-S-1" is already registered with other content; update it instead
  resource lots/M10-S-1
REFUSED lots/NEW-3 INVALID_FIELD: lot is not valid
  request_id: must be empty in a batch
  validate_only: must be left out in a batch: the batch's own holds for all
REFUSED lots/NEW-4 INVALID_FIELD: lot is not valid
  lot: is required
TAKEN lots/NEW-5`
	batch.ValidateOnly = true
	got := must[*pb.BatchCreateLotsResponse](t)(c.lots.BatchCreateLots(ctx, batch))
	if d := cmp.Diff(want, outcomes(got.Outcomes)); d != "" {
		t.Errorf("validate only: %s", d)
	}
	if _, err := c.lots.GetLot(ctx, &pb.GetLotRequest{Name: "lots/NEW-1"}); status.Code(err) != codes.NotFound {
		t.Fatalf("validate only kept it: %v", err)
	}
	batch.ValidateOnly = false
	got = must[*pb.BatchCreateLotsResponse](t)(c.lots.BatchCreateLots(ctx, batch))
	if d := cmp.Diff(want, outcomes(got.Outcomes)); d != "" {
		t.Error(d)
	}
	for _, name := range []string{"lots/NEW-1", "lots/NEW-5"} {
		must[*pb.Lot](t)(c.lots.GetLot(ctx, &pb.GetLotRequest{Name: name}))
	}
	again := must[*pb.BatchCreateLotsResponse](t)(c.lots.BatchCreateLots(ctx, batch))
	if d := cmp.Diff(strings.ReplaceAll(want, "TAKEN lots", "ALREADY_KNOWN lots"), outcomes(again.Outcomes)); d != "" {
		t.Errorf("sent again: %s", d)
	}
}

func TestMembersMayBuildOnEachOther(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	var requests []*pb.CreateJointRequest
	for i := range 100 {
		requests = append(requests, &pb.CreateJointRequest{Parent: theCell, JointId: fmt.Sprintf("K%03d", i), Joint: joint()})
	}
	got := must[*pb.BatchCreateJointsResponse](t)(c.structure.BatchCreateJoints(ctx, &pb.BatchCreateJointsRequest{Requests: requests}))
	for i, o := range got.Outcomes {
		if o.State != pb.Outcome_STATE_TAKEN || o.Name != theCell+fmt.Sprintf("/joints/K%03d", i) {
			t.Fatalf("member %d: %v", i, o)
		}
	}
	// Twice in one batch: the second finds the first.
	twice := must[*pb.BatchCreateTowersResponse](t)(c.structure.BatchCreateTowers(ctx, &pb.BatchCreateTowersRequest{Requests: []*pb.CreateTowerRequest{
		{Parent: "sites/HAR", TowerId: "ct2", Tower: &pb.Tower{Material: pb.Material_MATERIAL_304}},
		{Parent: "sites/HAR", TowerId: "CT2", Tower: &pb.Tower{Material: pb.Material_MATERIAL_304}},
	}}))
	if d := cmp.Diff("TAKEN sites/HAR/towers/CT2\nALREADY_KNOWN sites/HAR/towers/CT2", outcomes(twice.Outcomes)); d != "" {
		t.Error(d)
	}
}

func TestBatchesHaveOneToAThousandMembers(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	many := make([]*pb.CreatePersonRequest, 1001)
	for i := range many {
		many[i] = &pb.CreatePersonRequest{PersonId: fmt.Sprintf("p%d", i), Person: &pb.Person{}}
	}
	for _, tc := range []struct {
		name string
		err  error
		want string
	}{
		{"none", func() error {
			_, err := c.people.BatchCreatePeople(ctx, &pb.BatchCreatePeopleRequest{})
			return err
		}(), "field requests: is empty; expected 1 to 1000 members"},
		{"too many", func() error {
			_, err := c.people.BatchCreatePeople(ctx, &pb.BatchCreatePeopleRequest{Requests: many})
			return err
		}(), "field requests: has 1001 members; expected 1 to 1000"},
		{"no records", func() error {
			_, err := c.lots.RecordLotMovements(ctx, &pb.RecordLotMovementsRequest{})
			return err
		}(), "field lot_movements: is empty; expected 1 to 1000 members"},
		{"too many records", func() error {
			_, err := c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: make([]*pb.Incident, 1001)})
			return err
		}(), "field incidents: has 1001 members; expected 1 to 1000"},
	} {
		if got := render(tc.err); got != "InvalidArgument: batch is not valid\nreason jointledger/INVALID_FIELD\n"+tc.want {
			t.Errorf("%s: %s", tc.name, got)
		}
	}
	full := make([]*pb.LotMovement, 1000)
	for i := range full {
		full[i] = movement(pb.MovementKind_MOVEMENT_KIND_RECEIVED, 1)
	}
	got := must[*pb.RecordLotMovementsResponse](t)(c.lots.RecordLotMovements(ctx, &pb.RecordLotMovementsRequest{LotMovements: full}))
	for i, o := range got.Outcomes {
		if o.State != pb.Outcome_STATE_TAKEN || o.Name != full[i].Name {
			t.Fatalf("member %d of a full batch: %v", i, o)
		}
	}
}
