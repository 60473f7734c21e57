package cli

import (
	"context"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/cli/output"
	pb "jointledger/proto/jointledger/v1"
)

// keepEach keeps several records of one kind on this device, all or none, and tries to
// send them; each is told of by itself. Their ids were made now.
func (a *app) keepEach(ctx context.Context, box *outbox.Outbox, all []sent, records []record) error {
	drafts := make([]outbox.Draft, len(records))
	for i, r := range records {
		var err error
		if err = soundRecord(r, all[i].names); err != nil {
			return err
		}
		if drafts[i], err = a.draft(r, all[i].summary); err != nil {
			return err
		}
		drafts[i].New = true
	}
	defer a.tellDamage(box) // judging reads all of it, and may be the first to see what is damaged
	result, err := box.Keep(drafts...)
	if err != nil {
		return notKept(err)
	}
	for _, s := range all {
		if err := a.sayKept(s); err != nil {
			return err
		}
	}
	t := a.trySending(ctx, box, result.Count)
	outcomes := make([]*pb.Outcome, len(records))
	for i := range records {
		if outcomes[i] = t.outcomeOf(records[i : i+1]); outcomes[i] == nil {
			return a.tellWaiting(box, all, records, t)
		}
	}
	return a.tellOutcomes(all, outcomes)
}

// tellWaiting answers for several records that wait, or of which not all were answered
// for: those that were are seen in pending.
func (a *app) tellWaiting(box *outbox.Outbox, all []sent, records []record, t attempt) error {
	j, err := a.judgeHere(box, records)
	if err != nil {
		j.remark("the rules can't be applied here: " + err.Error())
	}
	if a.format != output.Table {
		w, err := output.New(a.config(), "outcomes", answerColumns(sent{}))
		if err != nil {
			return err
		}
		for i, s := range all {
			if err := w.Row(answer{sent: s, state: "waiting", findings: bySeverity(j.of[i]), dataOf: j.dataOf, filled: a.filled}); err != nil {
				return err
			}
		}
		return a.aside(w.Close(), append(append(given("", t.whyNot()), j.remarks...), t.remarks()...))
	}
	var lines []string
	for i, s := range all {
		lines = append(lines, findingLines(answer{sent: s, state: "waiting", findings: bySeverity(j.of[i])})...)
	}
	lines = append(lines, a.waitingLines(j, t)...)
	for i, s := range all {
		lines = append(lines, s.remarks(j.of[i])...)
	}
	return a.writeLines(append(append(lines, a.filledLines()...), t.remarks()...))
}
