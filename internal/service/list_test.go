package service_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

// follow reads a list to its end, page by page, and gives the names.
func follow[R any, A interface {
	GetNextPageToken() string
}](t *testing.T, list func(context.Context, R, ...grpc.CallOption) (A, error), page func(token string) R, names func(A) []string) (all []string, pages int) {
	t.Helper()
	for token := ""; ; {
		a, err := list(t.Context(), page(token))
		if err != nil {
			t.Fatal(render(err))
		}
		all = append(all, names(a)...)
		pages++
		if token = a.GetNextPageToken(); token == "" {
			return all, pages
		}
		if pages > 100 {
			t.Fatal("the list does not end")
		}
	}
}

func named[M interface{ GetName() string }](items []M) []string {
	var names []string
	for _, m := range items {
		names = append(names, m.GetName())
	}
	return names
}

func TestListsGiveEverythingOnceInOrder(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	want := []string{"lots/M10-S-1", "lots/M10-S-2"}
	for i := range 9 {
		l := lot()
		if i%2 == 1 {
			l.Supplier = "Other"
		}
		must[*pb.Lot](t)(c.lots.CreateLot(ctx, &pb.CreateLotRequest{LotId: fmt.Sprintf("L-%d", i), Lot: l}))
		if i%2 == 0 {
			want = append(want, fmt.Sprintf("lots/L-%d", i))
		}
	}
	slices.Sort(want)
	for _, size := range []int32{1, 3, 7, 100} {
		got, pages := follow(t, c.lots.ListLots, func(token string) *pb.ListLotsRequest {
			return &pb.ListLotsRequest{PageSize: size, PageToken: token, Supplier: "Corrie Fasteners", Thread: "M10", State: pb.LotState_LOT_STATE_RELEASED}
		}, func(a *pb.ListLotsResponse) []string { return named(a.Lots) })
		if !slices.Equal(got, want) {
			t.Errorf("page size %d: %v; expected %v", size, got, want)
		}
		if least := (len(want) + int(size) - 1) / int(size); pages != least {
			t.Errorf("page size %d: %d pages; expected %d", size, pages, least)
		}
	}
}

func TestListsOfPlaces(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	must[*pb.Site](t)(c.structure.CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "ABE", Site: &pb.Site{DisplayName: "Aber", Region: "south", TimeZone: "UTC"}}))
	must[*pb.Tower](t)(c.structure.CreateTower(ctx, &pb.CreateTowerRequest{Parent: "sites/ABE", TowerId: "CT1", Tower: &pb.Tower{Material: pb.Material_MATERIAL_304}}))
	must[*pb.Tower](t)(c.structure.CreateTower(ctx, &pb.CreateTowerRequest{Parent: "sites/HAR", TowerId: "CT2", Tower: &pb.Tower{Material: pb.Material_MATERIAL_304}}))

	towers := func(parent string) string {
		a, err := c.structure.ListTowers(ctx, &pb.ListTowersRequest{Parent: parent})
		if err != nil {
			return render(err)
		}
		return strings.Join(named(a.Towers), " ")
	}
	for parent, want := range map[string]string{
		"sites/HAR": "sites/HAR/towers/CT1 sites/HAR/towers/CT2",
		"sites/-":   "sites/ABE/towers/CT1 sites/HAR/towers/CT1 sites/HAR/towers/CT2",
		"sites/HAX": "NotFound: site \"HAX\" is not known; the nearest known is \"HAR\"\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/Site sites/HAX",
		"":          "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield parent: \"\" is not the name of a site; expected sites/{site}",
	} {
		if got := towers(parent); got != want {
			t.Errorf("%q: %s; expected %s", parent, got, want)
		}
	}
	a := must[*pb.ListJointsResponse](t)(c.structure.ListJoints(ctx, &pb.ListJointsRequest{
		Parent: "sites/HAR/towers/-/cells/-", Kind: pb.JointKind_JOINT_KIND_STRUCTURAL, Specification: "specifications/SS-M10",
	}))
	if got := named(a.Joints); !slices.Equal(got, []string{theJoint}) {
		t.Errorf("%v", got)
	}
	if a := must[*pb.ListJointsResponse](t)(c.structure.ListJoints(ctx, &pb.ListJointsRequest{Parent: theCell, Kind: pb.JointKind_JOINT_KIND_SEAM})); len(a.Joints) != 0 {
		t.Errorf("%v", a.Joints)
	}
	s := must[*pb.ListSitesResponse](t)(c.structure.ListSites(ctx, &pb.ListSitesRequest{Region: "south"}))
	if got := named(s.Sites); !slices.Equal(got, []string{"sites/ABE"}) {
		t.Errorf("%v", got)
	}
	cells := must[*pb.ListCellsResponse](t)(c.structure.ListCells(ctx, &pb.ListCellsRequest{Parent: "sites/HAR/towers/-"}))
	if got := named(cells.Cells); !slices.Equal(got, []string{theCell}) {
		t.Errorf("%v", got)
	}
	people := must[*pb.ListPeopleResponse](t)(c.people.ListPeople(ctx, &pb.ListPeopleRequest{HomeSite: "sites/HAR"}))
	tools := must[*pb.ListToolsResponse](t)(c.tools.ListTools(ctx, &pb.ListToolsRequest{HomeSite: "sites/HAR", Kind: pb.ToolKind_TOOL_KIND_TORQUE_WRENCH}))
	if len(people.People) != 1 || len(tools.Tools) != 1 {
		t.Errorf("%v %v", people, tools)
	}
}

