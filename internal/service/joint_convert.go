package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func jointFrom(p *problems, m *pb.Joint) ledger.Joint {
	return ledger.Joint{
		Kind:          word[ledger.JointKind](m.GetKind()),
		Critical:      m.GetCritical(),
		PartA:         m.GetPartA(),
		PartB:         m.GetPartB(),
		Specification: p.reference("specification", "specifications", m.GetSpecification()),
		Fasteners:     int(m.GetFasteners()),
	}
}

func jointTo(j ledger.Joint) *pb.Joint {
	return &pb.Joint{
		Name:          j.Place.Resource(),
		Kind:          pb.JointKind(j.Kind),
		Critical:      j.Critical,
		PartA:         j.PartA,
		PartB:         j.PartB,
		Specification: resourceName("specifications", j.Specification),
		Fasteners:     int32(j.Fasteners),
		Etag:          etagOf(j.Version),
		CreateTime:    timestamp(j.CreateTime),
		UpdateTime:    timestamp(j.UpdateTime),
	}
}

var jointFields = []field[ledger.Joint]{
	{"kind", func(dst, src *ledger.Joint) { dst.Kind = src.Kind }},
	{"critical", func(dst, src *ledger.Joint) { dst.Critical = src.Critical }},
	{"part_a", func(dst, src *ledger.Joint) { dst.PartA = src.PartA }},
	{"part_b", func(dst, src *ledger.Joint) { dst.PartB = src.PartB }},
	{"specification", func(dst, src *ledger.Joint) { dst.Specification = src.Specification }},
	{"fasteners", func(dst, src *ledger.Joint) { dst.Fasteners = src.Fasteners }},
}

func jointName(p *problems, field, name string) ledger.Place {
	return p.placeOf(field, name, 4, false)
}
