package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func signOffFrom(p *problems, m *pb.SignOff) *ledger.SignOff {
	return &ledger.SignOff{
		Entry: entryFrom(p, "signOffs", m.GetName(), m.GetEntry()),
		Place: p.place("place", m.GetPlace()),
		Point: word[ledger.SignOffPoint](m.GetPoint()),
		Title: m.GetTitle(),
	}
}

func signOffTo(r *ledger.SignOff) *pb.SignOff {
	return &pb.SignOff{
		Name:  ledger.RecordResource(r),
		Place: r.Place.Resource(),
		Point: pb.SignOffPoint(r.Point),
		Title: r.Title,
		Entry: entryTo(r.Entry),
	}
}
