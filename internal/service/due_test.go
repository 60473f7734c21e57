package service_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

func TestListDueItems(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	must[*pb.Site](t)(c.structure.CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "ABE", Site: &pb.Site{DisplayName: "Aber", TimeZone: "America/Chicago"}}))
	elsewhere := tool()
	elsewhere.HomeSite = "sites/ABE"
	must[*pb.Tool](t)(c.tools.CreateTool(ctx, &pb.CreateToolRequest{ToolId: "TW-2", Tool: elsewhere}))
	must[*pb.Tool](t)(c.tools.CreateTool(ctx, &pb.CreateToolRequest{ToolId: "TW-3", Tool: tool()}))

	due := func(r *pb.ListDueItemsRequest) *pb.ListDueItemsResponse {
		t.Helper()
		return must[*pb.ListDueItemsResponse](t)(c.analysis.ListDueItems(ctx, r))
	}
	// Never calibrated, all three: due as of now.
	a := due(&pb.ListDueItemsRequest{})
	if len(a.Items) != 3 || !a.AsOfTime.AsTime().Equal(now) || len(a.Cautions) == 0 {
		t.Fatalf("%v", a)
	}
	for i, i2 := range a.Items {
		if i2.Reason != pb.DueReason_DUE_REASON_NEVER_CALIBRATED || !i2.DueTime.AsTime().Equal(now) || i2.PastDue || i2.LastCalibrationTime != nil {
			t.Errorf("%d: %v", i, i2)
		}
	}
	if a := due(&pb.ListDueItemsRequest{Sites: []string{"sites/abe"}, Kinds: []pb.ToolKind{pb.ToolKind_TOOL_KIND_TORQUE_WRENCH}}); len(a.Items) != 1 || a.Items[0].Tool != "tools/TW-2" || a.Items[0].Site != "sites/ABE" {
		t.Errorf("%v", a)
	}
	if a := due(&pb.ListDueItemsRequest{Kinds: []pb.ToolKind{pb.ToolKind_TOOL_KIND_HOIST}}); len(a.Items) != 0 {
		t.Errorf("%v", a)
	}

	// One calibrated well on 8 April 2025: twelve months end on 8 April 2026, in
	// Dublin at 22:59:59 UTC (summer time), in Chicago at 04:59:59 UTC the day
	// after. One that came back 5 % strong: due since then.
	first, second, failed := calibration("2025-04-08T09:00:00Z", 24), calibration("2025-04-08T15:00:00Z", 24), calibration("2026-01-08T09:00:00Z", 24/1.05)
	second.Tool, failed.Tool = "tools/TW-2", "tools/TW-3"
	must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{first, second, failed}}))
	a = due(&pb.ListDueItemsRequest{Within: durationpb.New(30 * 24 * time.Hour)})
	want := []struct {
		tool, due string
		reason    pb.DueReason
		past      bool
		offset    int32
	}{
		{"tools/TW-3", "2026-01-08T09:00:00Z", pb.DueReason_DUE_REASON_CALIBRATION_FAILED, true, 0},
		{"tools/TW-1", "2026-04-08T22:59:59Z", pb.DueReason_DUE_REASON_MONTHS, false, 60},
		{"tools/TW-2", "2026-04-09T04:59:59Z", pb.DueReason_DUE_REASON_MONTHS, false, -300},
	}
	if len(a.Items) != len(want) {
		t.Fatalf("%v", a)
	}
	for i, w := range want {
		got := a.Items[i]
		if got.Tool != w.tool || got.DueTime.AsTime().Format(time.RFC3339) != w.due || got.Reason != w.reason || got.PastDue != w.past || got.UtcOffsetMinutes != w.offset || got.Detail == "" || got.LastCalibrationTime == nil {
			t.Errorf("item %d: %v; expected %v", i, got, w)
		}
	}
	if a := due(&pb.ListDueItemsRequest{}); len(a.Items) != 1 {
		t.Errorf("without a time to look ahead, what is past due: %v", a)
	}
	if a := due(&pb.ListDueItemsRequest{AsOfTime: entry("2025-12-01T00:00:00Z").OccurTime}); len(a.Items) != 1 || a.Items[0].Reason != pb.DueReason_DUE_REASON_NEVER_CALIBRATED || a.Items[0].Tool != "tools/TW-3" {
		t.Errorf("what happened later does not count: %v", a)
	}

	// Tightenings count as cycles in any pass; a drop makes it due at once.
	again := tightening("2026-03-18T09:00:00Z", 2000)
	again.Pass = pb.Pass_PASS_RETIGHTENING
	must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{tightening("2026-03-17T09:00:00Z", 2800), again}}))
	a = due(&pb.ListDueItemsRequest{Sites: []string{"sites/HAR"}, Within: durationpb.New(3 * 24 * time.Hour)})
	if got := a.Items[len(a.Items)-1]; got.Tool != "tools/TW-1" || got.Reason != pb.DueReason_DUE_REASON_CYCLES || !got.Forecast || got.CyclesUsed != 4800 || got.CyclesAllowed != 5000 {
		t.Errorf("%v", got)
	}
	drop := &pb.Incident{Name: "incidents/" + newID(), Kind: pb.IncidentKind_INCIDENT_KIND_DROPPED_TOOL, Site: "sites/HAR", Tool: "tools/TW-1", Entry: entry("2026-03-19T09:00:00Z")}
	must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{drop}}))
	a = due(&pb.ListDueItemsRequest{Sites: []string{"sites/HAR"}})
	if got := a.Items[len(a.Items)-1]; got.Reason != pb.DueReason_DUE_REASON_EVENT || !got.PastDue || !strings.Contains(got.Detail, strings.TrimPrefix(drop.Name, "incidents/")) {
		t.Errorf("%v", got)
	}
}

func TestListDueItemsRefusesWhatItCannotAnswer(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	_, err := c.analysis.ListDueItems(ctx, &pb.ListDueItemsRequest{
		Within: durationpb.New(-time.Hour), AsOfTime: &timestamppb.Timestamp{Nanos: -1}, Sites: []string{"HAR", "sites/-"}, Kinds: []pb.ToolKind{0, 200},
	})
	for _, part := range []string{"field within: -1h0m0s is below 0", "field as_of_time: ", "field sites[0]: ", "field sites[1]: ", "field kinds[0]: ", "field kinds[1]: 200 is no tool kind"} {
		if !strings.Contains(render(err), part) {
			t.Errorf("%q is missing in %s", part, render(err))
		}
	}
	if _, err := c.analysis.ListDueItems(ctx, &pb.ListDueItemsRequest{Within: &durationpb.Duration{Seconds: 300_000_000_000}}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("9,500 years ahead: %v", err)
	}
	if _, err := c.analysis.ListDueItems(ctx, &pb.ListDueItemsRequest{Sites: []string{"sites/HAT"}}); status.Code(err) != codes.NotFound {
		t.Errorf("%v", err)
	}
}