func TestListRequestsThatAreNotValid(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	first := must[*pb.ListLotsResponse](t)(c.lots.ListLots(ctx, &pb.ListLotsRequest{PageSize: 1}))
	if first.NextPageToken == "" {
		t.Fatal("one of two lots, and no next page")
	}
	for name, r := range map[string]*pb.ListLotsRequest{
		"another filter": {PageToken: first.NextPageToken, Thread: "M10"},
		"damaged":        {PageToken: "A" + first.NextPageToken},
		"made up":        {PageToken: "next"},
	} {
		_, err := c.lots.ListLots(ctx, r)
		if got := render(err); !strings.HasPrefix(got, "InvalidArgument: the page token ") || !strings.Contains(got, "reason jointledger/PAGE_TOKEN_INVALID\nfield page_token: ") {
			t.Errorf("%s: %s", name, got)
		}
	}
	_, err := c.lots.ListLots(ctx, &pb.ListLotsRequest{PageSize: -1, State: 9})
	if got := render(err); !strings.Contains(got, "field state: 9 is no lot state; expected one of released, quarantined, used-up\nfield page_size: -1 is below 0") {
		t.Error(got)
	}
	if a, err := c.lots.ListLots(ctx, &pb.ListLotsRequest{PageSize: 1 << 30}); err != nil || len(a.Lots) != 2 {
		t.Errorf("a large page size is cut down: %v %v", a, err)
	}
}

