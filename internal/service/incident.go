package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

var incidents = record[*ledger.Incident, *pb.Incident]{
	kind: ledger.KindIncident, collection: "incidents", members: "incidents", action: access.Record, from: incidentFrom, to: incidentTo,
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
		Place:    p.placeFilter("place", r.Place),
		Lot:      p.reference("lot", "lots", r.Lot),
		Tool:     p.reference("tool", "tools", r.Tool),
		Person:   p.reference("person", "people", r.Person),
		Incident: known(&p, "kind", ledger.IncidentKinds, r.Kind),
	}
	f.Start, f.End = p.period(r.StartTime, r.EndTime)
	items, next, err := incidents.list(ctx, s.Services, r, p, f)
	return &pb.ListIncidentsResponse{Incidents: items, NextPageToken: next}, err
}
