package known

import (
	"time"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// AtDoor is the tool of a change of custody with all that says whether it may go out
// at the record's time, by what the source knows and the records before it that the
// source does not know yet; false when the source does not know the tool. Where it is
// now counts, even when the clock of whoever had it last is ahead of the record's time.
// Reasons of holds are not known: their dates are.
func AtDoor(s Source, record *ledger.Custody, before []ledger.Record, now time.Time) (analysis.TrackedTool, bool) {
	past, ok := s.Tool(record.Tool)
	if !ok {
		return analysis.TrackedTool{}, false
	}
	w := waitingBefore(s, record, uuid.Nil, before)
	p := Pieces{Record: record}
	w.ofTool(&p, w.tool(past))
	tool := p.tracked(record.OccurTime)
	if now.After(record.OccurTime) {
		tool.Custody = custodyOf(p.inHands(now))
	}
	return tool, true
}
