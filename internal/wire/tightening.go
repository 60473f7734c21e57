package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// TighteningFrom reads a tightening that a client made, without what only the server says.
func TighteningFrom(p *Problems, m *pb.Tightening) *ledger.Tightening {
	r := &ledger.Tightening{
		Entry:         EntryFrom(p, "tightenings", m.GetName(), m.GetEntry()),
		Joint:         p.Place("joint", m.GetJoint()),
		Lot:           p.Reference("lot", "lots", m.GetLot()),
		Treatment:     Word[ledger.Treatment](m.GetTreatment()),
		CompoundBatch: m.GetCompoundBatch(),
		Tool:          p.Reference("tool", "tools", m.GetTool()),
		TorqueAsTyped: m.GetTorqueAsTyped(),
		Fasteners:     int(m.GetFasteners()),
		Pass:          Word[ledger.Pass](m.GetPass()),
		Method:        Word[ledger.DrivingMethod](m.GetDrivingMethod()),
	}
	if m != nil && m.TorqueNewtonMetres != nil {
		r.TorqueNewtonMetres = new(*m.TorqueNewtonMetres)
	}
	return r
}

// TighteningTo writes a tightening.
func TighteningTo(r *ledger.Tightening) *pb.Tightening {
	m := &pb.Tightening{
		Name:          ledger.RecordResource(r),
		Joint:         r.Joint.Resource(),
		Specification: RevisionName(r.Specification),
		Lot:           ResourceName("lots", r.Lot),
		Treatment:     pb.Treatment(r.Treatment),
		CompoundBatch: r.CompoundBatch,
		Tool:          ResourceName("tools", r.Tool),
		TorqueAsTyped: r.TorqueAsTyped,
		Fasteners:     int32(r.Fasteners),
		Pass:          pb.Pass(r.Pass),
		DrivingMethod: pb.DrivingMethod(r.Method),
		Entry:         EntryTo(r.Entry),
	}
	if r.TorqueNewtonMetres != nil {
		m.TorqueNewtonMetres = new(*r.TorqueNewtonMetres)
	}
	return m
}
