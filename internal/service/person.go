package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var people = thing[ledger.Person, string, *pb.Person, *pb.CreatePersonRequest]{
	what:     "person",
	message:  (*pb.CreatePersonRequest).GetPerson,
	from:     wire.PersonFrom,
	to:       wire.PersonTo,
	identify: func(_ *problems, r *pb.CreatePersonRequest, p *ledger.Person) { p.ID = r.PersonId },
	parse:    wire.PersonName,
	key:      func(p ledger.Person) string { return p.ID },
	resource: func(p ledger.Person) string { return wire.ResourceName("people", p.ID) },
	validate: ledger.Person.Validate,
	home:     func(p ledger.Person) string { return p.HomeSite },
	mayTurn: func(ctx context.Context, kept, _ ledger.Person) error {
		return access.AllowAt(ctx, access.RegisterPeople, kept.HomeSite)
	},
	fields:   personFields,
	register: (*store.Store).RegisterPeople,
	get:      (*store.Store).Person,
	update:   (*store.Store).UpdatePerson,
}

// CreatePerson registers a person.
func (s personService) CreatePerson(ctx context.Context, r *pb.CreatePersonRequest) (*pb.Person, error) {
	return people.create(ctx, s.Services, r)
}

// BatchCreatePeople registers many and answers for each.
func (s personService) BatchCreatePeople(ctx context.Context, r *pb.BatchCreatePeopleRequest) (*pb.BatchCreatePeopleResponse, error) {
	outcomes, err := people.createBatch(ctx, s.Services, r.Requests, r.ValidateOnly)
	return &pb.BatchCreatePeopleResponse{Outcomes: outcomes}, err
}

// GetPerson reads one person.
func (s personService) GetPerson(ctx context.Context, r *pb.GetPersonRequest) (*pb.Person, error) {
	return people.fetch(ctx, s.Services, r.Name)
}

// ListPeople pages through people.
func (s personService) ListPeople(ctx context.Context, r *pb.ListPeopleRequest) (*pb.ListPeopleResponse, error) {
	var p problems
	filter := store.PersonFilter{HomeSite: p.Site("home_site", r.HomeSite)}
	items, next, err := listPage(r, p, func(page store.Page) ([]ledger.Person, string, error) {
		return s.store.People(ctx, filter, page)
	}, wire.PersonTo)
	return &pb.ListPeopleResponse{People: items, NextPageToken: next}, err
}

// UpdatePerson changes the fields in the mask.
func (s personService) UpdatePerson(ctx context.Context, r *pb.UpdatePersonRequest) (*pb.Person, error) {
	return people.change(ctx, s.Services, r, r.Person)
}
