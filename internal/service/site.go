package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var sites = thing[ledger.Site, string, *pb.Site, *pb.CreateSiteRequest]{
	what:     "site",
	message:  (*pb.CreateSiteRequest).GetSite,
	from:     wire.SiteFrom,
	to:       wire.SiteTo,
	identify: func(_ *problems, r *pb.CreateSiteRequest, s *ledger.Site) { s.Code = tag(r.SiteId) },
	parse:    wire.SiteName,
	key:      func(s ledger.Site) string { return s.Code },
	resource: func(s ledger.Site) string { return wire.ResourceName("sites", s.Code) },
	validate: ledger.Site.Validate,
	mayTurn:  mayMoveSite,
	fields:   siteFields,
	register: (*store.Store).RegisterSites,
	get:      (*store.Store).Site,
	update:   (*store.Store).UpdateSite,
}

// mayMoveSite asks whether the caller may put a site into another region: who has a role
// in a region has it at its sites, so that says who may do what there.
func mayMoveSite(ctx context.Context, kept, into ledger.Site) error {
	if kept.Region == into.Region {
		return nil
	}
	return access.AllowAt(ctx, access.Administer, kept.Code)
}

// CreateSite registers a site.
func (s structureService) CreateSite(ctx context.Context, r *pb.CreateSiteRequest) (*pb.Site, error) {
	return sites.create(ctx, s.Services, r)
}

// BatchCreateSites registers many and answers for each.
func (s structureService) BatchCreateSites(ctx context.Context, r *pb.BatchCreateSitesRequest) (*pb.BatchCreateSitesResponse, error) {
	outcomes, err := sites.createBatch(ctx, s.Services, r.Requests, r.ValidateOnly)
	return &pb.BatchCreateSitesResponse{Outcomes: outcomes}, err
}

// GetSite reads one site.
func (s structureService) GetSite(ctx context.Context, r *pb.GetSiteRequest) (*pb.Site, error) {
	return sites.fetch(ctx, s.Services, r.Name)
}

// ListSites pages through sites.
func (s structureService) ListSites(ctx context.Context, r *pb.ListSitesRequest) (*pb.ListSitesResponse, error) {
	items, next, err := listPage(r, nil, func(p store.Page) ([]ledger.Site, string, error) {
		return s.store.Sites(ctx, store.SiteFilter{Region: r.Region}, p)
	}, wire.SiteTo)
	return &pb.ListSitesResponse{Sites: items, NextPageToken: next}, err
}

// UpdateSite changes the fields in the mask.
func (s structureService) UpdateSite(ctx context.Context, r *pb.UpdateSiteRequest) (*pb.Site, error) {
	return sites.change(ctx, s.Services, r, r.Site)
}
