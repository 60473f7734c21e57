package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// JointFrom reads a joint that a client asks for, without its name.
func JointFrom(p *Problems, m *pb.Joint) ledger.Joint {
	return ledger.Joint{
		Kind:          Word[ledger.JointKind](m.GetKind()),
		Critical:      m.GetCritical(),
		PartA:         m.GetPartA(),
		PartB:         m.GetPartB(),
		Specification: p.Reference("specification", "specifications", m.GetSpecification()),
		Fasteners:     int(m.GetFasteners()),
	}
}

// JointTo writes a joint.
func JointTo(j ledger.Joint) *pb.Joint {
	return &pb.Joint{
		Name:          j.Place.Resource(),
		Kind:          pb.JointKind(j.Kind),
		Critical:      j.Critical,
		PartA:         j.PartA,
		PartB:         j.PartB,
		Specification: ResourceName("specifications", j.Specification),
		Fasteners:     int32(j.Fasteners),
		Etag:          EtagOf(j.Version),
		CreateTime:    Timestamp(j.CreateTime),
		UpdateTime:    Timestamp(j.UpdateTime),
	}
}

// JointName reads the full resource name of a joint in a field; it must be given.
func JointName(p *Problems, field, name string) ledger.Place {
	return p.PlaceOf(field, name, 4, false)
}
