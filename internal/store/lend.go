package store

import (
	"context"
	"database/sql"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/visible"
)

// LendTool keeps the issue of a tool that is fit for it: what speaks against it is
// looked up and the record kept in one transaction. What was let pass is given
// back. KindInvalid, KindNotFound; KindPrecondition with ReasonToolNotFit and
// every reason when the record names nobody who lets it pass; KindDenied when
// that person's role may not; KindExists when the id was used otherwise.
func (s *Store) LendTool(ctx context.Context, r *ledger.Custody, c Change) (outcome Outcome, passed []analysis.ToolRefusal, err error) {
	fields := r.Validate()
	if r.Kind != ledger.CustodyIssued {
		fields = append(fields, ledger.FieldError{Field: "kind", Description: "only the issue of a tool is lending; expected issued"})
	}
	if err := ledger.Invalid("custody change", fields); err != nil {
		return Outcome{}, nil, err
	}
	outcome, err = s.changeHands(ctx, r, c, func(t *tx) error {
		var err error
		passed, err = t.admitLoan(ctx, r)
		return err
	})
	return outcome, passed, err
}

// SendTool keeps that a tool was sent off to another site, when it lies in the crib of
// the site that it leaves: looked up and kept in one transaction. KindInvalid,
// KindNotFound; KindPrecondition with ReasonToolNotFit and every reason; KindExists
// when the id was used otherwise.
func (s *Store) SendTool(ctx context.Context, r *ledger.Custody, to string, c Change) (Outcome, error) {
	fields := r.Validate()
	if r.Kind != ledger.CustodySent {
		fields = append(fields, ledger.FieldError{Field: "kind", Description: "only what is sent off goes to another site; expected sent"})
	}
	if err := ledger.Invalid("custody change", fields); err != nil {
		return Outcome{}, err
	}
	return s.changeHands(ctx, r, c, func(t *tx) error {
		if err := t.needAll(ctx, mention{siteNoun, r.Site}); err != nil {
			return err
		}
		if err := t.needDestination(ctx, to, r.Tool); err != nil {
			return err
		}
		if err := t.needAll(ctx, mention{toolNoun, r.Tool}); err != nil {
			return err
		}
		tool, err := t.toolAtDoor(ctx, r)
		if err != nil {
			return err
		}
		return tool.SendingError(r.Site, to)
	})
}

// changeHands keeps a change of custody that the present state admits, unless it is
// known already.
func (s *Store) changeHands(ctx context.Context, r *ledger.Custody, c Change, admit func(*tx) error) (outcome Outcome, err error) {
	change := func(t *tx) error {
		outcome = Outcome{}
		known, err := t.hasRecord(ctx, r.ID)
		if err != nil {
			return err
		}
		if !known {
			if err := ledger.Invalid("custody change", analysis.CheckNotToCome(r.OccurTime, t.now)); err != nil {
				return err
			}
			if err := admit(t); err != nil {
				return err
			}
		}
		outcomes, err := t.record(ctx, []ledger.Record{r})
		if err != nil {
			return err
		}
		if outcome = outcomes[0]; outcome.Err != nil {
			return outcome.Err
		}
		return nil
	}
	if c.ValidateOnly {
		err = s.view(visible.Everything(ctx), change)
	} else {
		err = s.writer.submit(&job{ctx: ctx, change: change, repeatable: true})
	}
	return outcome, err
}

func (t *tx) hasRecord(ctx context.Context, id uuid.UUID) (known bool, err error) {
	err = t.query(ctx, func(*sql.Rows) error {
		known = true
		return nil
	}, "SELECT id FROM records WHERE uid = ?", id[:])
	return known, err
}

// mention is a name of a kind of thing.
type mention struct {
	noun noun
	name string
}

// needAll asks whether everything that is named exists.
func (t *tx) needAll(ctx context.Context, all ...mention) error {
	for _, n := range all {
		if n.name == "" {
			continue
		}
		if _, err := t.needNamed(ctx, n.noun, n.name); err != nil {
			return err
		}
	}
	return nil
}

// toolAtDoor reads the tool of a change of custody with all that says whether it may
// go out, and keeps others from it until the commit.
func (t *tx) toolAtDoor(ctx context.Context, r *ledger.Custody) (analysis.TrackedTool, error) {
	if !t.dry {
		// Two who lend or send the same tool on two servers wait for one another here.
		err := t.query(ctx, func(*sql.Rows) error { return nil }, "SELECT x.id FROM tools x WHERE x.serial = ?"+t.engine.lockRows("x"), r.Tool)
		if err != nil {
			return analysis.TrackedTool{}, err
		}
	}
	found, err := t.toolsWithCalibrations(ctx, analysis.TrackedQuery{AsOf: r.OccurTime, Serials: []string{r.Tool}}, "", 0)
	if err != nil {
		return analysis.TrackedTool{}, err
	}
	if err := t.pastOf(ctx, found, micro(r.OccurTime)); err != nil {
		return analysis.TrackedTool{}, err
	}
	// Where it is now counts, even when the clock of whoever had it last is ahead.
	if err := t.custodyOf(ctx, found, max(micro(r.OccurTime), micro(t.now))); err != nil {
		return analysis.TrackedTool{}, err
	}
	return found.rows[0].tool, nil
}

// admitLoan gives what speaks against lending and is let pass.
func (t *tx) admitLoan(ctx context.Context, r *ledger.Custody) ([]analysis.ToolRefusal, error) {
	if err := t.needAll(ctx, mention{siteNoun, r.Site}, mention{toolNoun, r.Tool}, mention{personNoun, r.Holder}, mention{personNoun, r.OverrideBy}); err != nil {
		return nil, err
	}
	tool, err := t.toolAtDoor(ctx, r)
	if err != nil {
		return nil, err
	}
	refusals, err := tool.LendingRefusals(r.Site, r.OccurTime)
	if err != nil || len(refusals) == 0 {
		return nil, err
	}
	if r.OverrideBy == "" {
		return nil, analysis.LendingError(r.Tool, r.Holder, refusals)
	}
	person, err := people.load(ctx, t, r.OverrideBy)
	if err != nil {
		return nil, err
	}
	return refusals, known.MayLetPass(person)
}
