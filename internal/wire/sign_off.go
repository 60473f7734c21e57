package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// SignOffFrom reads a sign off that a client made, without what only the server says.
func SignOffFrom(p *Problems, m *pb.SignOff) *ledger.SignOff {
	return &ledger.SignOff{
		Entry: EntryFrom(p, "signOffs", m.GetName(), m.GetEntry()),
		Place: p.Place("place", m.GetPlace()),
		Point: Word[ledger.SignOffPoint](m.GetPoint()),
		Title: m.GetTitle(),
	}
}

// SignOffTo writes a sign off.
func SignOffTo(r *ledger.SignOff) *pb.SignOff {
	return &pb.SignOff{
		Name:  ledger.RecordResource(r),
		Place: r.Place.Resource(),
		Point: pb.SignOffPoint(r.Point),
		Title: r.Title,
		Entry: EntryTo(r.Entry),
	}
}
