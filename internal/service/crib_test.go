package service_test

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

// TestCrib lends, refuses with every reason, and shows who has what.
func TestCrib(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	loan := func(id string) *pb.LendToolRequest {
		return &pb.LendToolRequest{CustodyChange: &pb.CustodyChange{
			Name: "custodyChanges/" + id, Tool: "tools/TW-1", Site: "sites/HAR", Holder: "people/nd1", Entry: &pb.Entry{OccurTime: timestamppb.New(now)},
		}}
	}
	const first, second = "019cad6f-a0e0-7d33-b5f5-d520a5bbb8a0", "019cad6f-a0e0-7d33-b5f5-d520a5bbb8a1"
	_, err := c.crib.LendTool(ctx, loan(first))
	st := status.Convert(err)
	var types []string
	reason := ""
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			reason = d.GetReason()
		case *errdetails.PreconditionFailure:
			for _, v := range d.GetViolations() {
				types = append(types, v.GetType()+" "+v.GetSubject())
			}
		}
	}
	if st.Code() != codes.FailedPrecondition || reason != "TOOL_NOT_FIT" || !slices.Equal(types, []string{"NEVER_DONE tools/TW-1"}) {
		t.Errorf("%v: %s %v", st, reason, types)
	}
	must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{calibration("2026-01-08T09:00:00Z", 24)}}))
	for _, state := range []pb.Outcome_State{pb.Outcome_STATE_TAKEN, pb.Outcome_STATE_ALREADY_KNOWN} {
		if a := must[*pb.LendToolResponse](t)(c.crib.LendTool(ctx, loan(first))); a.Outcome.State != state || len(a.Overridden) != 0 {
			t.Errorf("%v; expected %v", a, state)
		}
	}
	if _, err := c.crib.LendTool(ctx, loan(second)); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("lent already: %v", err)
	}
	if _, err := c.crib.LendTool(ctx, &pb.LendToolRequest{}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("nothing given: %v", err)
	}
	where := must[*pb.ListToolWhereaboutsResponse](t)(c.crib.ListToolWhereabouts(ctx, &pb.ListToolWhereaboutsRequest{Holder: "people/nd1", OnlyLent: true}))
	if len(where.Tools) != 1 || where.Tools[0].Station != pb.ToolStation_TOOL_STATION_LENT || where.Tools[0].Site != "sites/HAR" || !where.Tools[0].SinceTime.AsTime().Equal(now) {
		t.Errorf("%v", where)
	}
	if _, err := c.crib.ListToolWhereabouts(ctx, &pb.ListToolWhereaboutsRequest{Site: "sites/HAX"}); status.Code(err) != codes.NotFound {
		t.Errorf("unknown site: %v", err)
	}
	page := must[*pb.CribPage](t)(c.crib.GetCribPage(ctx, &pb.GetCribPageRequest{Site: "sites/har"}))
	if page.Site != "sites/HAR" || len(page.Out) != 1 || page.Out[0].Holder != "people/nd1" || len(page.Cautions) == 0 {
		t.Errorf("%v", page)
	}
	for _, r := range []*pb.GetCribPageRequest{{}, {Site: "sites/HAR", DueWithinDays: -1}} {
		if _, err := c.crib.GetCribPage(ctx, r); status.Code(err) != codes.InvalidArgument {
			t.Errorf("%v: %v", r, err)
		}
	}
}

// TestSendTool sends a tool off and refuses what can't be, with a violation for each
// reason.
func TestSendTool(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	sending := func(id, to string) *pb.SendToolRequest {
		return &pb.SendToolRequest{ToSite: to, CustodyChange: &pb.CustodyChange{
			Name: "custodyChanges/" + id, Tool: "tools/TW-1", Site: "sites/HAR", Entry: &pb.Entry{OccurTime: timestamppb.New(now), Note: "by van"},
		}}
	}
	const first, second = "019cad6f-a0e0-7d33-b5f5-d520a5bbb8b0", "019cad6f-a0e0-7d33-b5f5-d520a5bbb8b1"
	must[*pb.Site](t)(c.structure.CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "PCL", Site: &pb.Site{DisplayName: "Pier", TimeZone: "Europe/Dublin", Status: pb.SiteStatus_SITE_STATUS_ACTIVE}}))
	for _, state := range []pb.Outcome_State{pb.Outcome_STATE_TAKEN, pb.Outcome_STATE_ALREADY_KNOWN} {
		if a := must[*pb.SendToolResponse](t)(c.crib.SendTool(ctx, sending(first, "sites/pcl"))); a.Outcome.State != state {
			t.Errorf("%v; expected %v", a, state)
		}
	}
	kept := must[*pb.CustodyChange](t)(c.control.GetCustodyChange(ctx, &pb.GetCustodyChangeRequest{Name: "custodyChanges/" + first}))
	if kept.Kind != pb.CustodyKind_CUSTODY_KIND_SENT || kept.Entry.Note != "to PCL, by van" {
		t.Errorf("%v", kept)
	}
	_, err := c.crib.SendTool(ctx, sending(second, "sites/PCL"))
	if got := render(err); status.Code(err) != codes.FailedPrecondition || !strings.Contains(got, "reason jointledger/TOOL_NOT_FIT") || !strings.Contains(got, "tool TW-1 can't be sent to PCL: sent off on") {
		t.Errorf("sent twice: %s", got)
	}
	for want, r := range map[codes.Code]*pb.SendToolRequest{codes.InvalidArgument: sending(second, ""), codes.NotFound: sending(second, "sites/PCX")} {
		if _, err := c.crib.SendTool(ctx, r); status.Code(err) != want {
			t.Errorf("to %q: %v; expected %v", r.ToSite, err, want)
		}
	}
}
