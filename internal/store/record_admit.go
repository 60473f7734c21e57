package store

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// admission is what the members of a wave so far have come to.
type admission struct {
	// known are the records of the database and of the wave, by id.
	known map[uuid.UUID]knownRecord
	// spoken are the records corrected, or holds released, earlier in the wave.
	spoken map[int64]bool
	// certificates are the calibrations on record whose certificates may be those of
	// the wave, taken the calibrations earlier in it, both by certificateHash.
	certificates map[uint64][]int64
	taken        map[uint64][]*ledger.Calibration
}

// admit refuses what the present state does not allow: a second correction or
// release of the same record, a release of something else than what was held,
// a decision by somebody whose role may not.
func (t *tx) admit(ctx context.Context, r *staged, b admission) error {
	switch rec := r.Record.(type) {
	case *ledger.Hold:
		if rec.Action != ledger.HoldReleased {
			return nil
		}
		if err := t.mayDecide(ctx, r); err != nil {
			return err
		}
		return t.admitRelease(ctx, r, rec, b.spoken)
	case *ledger.Disposition, *ledger.SignOff:
		return t.mayDecide(ctx, r)
	case *ledger.Calibration:
		return t.admitCalibration(ctx, r, rec, b)
	case *ledger.ToolCheck:
		return ledger.Invalid("tool check", analysis.CheckNotToCome(rec.OccurTime, t.now))
	case *ledger.Correction:
		return t.admitCorrection(ctx, r, rec, b)
	}
	return nil
}

// mayDecide asks whether the record's person has a role that may decide.
func (t *tx) mayDecide(ctx context.Context, r *staged) error {
	person, err := people.load(ctx, t, r.Head().Person)
	if err != nil {
		return err
	}
	return known.MayDecide(person)
}

// admitRelease asks whether the hold is open and is on what the release names.
func (t *tx) admitRelease(ctx context.Context, r *staged, rec *ledger.Hold, spoken map[int64]bool) error {
	placed, err := t.recordByKey(ctx, ledger.KindHold, r.about.id)
	if err != nil {
		return err
	}
	hold := placed.(*ledger.Hold)
	if hold.Action != ledger.HoldPlaced || hold.ReleasedBy != uuid.Nil || spoken[r.about.id] {
		return &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonHoldNotOpen, Resource: ledger.RecordResource(hold),
			Message: fmt.Sprintf("hold %s is not open", hold.ID)}
	}
	if hold.Place != rec.Place || hold.Lot != rec.Lot || hold.Tool != rec.Tool {
		return ledger.InvalidField("hold", "releases", "the hold %s is on %s, not on %s", hold.ID, held(hold), held(rec))
	}
	spoken[r.about.id] = true
	return nil
}

func held(h *ledger.Hold) string {
	switch {
	case h.Lot != "":
		return "lot " + h.Lot
	case h.Tool != "":
		return "tool " + h.Tool
	}
	return h.Place.String()
}

// admitCorrection asks whether the record can be corrected, and has not been.
func (t *tx) admitCorrection(ctx context.Context, r *staged, rec *ledger.Correction, b admission) error {
	target := ledger.RecordName(r.about.kind, rec.Corrects)
	switch {
	case r.about.kind == ledger.KindCorrection:
		return ledger.InvalidField("correction", "corrects", "a correction can't be corrected; correct the record that holds now")
	case r.about.kind == ledger.KindHold || r.about.kind == ledger.KindDisposition:
		return ledger.InvalidField("correction", "corrects", "a %s is undone by another decision, not by a correction", ledger.RecordKinds.Name(r.about.kind))
	case r.about.kind == ledger.KindAlarm:
		return ledger.InvalidField("correction", "corrects", "an alarm is answered by a decision, such as a hold on the lot, not by a correction")
	case r.about.kind == ledger.KindSignOff:
		if err := t.mayDecide(ctx, r); err != nil {
			return err
		}
	}
	switch {
	case r.with != nil && r.with.RecordKind() != r.about.kind:
		return ledger.InvalidField("correction", "replacement", "the replacement of this %s must be of the same kind; got %s", ledger.RecordKinds.Name(r.about.kind), ledger.RecordKinds.Name(r.with.RecordKind()))
	}
	var n int
	err := t.sql.QueryRowContext(ctx, t.engine.bind("SELECT count(*) FROM corrections WHERE corrected_id = ?"), r.about.id).Scan(&n)
	if err != nil {
		return err
	}
	if n > 0 || b.spoken[r.about.id] {
		return &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonAlreadyCorrected, Resource: target,
			Message: fmt.Sprintf("record %s was corrected already; correct its replacement instead", rec.Corrects)}
	}
	if r.with != nil {
		id := r.with.Head().ID
		if _, taken := b.known[id]; taken || id == rec.ID {
			return ledger.RecordIDReused(ledger.RecordResource(r.with.Record))
		}
		if err := t.admit(ctx, r.with, b); err != nil {
			return ofReplacement(err)
		}
	}
	b.spoken[r.about.id] = true
	return nil
}
