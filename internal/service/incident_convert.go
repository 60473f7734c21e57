package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func incidentFrom(p *problems, m *pb.Incident) *ledger.Incident {
	return &ledger.Incident{
		Entry:     entryFrom(p, "incidents", m.GetName(), m.GetEntry()),
		Kind:      word[ledger.IncidentKind](m.GetKind()),
		Site:      p.site("site", m.GetSite()),
		Joint:     p.place("joint", m.GetJoint()),
		Fasteners: int(m.GetFasteners()),
		Lot:       p.reference("lot", "lots", m.GetLot()),
		Treatment: word[ledger.Treatment](m.GetTreatment()),
		Tool:      p.reference("tool", "tools", m.GetTool()),
		Method:    word[ledger.DrivingMethod](m.GetDrivingMethod()),
		Noticed:   m.GetNoticed(),
		Action:    m.GetAction(),
	}
}

func incidentTo(r *ledger.Incident) *pb.Incident {
	return &pb.Incident{
		Name:          ledger.RecordResource(r),
		Kind:          pb.IncidentKind(r.Kind),
		Site:          resourceName("sites", r.SiteCode()),
		Joint:         r.Joint.Resource(),
		Fasteners:     int32(r.Fasteners),
		Lot:           resourceName("lots", r.Lot),
		Treatment:     pb.Treatment(r.Treatment),
		Tool:          resourceName("tools", r.Tool),
		DrivingMethod: pb.DrivingMethod(r.Method),
		Noticed:       r.Noticed,
		Action:        r.Action,
		Entry:         entryTo(r.Entry),
		Specification: revisionName(r.Specification),
	}
}
