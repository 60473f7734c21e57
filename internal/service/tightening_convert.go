package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func tighteningFrom(p *problems, m *pb.Tightening) *ledger.Tightening {
	r := &ledger.Tightening{
		Entry:         entryFrom(p, "tightenings", m.GetName(), m.GetEntry()),
		Joint:         p.place("joint", m.GetJoint()),
		Lot:           p.reference("lot", "lots", m.GetLot()),
		Treatment:     word[ledger.Treatment](m.GetTreatment()),
		CompoundBatch: m.GetCompoundBatch(),
		Tool:          p.reference("tool", "tools", m.GetTool()),
		TorqueAsTyped: m.GetTorqueAsTyped(),
		Fasteners:     int(m.GetFasteners()),
		Pass:          word[ledger.Pass](m.GetPass()),
		Method:        word[ledger.DrivingMethod](m.GetDrivingMethod()),
	}
	if m != nil && m.TorqueNewtonMetres != nil {
		r.TorqueNewtonMetres = new(*m.TorqueNewtonMetres)
	}
	return r
}

func tighteningTo(r *ledger.Tightening) *pb.Tightening {
	m := &pb.Tightening{
		Name:          ledger.RecordResource(r),
		Joint:         r.Joint.Resource(),
		Specification: revisionName(r.Specification),
		Lot:           resourceName("lots", r.Lot),
		Treatment:     pb.Treatment(r.Treatment),
		CompoundBatch: r.CompoundBatch,
		Tool:          resourceName("tools", r.Tool),
		TorqueAsTyped: r.TorqueAsTyped,
		Fasteners:     int32(r.Fasteners),
		Pass:          pb.Pass(r.Pass),
		DrivingMethod: pb.DrivingMethod(r.Method),
		Entry:         entryTo(r.Entry),
	}
	if r.TorqueNewtonMetres != nil {
		m.TorqueNewtonMetres = new(*r.TorqueNewtonMetres)
	}
	return m
}
