package wire

import (
	"github.com/google/uuid"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// EntryFrom reads what every record carries; name is the record's own.
func EntryFrom(p *Problems, collection, name string, m *pb.Entry) ledger.Entry {
	return ledger.Entry{
		ID:            p.RecordID("name", collection, name),
		OccurTime:     p.Time("entry.occur_time", m.GetOccurTime()),
		OffsetMinutes: int(m.GetUtcOffsetMinutes()),
		Person:        p.Reference("entry.person", "people", m.GetPerson()),
		Device:        m.GetDevice(),
		Note:          m.GetNote(),
		Offline:       m.GetOffline(),
	}
}

// EntryTo writes an entry.
func EntryTo(e ledger.Entry) *pb.Entry {
	m := &pb.Entry{
		OccurTime:        Timestamp(e.OccurTime),
		UtcOffsetMinutes: int32(e.OffsetMinutes),
		Person:           ResourceName("people", e.Person),
		Device:           e.Device,
		Note:             e.Note,
		Offline:          e.Offline,
		ReceiveTime:      Timestamp(e.ReceiveTime),
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
