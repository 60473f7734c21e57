package service_test

import (
	"bytes"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	pb "jointledger/proto/jointledger/v1"
)

// Kinds come in their order, each incident once whatever fasteners it names, a
// withdrawn one not at all.
func TestCountIncidents(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		leak, near := galling("2026-03-05T09:00:00Z", 0), galling("2026-03-06T09:00:00Z", 0)
		leak.Kind, near.Kind = pb.IncidentKind_INCIDENT_KIND_LEAK, pb.IncidentKind_INCIDENT_KIND_NEAR_MISS
		gone := galling("2026-03-03T12:00:00Z", 5)
		taken(t, must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{
			near, leak, galling("2026-03-02T12:00:00Z", 2), galling("2026-03-04T12:00:00Z", 3), gone,
		}})).Outcomes)
		taken(t, must[*pb.RecordCorrectionsResponse](t)(c.control.RecordCorrections(ctx, &pb.RecordCorrectionsRequest{
			Corrections: []*pb.Correction{correction("2026-03-07T09:00:00Z", gone.Name)},
		})).Outcomes)
		kind := func(k pb.IncidentKind, incidents, fasteners int64) *pb.IncidentCount {
			return &pb.IncidentCount{Kind: k, Incidents: incidents, Fasteners: fasteners}
		}
		galls := pb.IncidentKind_INCIDENT_KIND_GALLING
		all := []*pb.IncidentCount{kind(galls, 2, 5), kind(leak.Kind, 1, 0), kind(near.Kind, 1, 0)}
		for name, tc := range map[string]struct {
			request *pb.CountIncidentsRequest
			want    []*pb.IncidentCount
		}{
			"all":               {&pb.CountIncidentsRequest{}, all},
			"of the site":       {&pb.CountIncidentsRequest{Sites: []string{"sites/HAR"}}, all},
			"of the site twice": {&pb.CountIncidentsRequest{Sites: []string{"sites/HAR", "sites/har"}}, all},
			"of two days":       {&pb.CountIncidentsRequest{StartDate: "2026-03-04", EndDate: "2026-03-05"}, []*pb.IncidentCount{kind(galls, 1, 3), kind(leak.Kind, 1, 0)}},
			"of one day":        {&pb.CountIncidentsRequest{StartDate: "2026-03-02", EndDate: "2026-03-02"}, []*pb.IncidentCount{kind(galls, 1, 2)}},
			"of a withdrawn":    {&pb.CountIncidentsRequest{StartDate: "2026-03-03", EndDate: "2026-03-03"}, nil},
			"of later":          {&pb.CountIncidentsRequest{StartDate: "2026-04-01"}, nil},
		} {
			got := must[*pb.CountIncidentsResponse](t)(c.analysis.CountIncidents(ctx, tc.request))
			if d := cmp.Diff(&pb.CountIncidentsResponse{Kinds: tc.want}, got, protocmp.Transform()); d != "" {
				t.Errorf("%s (-want +got):\n%s", name, d)
			}
		}
		for _, tc := range []struct {
			request *pb.CountIncidentsRequest
			want    string
		}{
			{&pb.CountIncidentsRequest{Sites: []string{"sites/HAX"}}, "NotFound: site \"HAX\" is not known; the nearest known is \"HAR\"\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/Site sites/HAX"},
			{&pb.CountIncidentsRequest{Sites: []string{"sites/HAR", "HAR/CT1"}}, "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield sites[1]: \"HAR/CT1\" is not the name of a place: expected \"sites\" where it has \"HAR\""},
			{&pb.CountIncidentsRequest{StartDate: "2026-02-30", EndDate: "today"}, "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield start_date: \"2026-02-30\" is not a date; expected YYYY-MM-DD\nfield end_date: \"today\" is not a date; expected YYYY-MM-DD"},
			{&pb.CountIncidentsRequest{StartDate: "2026-03-05", EndDate: "2026-03-04"}, "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield end_date: 2026-03-04 is before start_date 2026-03-05"},
		} {
			_, err := c.analysis.CountIncidents(ctx, tc.request)
			if d := cmp.Diff(tc.want, render(err)); d != "" {
				t.Errorf("%v (-want +got):\n%s", tc.request, d)
			}
		}
	})
}

// A chain's head moves with every record, and only that of its site; a site without
// records has one as well.
func TestListChainHeads(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		other := proto.CloneOf(site())
		must[*pb.Site](t)(c.structure.CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "ABE", Site: other}))
		heads := func(sites ...string) []*pb.ChainHead {
			t.Helper()
			return must[*pb.ListChainHeadsResponse](t)(c.progress.ListChainHeads(ctx, &pb.ListChainHeadsRequest{Sites: sites})).Heads
		}
		before := heads()
		if len(before) != 2 || before[0].Site != "sites/ABE" || before[1].Site != "sites/HAR" {
			t.Fatalf("%v", before)
		}
		for _, h := range before {
			if h.Sequence != 0 || len(h.Link) != 32 {
				t.Errorf("without records: %v", h)
			}
		}
		record(t, c, sound("2026-03-02T09:00:00Z", 10))
		after := heads()
		if d := cmp.Diff(before[0], after[0], protocmp.Transform()); d != "" {
			t.Errorf("a record of HAR moved the chain of ABE:\n%s", d)
		}
		// What the rules placed with the record is in the chain too.
		if after[1].Sequence < 1 || len(after[1].Link) != 32 || bytes.Equal(after[1].Link, before[1].Link) {
			t.Errorf("before %v, after %v", before[1], after[1])
		}
		for _, sites := range [][]string{{"sites/HAR"}, {"sites/har"}, {"sites/HAR", "sites/HAR"}} {
			if d := cmp.Diff([]*pb.ChainHead{after[1]}, heads(sites...), protocmp.Transform()); d != "" {
				t.Errorf("%v:\n%s", sites, d)
			}
		}
		for _, tc := range []struct {
			sites []string
			want  string
		}{
			{[]string{"sites/HAX"}, "NotFound: site \"HAX\" is not known; the nearest known is \"HAR\"\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/Site sites/HAX"},
			{[]string{"sites/HAR", "sites/HAR/towers/CT1"}, "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield sites[1]: \"sites/HAR/towers/CT1\" is not the name of a site; expected sites/{site}"},
			{[]string{""}, "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield sites[0]: \"\" is not the name of a site; expected sites/{site}"},
		} {
			_, err := c.progress.ListChainHeads(ctx, &pb.ListChainHeadsRequest{Sites: tc.sites})
			if d := cmp.Diff(tc.want, render(err)); d != "" {
				t.Errorf("%v (-want +got):\n%s", tc.sites, d)
			}
		}
	})
}
