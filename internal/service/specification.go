package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var specifications = thing[ledger.Specification, string, *pb.Specification, *pb.CreateSpecificationRequest]{
	what:    "specification",
	message: (*pb.CreateSpecificationRequest).GetSpecification,
	from:    wire.SpecificationFrom,
	to:      wire.SpecificationTo,
	identify: func(_ *problems, r *pb.CreateSpecificationRequest, s *ledger.Specification) {
		s.Code = r.SpecificationId
	},
	parse:    wire.SpecificationName,
	key:      func(s ledger.Specification) string { return s.Code },
	resource: func(s ledger.Specification) string { return wire.ResourceName("specifications", s.Code) },
	validate: ledger.Specification.Validate,
	fields:   specificationFields,
	register: (*store.Store).RegisterSpecifications,
	get: func(s *store.Store, ctx context.Context, code string) (ledger.Specification, error) {
		return s.Specification(ctx, code, 0)
	},
	update: (*store.Store).UpdateSpecification,
}

// CreateSpecification registers a specification.
func (s specificationService) CreateSpecification(ctx context.Context, r *pb.CreateSpecificationRequest) (*pb.Specification, error) {
	return specifications.create(ctx, s.Services, r)
}

// BatchCreateSpecifications registers many and answers for each.
func (s specificationService) BatchCreateSpecifications(ctx context.Context, r *pb.BatchCreateSpecificationsRequest) (*pb.BatchCreateSpecificationsResponse, error) {
	outcomes, err := specifications.createBatch(ctx, s.Services, r.Requests, r.ValidateOnly)
	return &pb.BatchCreateSpecificationsResponse{Outcomes: outcomes}, err
}

// GetSpecification reads the newest revision, or the one that the name asks for.
func (s specificationService) GetSpecification(ctx context.Context, r *pb.GetSpecificationRequest) (*pb.Specification, error) {
	var p problems
	ref := wire.RevisionOf(&p, "name", r.Name)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	item, err := s.store.Specification(ctx, ref.Code, ref.Revision)
	if err != nil {
		return nil, err
	}
	if ref.Revision != 0 {
		return wire.RevisionTo(item), nil
	}
	return wire.SpecificationTo(item), nil
}

// ListSpecifications pages through the newest revisions.
func (s specificationService) ListSpecifications(ctx context.Context, r *pb.ListSpecificationsRequest) (*pb.ListSpecificationsResponse, error) {
	items, next, err := listPage(r, nil, func(page store.Page) ([]ledger.Specification, string, error) {
		return s.store.Specifications(ctx, store.SpecificationFilter{}, page)
	}, wire.SpecificationTo)
	return &pb.ListSpecificationsResponse{Specifications: items, NextPageToken: next}, err
}

// UpdateSpecification makes a new revision.
func (s specificationService) UpdateSpecification(ctx context.Context, r *pb.UpdateSpecificationRequest) (*pb.Specification, error) {
	// The torque of every site's next joint: not for who answers for some of them.
	if err := access.AllowEverywhere(ctx, access.RegisterSpecifications); err != nil {
		return nil, err
	}
	return specifications.change(ctx, s.Services, r, r.Specification)
}

// ListSpecificationRevisions reads all revisions, oldest first.
func (s specificationService) ListSpecificationRevisions(ctx context.Context, r *pb.ListSpecificationRevisionsRequest) (*pb.ListSpecificationRevisionsResponse, error) {
	var p problems
	code := wire.SpecificationName(&p, "name", r.Name)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	items, err := s.store.SpecificationRevisions(ctx, code)
	if err != nil {
		return nil, err
	}
	resp := &pb.ListSpecificationRevisionsResponse{}
	for _, item := range items {
		resp.Specifications = append(resp.Specifications, wire.RevisionTo(item))
	}
	return resp, nil
}
