package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// DispositionFrom reads a disposition that a client made, without what only the server says.
func DispositionFrom(p *Problems, m *pb.Disposition) *ledger.Disposition {
	return &ledger.Disposition{
		Entry:    EntryFrom(p, "dispositions", m.GetName(), m.GetEntry()),
		Incident: p.RecordID("incident", "incidents", m.GetIncident()),
		Decision: Word[ledger.Decision](m.GetDecision()),
		Reason:   m.GetReason(),
	}
}

// DispositionTo writes a disposition.
func DispositionTo(r *ledger.Disposition) *pb.Disposition {
	return &pb.Disposition{
		Name:     ledger.RecordResource(r),
		Incident: ledger.RecordName(ledger.KindIncident, r.Incident),
		Decision: pb.Decision(r.Decision),
		Reason:   r.Reason,
		Entry:    EntryTo(r.Entry),
	}
}
