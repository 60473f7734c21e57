package service

import (
	"context"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var substitutions = thing[ledger.Substitution, string, *pb.Substitution, *pb.CreateSubstitutionRequest]{
	what:    "substitution",
	message: (*pb.CreateSubstitutionRequest).GetSubstitution,
	from:    wire.SubstitutionFrom,
	to:      wire.SubstitutionTo,
	identify: func(_ *problems, r *pb.CreateSubstitutionRequest, s *ledger.Substitution) {
		s.Code = r.SubstitutionId
	},
	parse:    wire.SubstitutionName,
	key:      func(s ledger.Substitution) string { return s.Code },
	resource: func(s ledger.Substitution) string { return wire.ResourceName("substitutions", s.Code) },
	validate: ledger.Substitution.Validate,
	fields:   substitutionFields,
	register: (*store.Store).RegisterSubstitutions,
	get:      (*store.Store).Substitution,
	update:   (*store.Store).UpdateSubstitution,
}

// CreateSubstitution registers a substitution.
func (s consumableService) CreateSubstitution(ctx context.Context, r *pb.CreateSubstitutionRequest) (*pb.Substitution, error) {
	return substitutions.create(ctx, s.Services, r)
}

// BatchCreateSubstitutions registers many and answers for each.
func (s consumableService) BatchCreateSubstitutions(ctx context.Context, r *pb.BatchCreateSubstitutionsRequest) (*pb.BatchCreateSubstitutionsResponse, error) {
	outcomes, err := substitutions.createBatch(ctx, s.Services, r.Requests, r.ValidateOnly)
	return &pb.BatchCreateSubstitutionsResponse{Outcomes: outcomes}, err
}

// GetSubstitution reads one substitution.
func (s consumableService) GetSubstitution(ctx context.Context, r *pb.GetSubstitutionRequest) (*pb.Substitution, error) {
	return substitutions.fetch(ctx, s.Services, r.Name)
}

// ListSubstitutions pages through substitutions.
func (s consumableService) ListSubstitutions(ctx context.Context, r *pb.ListSubstitutionsRequest) (*pb.ListSubstitutionsResponse, error) {
	var p problems
	filter := store.SubstitutionFilter{Specification: p.Reference("specification", "specifications", r.Specification)}
	items, next, err := listPage(r, p, func(page store.Page) ([]ledger.Substitution, string, error) {
		return s.store.Substitutions(ctx, filter, page)
	}, wire.SubstitutionTo)
	return &pb.ListSubstitutionsResponse{Substitutions: items, NextPageToken: next}, err
}

// UpdateSubstitution changes the fields in the mask.
func (s consumableService) UpdateSubstitution(ctx context.Context, r *pb.UpdateSubstitutionRequest) (*pb.Substitution, error) {
	return substitutions.change(ctx, s.Services, r, r.Substitution)
}
