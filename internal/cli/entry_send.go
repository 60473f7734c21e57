package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"google.golang.org/grpc"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/cli/output"
	pb "jointledger/proto/jointledger/v1"
)

// sendRecord keeps records that belong together and tells what became of them. On a
// device that carries their site, or on which others wait already, they go into the
// outbox first; else straight to the server.
func (a *app) sendRecord(ctx context.Context, s sent, o *entryOptions, records ...record) error {
	box, first, err := a.outboxFor(siteOfRecord(records[0]))
	if err != nil {
		return err
	}
	if first {
		return a.keepHere(ctx, box, s, o, records)
	}
	return a.sendBy(ctx, s, o, func(ctx context.Context, conn *grpc.ClientConn) ([]*pb.Outcome, error) {
		outcomes, err := recordDirectly(ctx, conn, records)
		if err == nil {
			a.noteDirect(box, s, records, outcomes)
		}
		return decisive(outcomes), err
	})
}

// sendBy sends a record straight to the server and tells what became of it.
func (a *app) sendBy(ctx context.Context, s sent, o *entryOptions, send func(context.Context, *grpc.ClientConn) ([]*pb.Outcome, error)) error {
	conn, err := a.dial()
	if err != nil {
		return err
	}
	outcomes, err := sendKnown(ctx, conn, s, o, send)
	if err != nil {
		return a.unsure(err, o, s.names)
	}
	return a.tellOutcome(s, outcomes)
}

// keepHere keeps records on this device, says so, and tries to send.
func (a *app) keepHere(ctx context.Context, box *outbox.Outbox, s sent, o *entryOptions, records []record) error {
	if err := a.takeKnownTime(box, o); err != nil {
		return err
	}
	drafts := make([]outbox.Draft, len(records))
	for i, r := range records {
		var err error
		if err = soundRecord(r, s.names); err != nil {
			return err
		}
		if drafts[i], err = a.draft(r, s.summary); err != nil {
			return err
		}
		drafts[i].New = o.made
	}
	drafts[len(drafts)-1].Replaces = s.mends
	defer a.tellDamage(box) // judging reads all of it, and may be the first to see what is damaged
	result, err := box.Keep(drafts...)
	if err != nil {
		return notKept(err)
	}
	if known := result.Known[len(records)-1]; known != nil {
		return a.tellKnownHere(s, known)
	}
	if err := a.sayKept(s); err != nil {
		return err
	}
	return a.tellAttempt(box, s, records, a.trySending(ctx, box, result.Count))
}

// takeKnownTime gives a record whose id was typed without a time the time of the entry
// that has the id already, as sendKnown does with what the server has.
func (a *app) takeKnownTime(box *outbox.Outbox, o *entryOptions) error {
	if o.again == nil {
		return nil
	}
	entries, err := box.Entries()
	if err != nil {
		return notKept(err)
	}
	for _, e := range entries {
		if e.ID.String() != o.id {
			continue
		}
		p, err := readPending(e)
		if err != nil {
			return notKept(err)
		}
		o.again.OccurTime, o.again.UtcOffsetMinutes = p.record.GetEntry().GetOccurTime(), p.record.GetEntry().GetUtcOffsetMinutes()
		o.at = occurred(o.again)
	}
	return nil
}

// notKept reads what the outbox did not take.
func notKept(err error) error {
	f := &failure{code: exitCantWrite, message: err.Error()}
	var conflict *outbox.ConflictError
	if errors.As(err, &conflict) {
		f.code = exitData
		return f
	}
	if !strings.HasPrefix(f.message, "not kept") && !strings.HasPrefix(f.message, "it is not known") {
		f.message = "not kept: " + f.message
	}
	return f
}

