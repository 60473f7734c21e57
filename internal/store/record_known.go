package store

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// recognise answers for records that are there already, in the database or
// earlier in the batch, and for those that the present state does not allow, and
// takes them out of rows; the others are taken. One after the other: an id is
// taken by the first member that is not refused.
func (t *tx) recognise(ctx context.Context, rows []*staged, outcomes []Outcome) error {
	known, err := t.knownRecords(ctx)
	if err != nil {
		return err
	}
	certificates, err := t.lookUpCertificates(ctx, rows)
	if err != nil {
		return err
	}
	b := admission{known: known, spoken: map[int64]bool{}, certificates: certificates, taken: map[uint64][]*ledger.Calibration{}}
	for i, r := range rows {
		if r == nil {
			continue
		}
		uid := r.Head().ID
		earlier, ok := known[uid]
		switch {
		case !ok:
			err := t.admit(ctx, r, b)
			if e, refuses := refusal(err); refuses {
				outcomes[i] = refused(e)
				break
			} else if err != nil {
				return err
			}
			known[uid] = knownRecord{Record: r.Record}
			if r.with != nil {
				known[r.with.Head().ID] = knownRecord{Record: r.with.Record}
			}
			outcomes[i] = Outcome{State: Taken}
			continue
		case ledger.SameContent(earlier.Record, r.Record) && sameReplacement(known, r):
			outcomes[i] = Outcome{State: AlreadyKnown, Findings: earlier.findings}
		default:
			outcomes[i] = refused(ledger.RecordIDReused(ledger.RecordResource(r.Record)))
		}
		rows[i] = nil
	}
	return nil
}

// sameReplacement says whether what comes with a correction that is known is what
// came with it then.
func sameReplacement(known map[uuid.UUID]knownRecord, r *staged) bool {
	if r.with == nil {
		return true
	}
	earlier, ok := known[r.with.Head().ID]
	return ok && ledger.SameContent(earlier.Record, r.with.Record)
}

// knownRecord is a kept record with what was found on it.
type knownRecord struct {
	ledger.Record
	findings []rules.Finding
}

// knownRecords reads the records that are kept already under the wave's ids.
func (t *tx) knownRecords(ctx context.Context) (map[uuid.UUID]knownRecord, error) {
	known := map[uuid.UUID]knownRecord{}
	if len(t.along.known) == 0 {
		return known, nil
	}
	byKind := map[ledger.RecordKind][]any{}
	var all []any
	for _, k := range t.along.known {
		byKind[k.kind], all = append(byKind[k.kind], k.id), append(all, k.id)
	}
	findings, err := t.findingsOf(ctx, all)
	if err != nil {
		return nil, err
	}
	for kind, ids := range byKind {
		err := inChunks(ids, 1, func(part []any) error {
			var c clause
			c.add("x.id IN "+marks(1, len(part)), part...)
			found, err := t.recordsWhere(ctx, kind, &c, "")
			for _, k := range found {
				known[k.Head().ID] = knownRecord{k.Record, findings[k.id]}
			}
			if err == nil && len(found) != len(part) {
				err = fmt.Errorf("%d of %d records of kind %d lack their content", len(part)-len(found), len(part), kind)
			}
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return known, nil
}

type recordKey struct {
	id   int64
	kind ledger.RecordKind
}

// registerEpoch stands in place of a kind beside the epoch of the register, 1 beside the
// number of records.
const registerEpoch = 0

// knownKeys looks up the keys of those of the ids that are kept already, for t.along. It
// comes after the lock on the chains, in a statement that sees what was committed under
// it: so the epoch of the register is read along with it, and how many records there
// are.
func (t *tx) knownKeys(ids []uuid.UUID) (questions []question) {
	uids := make([]any, len(ids))
	for i := range ids {
		uids[i] = ids[i][:]
	}
	read := func(r row) error {
		var uid []byte
		var k recordKey
		if err := r.Scan(&uid, &k.id, &k.kind); err != nil {
			return err
		}
		switch {
		case uid != nil:
			t.along.known[idOf(uid)] = k
		case k.kind == registerEpoch:
			t.readEpoch(k.id)
		default:
			t.countedRecords(k.id)
		}
		return nil
	}
	forParts(uids, func(part []any) {
		questions = append(questions, question{"SELECT uid, id, kind FROM records WHERE uid IN " + marks(1, len(part)) +
			" UNION ALL SELECT NULL, epoch, 0 FROM register_epoch UNION ALL SELECT NULL, CAST(COALESCE(SUM(sequence), 0) AS BIGINT), 1 FROM chains", part, read})
	})
	return questions
}
