package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func sealingFrom(p *problems, m *pb.Sealing) *ledger.Sealing {
	r := &ledger.Sealing{
		Entry:            entryFrom(p, "sealings", m.GetName(), m.GetEntry()),
		Joint:            p.place("joint", m.GetJoint()),
		Sealant:          m.GetSealant(),
		Batch:            m.GetBatch(),
		WidthMillimetres: m.GetWidthMillimetres(),
		Solvent:          m.GetSolvent(),
		CleanTime:        p.time("clean_time", m.GetCleanTime()),
		Splice:           word[ledger.Splice](m.GetSplice()),
	}
	if m != nil {
		r.AirCelsius, r.SurfaceCelsius, r.HumidityPercent = copied(m.AirCelsius), copied(m.SurfaceCelsius), copied(m.HumidityPercent)
		r.FlangeStraight = copied(m.FlangeStraight)
	}
	return r
}

func sealingTo(r *ledger.Sealing) *pb.Sealing {
	return &pb.Sealing{
		Name:             ledger.RecordResource(r),
		Joint:            r.Joint.Resource(),
		Sealant:          r.Sealant,
		Batch:            r.Batch,
		WidthMillimetres: r.WidthMillimetres,
		Solvent:          r.Solvent,
		CleanTime:        timestamp(r.CleanTime),
		AirCelsius:       copied(r.AirCelsius),
		SurfaceCelsius:   copied(r.SurfaceCelsius),
		HumidityPercent:  copied(r.HumidityPercent),
		Splice:           pb.Splice(r.Splice),
		FlangeStraight:   copied(r.FlangeStraight),
		Entry:            entryTo(r.Entry),
		Specification:    revisionName(r.Specification),
	}
}