func TestListsOfRecords(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	var want []string
	for i := range 5 {
		r := tightening(fmt.Sprintf("2026-03-0%dT09:00:00Z", 9-i), 4) // taken in against the order of time
		if i == 4 {
			r.Lot = "lots/M10-S-2"
		}
		must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{r}}))
		want = append(want, r.Name)
	}
	list := func(r *pb.ListTighteningsRequest) []string {
		t.Helper()
		got, _ := follow(t, c.assembly.ListTightenings, func(token string) *pb.ListTighteningsRequest {
			r.PageSize, r.PageToken = 2, token
			return r
		}, func(a *pb.ListTighteningsResponse) []string { return named(a.Tightenings) })
		return got
	}
	at := func(day int) *timestamppb.Timestamp {
		return entry(fmt.Sprintf("2026-03-0%dT09:00:00Z", day)).OccurTime
	}
	for name, tc := range map[string]struct {
		r    *pb.ListTighteningsRequest
		want []string
	}{
		"all":    {&pb.ListTighteningsRequest{}, want},
		"place":  {&pb.ListTighteningsRequest{Place: theCell}, want},
		"lot":    {&pb.ListTighteningsRequest{Lot: "lots/M10-S-2"}, want[4:]},
		"tool":   {&pb.ListTighteningsRequest{Tool: "tools/TW-1", Person: "people/nd1"}, want},
		"period": {&pb.ListTighteningsRequest{StartTime: at(7), EndTime: at(9)}, want[1:3]},
	} {
		if got := list(tc.r); !slices.Equal(got, tc.want) {
			t.Errorf("%s: %v; expected %v", name, got, tc.want)
		}
	}
	for name, tc := range map[string]struct {
		r    *pb.ListTighteningsRequest
		code codes.Code
		part string
	}{
		"unknown lot":     {&pb.ListTighteningsRequest{Lot: "lots/M10-S-9"}, codes.NotFound, "resource jointledger/Lot lots/M10-S-9"},
		"unknown place":   {&pb.ListTighteningsRequest{Place: "sites/HAR/towers/CT7"}, codes.NotFound, "resource jointledger/Tower sites/HAR/towers/CT7"},
		"unknown person":  {&pb.ListTighteningsRequest{Person: "people/nd2"}, codes.NotFound, "resource jointledger/Person people/nd2"},
		"place of many":   {&pb.ListTighteningsRequest{Place: "sites/HAR/towers/-"}, codes.InvalidArgument, "field place: "},
		"no place at all": {&pb.ListTighteningsRequest{Place: "HAR/CT1"}, codes.InvalidArgument, "field place: "},
		"backwards":       {&pb.ListTighteningsRequest{StartTime: at(9), EndTime: at(7)}, codes.InvalidArgument, "field end_time: "},
	} {
		if _, err := c.assembly.ListTightenings(ctx, tc.r); status.Code(err) != tc.code || !strings.Contains(render(err), tc.part) {
			t.Errorf("%s: %s", name, render(err))
		}
	}

	gall := galling("2026-03-05T09:00:00Z", 1)
	seized := galling("2026-03-05T09:30:00Z", 1)
	seized.Kind = pb.IncidentKind_INCIDENT_KIND_SEIZED
	must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{gall, seized}}))
	incidents := must[*pb.ListIncidentsResponse](t)(c.assembly.ListIncidents(ctx, &pb.ListIncidentsRequest{Kind: pb.IncidentKind_INCIDENT_KIND_SEIZED}))
	if got := named(incidents.Incidents); !slices.Equal(got, []string{seized.Name}) {
		t.Errorf("%v", got)
	}
	cal := calibration("2026-03-05T09:00:00Z", 24)
	must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{cal}}))
	if a := must[*pb.ListCalibrationsResponse](t)(c.tools.ListCalibrations(ctx, &pb.ListCalibrationsRequest{Tool: "tools/TW-1"})); !slices.Equal(named(a.Calibrations), []string{cal.Name}) {
		t.Errorf("%v", a)
	}
	move := movement(pb.MovementKind_MOVEMENT_KIND_COUNTED, 0)
	must[*pb.RecordLotMovementsResponse](t)(c.lots.RecordLotMovements(ctx, &pb.RecordLotMovementsRequest{LotMovements: []*pb.LotMovement{move}}))
	if a := must[*pb.ListLotMovementsResponse](t)(c.lots.ListLotMovements(ctx, &pb.ListLotMovementsRequest{Site: "sites/HAR", Lot: "lots/M10-S-1"})); !slices.Equal(named(a.LotMovements), []string{move.Name}) {
		t.Errorf("%v", a)
	}
}
