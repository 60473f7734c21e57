package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// FastenerFrom reads a fastener.
func FastenerFrom(m *pb.Fastener) ledger.Fastener {
	return ledger.Fastener{
		Thread:            m.GetThread(),
		LengthMillimetres: m.GetLengthMillimetres(),
		Material:          Word[ledger.Material](m.GetMaterial()),
		PropertyClass:     m.GetPropertyClass(),
		Coating:           m.GetCoating(),
		Head:              m.GetHead(),
	}
}

// FastenerTo writes a fastener.
func FastenerTo(f ledger.Fastener) *pb.Fastener {
	return &pb.Fastener{
		Thread:            f.Thread,
		LengthMillimetres: f.LengthMillimetres,
		Material:          pb.Material(f.Material),
		PropertyClass:     f.PropertyClass,
		Coating:           f.Coating,
		Head:              f.Head,
	}
}
