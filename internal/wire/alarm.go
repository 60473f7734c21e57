package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// AlarmTo writes an alarm without the name of its cause, whose kind it does not know.
func AlarmTo(r *ledger.Alarm) *pb.Alarm {
	return &pb.Alarm{
		Name:      ledger.RecordResource(r),
		Rule:      ResourceName("alarmRules", r.Rule),
		Site:      ResourceName("sites", r.Site),
		Lot:       ResourceName("lots", r.Lot),
		Test:      pb.AlarmTest(r.Test),
		Statistic: r.Statistic,
		Threshold: r.Threshold,
		Failures:  r.Failures,
		Attempts:  r.Attempts,
		Sentence:  r.Sentence,
		Entry:     EntryTo(r.Entry),
	}
}

func alarmFrom(p *Problems, m *pb.Alarm) *ledger.Alarm {
	r := &ledger.Alarm{
		Entry:     EntryFrom(p, "alarms", m.GetName(), m.GetEntry()),
		Rule:      p.Reference("rule", "alarmRules", m.GetRule()),
		Site:      p.Site("site", m.GetSite()),
		Lot:       p.Reference("lot", "lots", m.GetLot()),
		Test:      Word[ledger.AlarmTest](m.GetTest()),
		Statistic: m.GetStatistic(),
		Threshold: m.GetThreshold(),
		Failures:  m.GetFailures(),
		Attempts:  m.GetAttempts(),
		Sentence:  m.GetSentence(),
		Cause:     p.anyID("cause", m.GetCause()),
	}
	keptEntry(p, &r.Entry, m.GetEntry())
	return r
}
