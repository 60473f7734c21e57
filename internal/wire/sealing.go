package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// SealingFrom reads a sealing that a client made, without what only the server says.
func SealingFrom(p *Problems, m *pb.Sealing) *ledger.Sealing {
	r := &ledger.Sealing{
		Entry:            EntryFrom(p, "sealings", m.GetName(), m.GetEntry()),
		Joint:            p.Place("joint", m.GetJoint()),
		Sealant:          m.GetSealant(),
		Batch:            m.GetBatch(),
		WidthMillimetres: m.GetWidthMillimetres(),
		Solvent:          m.GetSolvent(),
		CleanTime:        p.Time("clean_time", m.GetCleanTime()),
		Splice:           Word[ledger.Splice](m.GetSplice()),
	}
	if m != nil {
		r.AirCelsius, r.SurfaceCelsius, r.HumidityPercent = Copied(m.AirCelsius), Copied(m.SurfaceCelsius), Copied(m.HumidityPercent)
		r.FlangeStraight = Copied(m.FlangeStraight)
	}
	return r
}

// SealingTo writes a sealing.
func SealingTo(r *ledger.Sealing) *pb.Sealing {
	return &pb.Sealing{
		Name:             ledger.RecordResource(r),
		Joint:            r.Joint.Resource(),
		Sealant:          r.Sealant,
		Batch:            r.Batch,
		WidthMillimetres: r.WidthMillimetres,
		Solvent:          r.Solvent,
		CleanTime:        Timestamp(r.CleanTime),
		AirCelsius:       Copied(r.AirCelsius),
		SurfaceCelsius:   Copied(r.SurfaceCelsius),
		HumidityPercent:  Copied(r.HumidityPercent),
		Splice:           pb.Splice(r.Splice),
		FlangeStraight:   Copied(r.FlangeStraight),
		Entry:            EntryTo(r.Entry),
		Specification:    RevisionName(r.Specification),
	}
}
