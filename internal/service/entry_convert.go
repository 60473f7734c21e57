package service

import (
	"github.com/google/uuid"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// entryFrom reads what every record carries; name is the record's own.
func entryFrom(p *problems, collection, name string, m *pb.Entry) ledger.Entry {
	return ledger.Entry{
		ID:            p.recordID("name", collection, name),
		OccurTime:     p.time("entry.occur_time", m.GetOccurTime()),
		OffsetMinutes: int(m.GetUtcOffsetMinutes()),
		Person:        p.reference("entry.person", "people", m.GetPerson()),
		Device:        m.GetDevice(),
		Note:          m.GetNote(),
		Offline:       m.GetOffline(),
	}
}

func entryTo(e ledger.Entry) *pb.Entry {
	m := &pb.Entry{
		OccurTime:        timestamp(e.OccurTime),
		UtcOffsetMinutes: int32(e.OffsetMinutes),
		Person:           resourceName("people", e.Person),
		Device:           e.Device,
		Note:             e.Note,
		Offline:          e.Offline,
		ReceiveTime:      timestamp(e.ReceiveTime),
		ChainSequence:    e.Sequence,
	}
	if e.Sequence != 0 {
		m.ChainLink = e.Link[:]
	}
	if e.CorrectedBy != uuid.Nil {
		m.CorrectedBy = ledger.RecordName(ledger.KindCorrection, e.CorrectedBy)
	}
	return m
}