// draft makes a record ready for the outbox. That it was kept on a device is said on
// it now, so that it is the same on every resend.
func (a *app) draft(r record, summary string) (outbox.Draft, error) {
	r.GetEntry().Offline = true
	if c, ok := r.(*pb.Correction); ok {
		if with := replacementOf(c); with != nil && with.GetEntry() != nil {
			with.GetEntry().Offline = true
		}
	}
	id, err := recordIDOf(r)
	d := deliveredRecord(r)
	if err != nil || d == nil {
		return outbox.Draft{}, &failure{code: exitInternal, message: fmt.Sprintf("%s can't be kept on a device", r.GetName())}
	}
	return outbox.Draft{ID: id, Record: d, At: a.now(), Summary: summary}, nil
}

// sayKept tells a person that the entry is safe, before anything else is tried.
func (a *app) sayKept(s sent) error {
	if a.format != output.Table {
		return nil
	}
	_, err := fmt.Fprintf(a.out, "kept on this device: %s  (id %s)\n", output.Printable(s.summary), s.id)
	return errors.Join(err, a.showNow())
}

// showNow shows what was written so far: whoever waits for the server should know
// already what is safe.
func (a *app) showNow() error {
	if b, ok := a.out.(interface{ Flush() error }); ok {
		return b.Flush()
	}
	return nil
}

// tellKnownHere answers for an entry that is on this device already.
func (a *app) tellKnownHere(s sent, e *outbox.Entry) error {
	if e.State == outbox.Refused {
		f := refused(e.Refusal, s.names)
		f.lines = append(f.lines, wayOn(s.id))
		return f
	}
	o := answer{sent: s, state: "already-known"}
	if a.format != output.Table {
		return output.Show(a.config(), "outcomes", answerColumns(s), o)
	}
	_, err := fmt.Fprintf(a.out, "already known: %s  (id %s), %s on this device\n", output.Printable(s.summary), s.id, e.State)
	return err
}

// wayOn says what can be done about an entry that the server refused.
func wayOn(id string) string {
	return fmt.Sprintf("it stays on this device as refused: trackctl pending mend %s with the flags that hold instead, or trackctl pending withdraw %[1]s --reason WHY", id)
}

// tellAttempt answers for records that are kept on this device, after sending was
// tried.
func (a *app) tellAttempt(box *outbox.Outbox, s sent, records []record, t attempt) error {
	o := answer{sent: s, state: "waiting", filled: a.filled}
	outcome := t.outcomeOf(records)
	var lines, judgedBy []string
	switch {
	case outcome.GetState() == pb.Outcome_STATE_REFUSED:
		f := refused(outcome.GetRefusal(), s.names)
		f.lines = append(f.lines, wayOn(s.id))
		t.left.Refused-- // the one that was just told
		f.lines = append(f.lines, t.remarks()...)
		return f
	case outcome != nil:
		o.state, o.findings = outcomeStates[outcome.GetState()], bySeverity(outcome.GetFindings())
		lines = append(lines, "the server has it")
		lines = append(lines, findingLines(o)...)
		if s.calibration != nil {
			verdict, computed := a.verdictOf(s)
			o.computed, lines = computed, append(lines, verdict...)
		}
	default:
		j, err := a.judgeHere(box, records)
		if err != nil {
			j.remarks = append(j.remarks, "the rules can't be applied here: "+err.Error())
		}
		o.findings, o.dataOf = bySeverity(j.findings), j.dataOf
		lines = append(lines, findingLines(o)...)
		if s.calibration != nil {
			computed, verdict := a.verdictHere(s, records[len(records)-1])
			o.computed, lines = computed, append(lines, verdict...)
			if computed == nil {
				judgedBy = verdict
			}
		}
		lines = append(lines, a.waitingLines(j, t)...)
		judgedBy = append(judgedBy, j.remarks...)
	}
	lines = slices.Concat(lines, s.remarks(o.findings), a.filledLines(), t.remarks())
	if a.format != output.Table {
		return a.aside(output.Show(a.config(), "outcomes", answerColumns(s), o), slices.Concat(given("", t.whyNot()), judgedBy, t.remarks()))
	}
	return a.writeLines(lines)
}

