package store

import (
	"context"
	"errors"

	"github.com/google/uuid"

	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/visible"
)

// Records are written in four steps: what they name is looked up
// (record_stage.go), those kept already are recognised (record_known.go), what
// the present state does not allow is refused (record_admit.go) and the rules of
// the trade are applied (facts.go); then the rows are put into their chains
// (record_chain.go) and written (record_rows.go).

// sequenceBits is the part of a record's key that holds the sequence in the
// chain of its site; the site's key stands above it.
const sequenceBits = 40

// Record keeps records and answers for each: taken, already known, or refused
// with its reason. What is reported as taken is durable. An error means that
// none was kept, or that it is not known; sending again is safe.
func (s *Store) Record(ctx context.Context, records []ledger.Record, c Change) ([]Outcome, error) {
	outcomes := make([]Outcome, len(records))
	sound := make([]ledger.Record, 0, len(records))
	where := make([]int, 0, len(records))
	for i, r := range records {
		if err := ledger.Invalid(ledger.RecordKinds.Name(r.RecordKind()), r.Validate()); err != nil {
			outcomes[i] = refused(ledger.AsError(err))
			continue
		}
		sound, where = append(sound, r), append(where, i)
	}
	if len(sound) == 0 {
		return outcomes, nil
	}
	var answers []Outcome
	var err error
	if c.ValidateOnly {
		answers, err = s.validateRecords(ctx, sound, c.Caller)
	} else {
		j := &job{ctx: ctx, records: sound, caller: c.Caller, queued: c.Queued, ahead: s.lookAhead(ctx, sound)}
		if err = s.writer.submit(j); err == nil {
			answers = j.outcomes
		}
	}
	if err != nil {
		return nil, err
	}
	for k, i := range where {
		outcomes[i] = answers[k]
	}
	return outcomes, nil
}

// errUndo rolls back a transaction that was only to be tried.
var errUndo = errors.New("only tried")

// validateRecords answers as record would and keeps nothing. Records that refer
// to one another in the batch need those before them written: they are, in a
// transaction of their own that is undone.
func (s *Store) validateRecords(ctx context.Context, records []ledger.Record, caller *Caller) (answers []Outcome, err error) {
	if waveLength(records) == len(records) {
		// The rules judge by all that is known, whoever asks. What is checked will be
		// sent to be kept: what it names is found again then.
		breaks := s.lineage.breaks.Load()
		s.checked.prepare(ctx, s.read)
		err = s.view(visible.Everything(ctx), func(t *tx) error {
			t.checking = &s.checked
			t.of(caller, records)
			answers, err = t.record(ctx, records)
			if err == nil && s.lineage.breaks.Load() == breaks {
				s.names.share(t.found)
			}
			return err
		})
		return answers, err
	}
	err = s.writer.submit(&job{ctx: ctx, change: func(t *tx) error {
		t.of(caller, records)
		tried, err := t.record(ctx, records)
		if err != nil {
			return err
		}
		answers = tried
		return errUndo
	}})
	if errors.Is(err, errUndo) {
		err = nil
	}
	return answers, err
}

// record takes in sound records within the transaction and answers for each, in
// waves: a record that refers to one before it waits until that one is written.
func (t *tx) record(ctx context.Context, records []ledger.Record) ([]Outcome, error) {
	outcomes := make([]Outcome, 0, len(records))
	for len(records) > 0 {
		n := waveLength(records)
		wave, err := t.recordWave(ctx, records[:n])
		if err != nil {
			return nil, err
		}
		outcomes, records = append(outcomes, wave...), records[n:]
	}
	return outcomes, nil
}

// waveLength is how many records from the first refer to nothing among them, and
// are judged by nothing that one among them changes: a movement or hold of their
// lot, a calibration, change of custody or hold of their tool, or a correction, of
// which nobody knows yet what it takes back.
func waveLength(records []ledger.Record) int {
	ids := map[uuid.UUID]bool{}
	changed := map[[2]string]bool{}
	corrected := false
	for i, r := range records {
		if target := refersTo(r); target != uuid.Nil && ids[target] {
			return i
		}
		c, correction := r.(*ledger.Correction)
		judged := r
		if correction && c.With != nil {
			judged = c.With
		}
		if corrected && known.Judged(judged) {
			return i
		}
		corrected = corrected || correction
		n := namesOf(judged)
		switch judged.RecordKind() {
		case ledger.KindLotMovement, ledger.KindCalibration, ledger.KindCustody, ledger.KindHold, ledger.KindToolCheck:
			if c, ok := judged.(*ledger.Custody); !ok {
				changed[[2]string{"fitness", n.tool}] = true
			} else if c.Kind == ledger.CustodyIssued && changed[[2]string{"fitness", n.tool}] {
				return i
			}
			changed[[2]string{"lot", n.lot}], changed[[2]string{"tool", n.tool}] = true, true
		default:
			if n.lot != "" && changed[[2]string{"lot", n.lot}] || n.tool != "" && changed[[2]string{"tool", n.tool}] {
				return i
			}
		}
		ids[r.Head().ID] = true
		if correction && c.With != nil {
			ids[c.Replacement] = true
		}
	}
	return len(records)
}

// refersTo is the id of the record that a record is about; zero for none.
func refersTo(r ledger.Record) uuid.UUID {
	switch r := r.(type) {
	case *ledger.Correction:
		return r.Corrects
	case *ledger.Disposition:
		return r.Incident
	case *ledger.Hold:
		return r.Releases
	}
	return uuid.Nil
}

// recordWave looks up and decides everything before the first row is written.
func (t *tx) recordWave(ctx context.Context, records []ledger.Record) ([]Outcome, error) {
	outcomes := make([]Outcome, len(records))
	rows := make([]*staged, len(records))
	for i, r := range records {
		row, err := t.stage(ctx, r)
		if e, ok := refusal(err); ok {
			outcomes[i] = refused(e)
		} else if err != nil {
			return nil, err
		} else {
			rows[i] = row
		}
	}
	chains, err := t.lockChains(ctx, rows, t.askAlong(rows)...)
	if err != nil {
		return nil, err
	}
	t.followChains(chains)
	if err := t.recognise(ctx, rows, outcomes); err != nil {
		return nil, err
	}
	if err := t.judge(ctx, rows, chains, outcomes); err != nil {
		return nil, err
	}
	if t.dry {
		return outcomes, nil
	}
	fresh := allRows(rows)
	holds, err := t.automaticHolds(ctx, fresh)
	if err != nil {
		return nil, err
	}
	fresh = append(fresh, holds...)
	for _, r := range fresh {
		if changesRegister(r.Record) {
			t.touchRegister()
		}
	}
	t.assign(fresh, chains)
	if err := t.writeRows(ctx, fresh, chains); err != nil {
		return nil, err
	}
	t.wroteTreatments(fresh, chains)
	t.wroteUses(fresh)
	return outcomes, nil
}

// allRows gives the rows that are still there, each correction after the
// replacement that comes with it.
func allRows(rows []*staged) []*staged {
	all := make([]*staged, 0, len(rows))
	for _, r := range rows {
		if r == nil {
			continue
		}
		if r.with != nil {
			all = append(all, r.with)
		}
		all = append(all, r)
	}
	return all
}
