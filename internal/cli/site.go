package cli

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) siteCommand() *cobra.Command {
	n := siteNoun()
	return group("site", "Sites: places where towers are erected", n.add(a), a.siteList(), n.show(a), n.set(a))
}

func siteNoun() *noun[*pb.Site] {
	return &noun[*pb.Site]{
		word: "site", plural: "sites", arg: "SITE",
		help:     "SITE is its code: letters, digits and hyphens, such as RVB.",
		columns:  siteColumns,
		name:     placeName(1),
		fresh:    func() *pb.Site { return &pb.Site{} },
		fields:   siteFields,
		required: []string{"name", "time-zone"},
		create: func(ctx context.Context, conn *grpc.ClientConn, name string, s *pb.Site) (*pb.Site, error) {
			return pb.NewStructureServiceClient(conn).CreateSite(ctx, &pb.CreateSiteRequest{SiteId: lastOf(name), Site: s})
		},
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Site, error) {
			return pb.NewStructureServiceClient(conn).GetSite(ctx, &pb.GetSiteRequest{Name: name})
		},
		update: func(ctx context.Context, conn *grpc.ClientConn, name string, s *pb.Site, mask *fieldmaskpb.FieldMask) (*pb.Site, error) {
			s.Name = name
			return pb.NewStructureServiceClient(conn).UpdateSite(ctx, &pb.UpdateSiteRequest{Site: s, UpdateMask: mask})
		},
	}
}

func siteColumns() []output.Column[*pb.Site] {
	return append([]output.Column[*pb.Site]{
		{Name: "code", Heading: "SITE", Value: func(s *pb.Site) any { return ledger.ShortName(s.GetName()) }},
		{Name: "name", Heading: "NAME", Value: func(s *pb.Site) any { return s.GetDisplayName() }},
		{Name: "region", Heading: "REGION", Value: func(s *pb.Site) any { return text(s.GetRegion()) }},
		{Name: "time_zone", Heading: "TIME ZONE", Value: func(s *pb.Site) any { return s.GetTimeZone() }},
		{Name: "status", Heading: "STATUS", Value: func(s *pb.Site) any { return text(wordOf(ledger.SiteStatuses, s.GetStatus())) }},
		{Name: "unit_preference", Value: func(s *pb.Site) any { return text(wordOf(ledger.UnitPreferences, s.GetUnitPreference())) }},
	}, stamped[*pb.Site]()...)
}

func siteFields(cmd *cobra.Command, s *pb.Site) *fields {
	f := newFields(cmd)
	f.text(&s.DisplayName, "name", "display_name", "what people call it")
	f.text(&s.Region, "region", "region", "region for comparison")
	f.text(&s.TimeZone, "time-zone", "time_zone", "IANA time zone, such as Europe/Dublin")
	wordField(f, &s.Status, ledger.SiteStatuses, "status", "status", "whether work is to come, going on or over")
	wordField(f, &s.UnitPreference, ledger.UnitPreferences, "units", "unit_preference", "in which units its people read quantities")
	return f
}

func (a *app) siteList() *cobra.Command {
	var limit int
	request := &pb.ListSitesRequest{}
	cmd := a.command("list", "List sites", "")
	limitFlag(cmd, &limit)
	newFields(cmd).text(&request.Region, "region", "", "only sites of this region")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewStructureServiceClient(conn)
		return list(a, limit, "sites", siteColumns(), func(size int32, token string) ([]*pb.Site, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListSites(ctx, request)
			return page.GetSites(), page.GetNextPageToken(), err
		})
	})
}
