package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var incidents = record[*ledger.Incident, *pb.Incident]{
	kind: ledger.KindIncident, collection: "incidents", members: "incidents", action: access.RecordWork, from: wire.IncidentFrom, to: wire.IncidentTo,
}

// RecordIncidents keeps incidents and answers for each.
func (s assemblyService) RecordIncidents(ctx context.Context, r *pb.RecordIncidentsRequest) (*pb.RecordIncidentsResponse, error) {
	outcomes, err := incidents.keep(ctx, s.Services, r.Incidents, r.ValidateOnly)
	return &pb.RecordIncidentsResponse{Outcomes: outcomes}, err
}

// GetIncident reads one incident.
func (s assemblyService) GetIncident(ctx context.Context, r *pb.GetIncidentRequest) (*pb.Incident, error) {
	return incidents.fetch(ctx, s.Services, r.Name)
}

// ListIncidents pages through incidents.
func (s assemblyService) ListIncidents(ctx context.Context, r *pb.ListIncidentsRequest) (*pb.ListIncidentsResponse, error) {
	var p problems
	f := store.RecordFilter{
		Place:    p.PlaceFilter("place", r.Place),
		Lot:      p.Reference("lot", "lots", r.Lot),
		Tool:     p.Reference("tool", "tools", r.Tool),
		Person:   p.Reference("person", "people", r.Person),
		Incident: wire.Known(&p, "kind", ledger.IncidentKinds, r.Kind),
	}
	f.Start, f.End = p.Period(r.StartTime, r.EndTime)
	items, next, err := incidents.list(ctx, s.Services, r, p, f)
	return &pb.ListIncidentsResponse{Incidents: items, NextPageToken: next}, err
}
