package cli

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/ledger"
	"jointledger/internal/shift"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// keep puts an entry of the guided mode on the disk and says what the rules find by
// the carried data.
func (w *shiftWork) keep(r ledger.Record) (shift.Kept, error) {
	if err := w.head(r); err != nil {
		return shift.Kept{}, err
	}
	if wrong := r.Validate(); len(wrong) > 0 {
		var parts []string
		for _, f := range wrong {
			parts = append(parts, f.Field+": "+f.Description)
		}
		return shift.Kept{}, errors.New(strings.Join(parts, "; "))
	}
	message, ok := wire.RecordTo(r).(record)
	if !ok {
		return shift.Kept{}, fmt.Errorf("a %s can't be kept here", ledger.RecordKinds.Name(r.RecordKind()))
	}
	if err := w.append(message, shiftSummary(message)); err != nil {
		return shift.Kept{}, err
	}
	e := r.Head()
	kept := shift.Kept{ID: e.ID, At: e.OccurTime.In(w.a.now().Location())}
	w.boxLock.Lock()
	j, err := w.a.judgeHere(w.box, []record{message})
	w.boxLock.Unlock()
	if err != nil {
		// It is kept all the same, and the server will judge it.
		kept.Remarks = []string{"the rules can't be applied here: " + err.Error()}
		return kept, nil //nolint:nilerr // it is said in the remarks
	}
	kept.Findings, kept.DataOf = wire.FindingsFrom(j.findings), j.dataOf
	if j.dataOf.IsZero() {
		return kept, nil // that nothing was judged is said by the mode
	}
	for _, remark := range j.remarks {
		// How old the data are was said when the mode began.
		if !slices.Contains(w.ageSentences(), remark) {
			kept.Remarks = append(kept.Remarks, remark)
		}
	}
	return kept, nil
}

// head says of a record who made it and when.
func (w *shiftWork) head(r ledger.Record) error {
	id, err := w.a.newID()
	if err != nil {
		return fmt.Errorf("no id can be made: %w", err)
	}
	now := w.a.now()
	_, seconds := now.Zone()
	e := r.Head()
	e.ID, e.OccurTime, e.OffsetMinutes = id, ledger.Microseconds(now), seconds/60
	e.Person, e.Offline = w.a.settings.person, true
	return nil
}

// append keeps a record in the outbox, and lets it be sent.
func (w *shiftWork) append(r record, summary string) error {
	draft, err := w.a.draft(r, summary)
	if err != nil {
		return err
	}
	draft.New = true
	w.boxLock.Lock()
	result, err := w.box.Keep(draft)
	w.boxLock.Unlock()
	if err != nil {
		return errors.New(strings.TrimPrefix(err.Error(), "not kept: "))
	}
	w.added(draft.ID, result.Count)
	return nil
}

// shiftSummary says in a few words what an entry tells, as the commands say it.
func shiftSummary(r record) string {
	switch r := r.(type) {
	case *pb.Tightening:
		return sentence(counted(int(r.GetFasteners()), "fastener"), wordOf(ledger.Passes, r.GetPass())+" pass", ledger.ShortName(r.GetJoint()), "lot "+ledger.ShortName(r.GetLot()))
	case *pb.Incident:
		place, err := ledger.ParsePlaceResource(r.GetJoint())
		if err != nil {
			return wordOf(ledger.IncidentKinds, r.GetKind())
		}
		return incidentSummary(ledger.IncidentKind(r.GetKind()), place, r)
	case *pb.Sealing:
		return sentence("sealed", ledger.ShortName(r.GetJoint()), r.GetSealant(), r.GetBatch())
	}
	return recordWord(r)
}

// undo takes an entry of this shift back: by a correction, or, where the server has
// refused it and so never had it, by settling it here.
func (w *shiftWork) undo(id uuid.UUID) error {
	const reason = "entered wrongly"
	w.boxLock.Lock()
	entries, err := w.box.Entries()
	w.boxLock.Unlock()
	if err != nil {
		return err
	}
	for _, e := range entries {
		if e.ID != id {
			continue
		}
		p, err := readPending(e)
		if err != nil {
			return err
		}
		if e.State == outbox.Refused {
			w.boxLock.Lock()
			count, err := w.box.Withdraw(id, reason, w.a.now())
			w.boxLock.Unlock()
			if err == nil {
				w.counted(count)
			}
			return err
		}
		return w.correct(p, reason)
	}
	return fmt.Errorf("the entry %s is not on this device any more; trackctl withdraw %[1]s takes it back", id)
}

func (w *shiftWork) correct(mistaken pendingEntry, reason string) error {
	c := &ledger.Correction{Corrects: mistaken.ID, Reason: reason}
	if err := w.head(c); err != nil {
		return err
	}
	m := wire.CorrectionTo(c)
	m.Corrects = mistaken.record.GetName()
	return w.append(m, sentence("undone: "+recordWord(mistaken.record), mistaken.Summary, reason))
}
