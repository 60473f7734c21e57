package service

import (
	"context"
	"fmt"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// CountIncidents counts incidents of every kind.
func (s analysisService) CountIncidents(ctx context.Context, r *pb.CountIncidentsRequest) (*pb.CountIncidentsResponse, error) {
	var p problems
	q := store.IncidentCountQuery{Sites: siteCodes(&p, r.Sites), StartDay: r.StartDate, EndDay: r.EndDate}
	start, startOK := dateFrom(&p, "start_date", r.StartDate)
	end, endOK := dateFrom(&p, "end_date", r.EndDate)
	if startOK && endOK && end.Before(start) {
		p.Add("end_date", "%s is before start_date %s", r.EndDate, r.StartDate)
	}
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	counts, err := s.store.IncidentCounts(ctx, q)
	if err != nil {
		return nil, err
	}
	resp := &pb.CountIncidentsResponse{}
	for _, n := range counts {
		resp.Kinds = append(resp.Kinds, &pb.IncidentCount{Kind: pb.IncidentKind(n.Kind), Incidents: n.Incidents, Fasteners: n.Fasteners})
	}
	return resp, nil
}

// siteCodes reads the names of sites.
func siteCodes(p *problems, names []string) (codes []string) {
	for i, name := range names {
		codes = append(codes, p.PlaceOf(fmt.Sprintf("sites[%d]", i), name, 1, false).Site)
	}
	return codes
}