// waitingLines say of records that wait by which data they were judged, why they wait,
// and how many do.
func (a *app) waitingLines(j judged, t attempt) []string {
	var lines []string
	if !j.dataOf.IsZero() {
		lines = append(lines, byDataOf(j))
	}
	lines = append(lines, j.remarks...)
	return append(lines, t.whyNot(), fmt.Sprintf("waiting to be sent (%d)", t.left.Waiting))
}

// aside says beside an answer for a program what a person should know, and gives the
// error of the answer.
func (a *app) aside(err error, lines []string) error {
	if err != nil {
		return err
	}
	for _, l := range lines {
		fmt.Fprintln(a.err, output.Printable(l))
	}
	return nil
}

// writeLines writes the lines that say something.
func (a *app) writeLines(lines []string) error {
	for _, l := range lines {
		if l == "" {
			continue
		}
		if _, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(l))); err != nil {
			return err
		}
	}
	return nil
}

// byDataOf says by which data the rules were applied, and what no finding means: of
// what the data do not know no rule can tell that it is kept.
func byDataOf(j judged) string {
	said := "by data of " + output.Moment(j.dataOf)
	switch {
	case len(j.findings) > 0:
		return said
	case j.unknown:
		return said + ": no rule is broken as far as they tell, and they do not know everything that the entry names"
	}
	return said + ": no rule is broken"
}

// outboxFor is the outbox of this device, and whether a record of the site goes into
// it first: where the site is carried, or another is, since somebody who works without
// a signal must not lose an entry for its place; or where entries wait already, so that
// their order stands. Without a folder there is none, and everything goes to the server.
func (a *app) outboxFor(site string) (box *outbox.Outbox, first bool, err error) {
	folder, err := a.deviceFolder()
	if err != nil {
		var f *failure
		if errors.As(err, &f) && f.code == exitConfig && a.givenFolder() == "" && !a.settings.offlineOnly {
			return nil, false, nil
		}
		return nil, false, err
	}
	box = outbox.In(outboxIn(folder))
	if a.settings.offlineOnly || carriedIn(folder, site) || carriedIn(folder, "") {
		return box, true, nil
	}
	count, err := box.Count()
	a.tellDamage(box)
	if err != nil {
		return nil, false, &failure{code: exitIO, message: err.Error()}
	}
	return box, count.Waiting > 0, nil
}

// noteDirect notes records that the server took at once, so that undo knows them. A
// machine that keeps nothing of its own is left as it is.
func (a *app) noteDirect(box *outbox.Outbox, s sent, records []record, outcomes []*pb.Outcome) {
	if box == nil || !deviceKeeps(box) {
		return
	}
	for i, r := range records {
		if outcomes[i].GetState() != pb.Outcome_STATE_TAKEN {
			continue
		}
		offline := r.GetEntry().GetOffline()
		draft, err := a.draft(r, s.summary)
		r.GetEntry().Offline = offline
		if err == nil {
			err = box.Note(draft)
		}
		if err != nil {
			fmt.Fprintf(a.err, "trackctl undo will not know of this entry: %s\n", output.Printable(err.Error()))
		}
	}
	a.tellDamage(box)
}

// deviceKeeps says whether this device keeps anything: its folder is there.
func deviceKeeps(box *outbox.Outbox) bool {
	_, err := os.Stat(deviceOf(box))
	return err == nil
}

// tellDamage says what of the outbox was found damaged and set aside.
func (a *app) tellDamage(box *outbox.Outbox) {
	for _, d := range box.Damage() {
		fmt.Fprintln(a.err, output.Printable("trackctl: "+d.Sentence()))
	}
}

// verdictOf reads back the verdict of a calibration that the server has.
func (a *app) verdictOf(s sent) ([]string, *pb.Calibration) {
	computed, err := s.calibration()
	if err != nil {
		return []string{"the verdict can't be read now: " + a.callFailure(err, nil).message + "; see calibration show " + s.id}, nil
	}
	return slices.Clone(verdictLines(computed)), computed
}
