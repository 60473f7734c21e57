package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func dispositionFrom(p *problems, m *pb.Disposition) *ledger.Disposition {
	return &ledger.Disposition{
		Entry:    entryFrom(p, "dispositions", m.GetName(), m.GetEntry()),
		Incident: p.recordID("incident", "incidents", m.GetIncident()),
		Decision: word[ledger.Decision](m.GetDecision()),
		Reason:   m.GetReason(),
	}
}

func dispositionTo(r *ledger.Disposition) *pb.Disposition {
	return &pb.Disposition{
		Name:     ledger.RecordResource(r),
		Incident: ledger.RecordName(ledger.KindIncident, r.Incident),
		Decision: pb.Decision(r.Decision),
		Reason:   r.Reason,
		Entry:    entryTo(r.Entry),
	}
}
