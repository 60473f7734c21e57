package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// IncidentFrom reads an incident that a client made, without what only the server says.
func IncidentFrom(p *Problems, m *pb.Incident) *ledger.Incident {
	r := &ledger.Incident{
		Entry:     EntryFrom(p, "incidents", m.GetName(), m.GetEntry()),
		Kind:      Word[ledger.IncidentKind](m.GetKind()),
		Site:      p.Site("site", m.GetSite()),
		Joint:     p.Place("joint", m.GetJoint()),
		Fasteners: int(m.GetFasteners()),
		Lot:       p.Reference("lot", "lots", m.GetLot()),
		Treatment: Word[ledger.Treatment](m.GetTreatment()),
		Tool:      p.Reference("tool", "tools", m.GetTool()),
		Method:    Word[ledger.DrivingMethod](m.GetDrivingMethod()),
		Noticed:   m.GetNoticed(),
		Action:    m.GetAction(),
	}
	if r.Site == "" {
		r.Site = r.SiteCode()
	}
	return r
}

// IncidentTo writes an incident.
func IncidentTo(r *ledger.Incident) *pb.Incident {
	return &pb.Incident{
		Name:          ledger.RecordResource(r),
		Kind:          pb.IncidentKind(r.Kind),
		Site:          ResourceName("sites", r.SiteCode()),
		Joint:         r.Joint.Resource(),
		Fasteners:     int32(r.Fasteners),
		Lot:           ResourceName("lots", r.Lot),
		Treatment:     pb.Treatment(r.Treatment),
		Tool:          ResourceName("tools", r.Tool),
		DrivingMethod: pb.DrivingMethod(r.Method),
		Noticed:       r.Noticed,
		Action:        r.Action,
		Entry:         EntryTo(r.Entry),
		Specification: RevisionName(r.Specification),
	}
}
