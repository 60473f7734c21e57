package store

import (
	"context"
	"database/sql"
	"encoding/json"

	lru "github.com/hashicorp/golang-lru/v2"

	"jointledger/ent/column"
	"jointledger/ent/specification"
	"jointledger/ent/specificationrevision"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// These queries read what the rules need, each for all records of a wave at
// once. They are plain SQL: they stand on the path of every record.

// lotFacts is what the rules need about a lot besides its stock.
type lotFacts struct {
	lot   *ledger.Lot
	holds []known.Span
}

func (t *tx) lotFacts(ctx context.Context, keys []any) (map[int]lotFacts, error) {
	return recall(t, func(m *registerMemory) *lru.Cache[int, lotFacts] { return m.lots }, keys, func(keys []any) (map[int]lotFacts, error) {
		lots := map[int]lotFacts{}
		holds, err := t.holdSpans(ctx, "lot_id", keys)
		if err != nil {
			return nil, err
		}
		return lots, inKeys(keys, func(part []any) error {
			return t.query(ctx, func(rows *sql.Rows) error {
				var id int
				var l ledger.Lot
				f := &l.Fastener
				var updated int64
				err := rows.Scan(&id, &l.Number, &l.Supplier, &l.State, &f.Thread, &f.LengthMillimetres, &f.Material, &f.PropertyClass, &f.Coating, &f.Head, &updated)
				l.UpdateTime = fromMicro(updated)
				lots[id] = lotFacts{&l, holds[id]}
				return err
			}, "SELECT id, number, supplier, state, thread, length_mm, material, property_class, coating, head, update_time FROM lots WHERE id IN "+marks(1, len(part)), part...)
		})
	})
}

func (t *tx) personFacts(ctx context.Context, keys []any) (map[int]*ledger.Person, error) {
	return recall(t, func(m *registerMemory) *lru.Cache[int, *ledger.Person] { return m.people }, keys, func(keys []any) (map[int]*ledger.Person, error) {
		people := map[int]*ledger.Person{}
		return people, inKeys(keys, func(part []any) error {
			return t.query(ctx, func(rows *sql.Rows) error {
				var id int
				var p ledger.Person
				var qualifications []byte
				if err := rows.Scan(&id, &p.ID, &p.Name, &qualifications); err != nil {
					return err
				}
				var columns []column.Qualification
				if err := json.Unmarshal(qualifications, &columns); err != nil {
					return err
				}
				for _, q := range columns {
					p.Qualifications = append(p.Qualifications, ledger.Qualification{Task: q.Task, ExpireDate: q.ExpireDate})
				}
				people[id] = &p
				return nil
			}, "SELECT id, code, name, qualifications FROM people WHERE id IN "+marks(1, len(part)), part...)
		})
	})
}

// batchFacts reads the batches that are in the register; one that is not is no
// fault of the record.
func (t *tx) batchFacts(ctx context.Context, rows []*staged) (map[string]*ledger.Batch, error) {
	seen := map[string]bool{"": true}
	var numbers []any
	for _, r := range rows {
		if n := known.BatchOf(r.Record); !seen[n] {
			seen[n] = true
			numbers = append(numbers, n)
		}
	}
	return recall(t, func(m *registerMemory) *lru.Cache[string, *ledger.Batch] { return m.batches }, numbers, func(numbers []any) (map[string]*ledger.Batch, error) {
		batches := map[string]*ledger.Batch{}
		return batches, inKeys(numbers, func(part []any) error {
			return t.query(ctx, func(rows *sql.Rows) error {
				var b ledger.Batch
				err := rows.Scan(&b.Number, &b.Kind, &b.Product, &b.ExpireDate, &b.MinimumCelsius, &b.MaximumCelsius)
				batches[b.Number] = &b
				return err
			}, "SELECT number, kind, product, expire_date, min_c, max_c FROM batches WHERE number IN "+marks(1, len(part)), part...)
		})
	})
}

// holdSpans reads when holds on lots or tools were open; column is that of the
// holds that says on what.
func (t *tx) holdSpans(ctx context.Context, column string, keys []any) (map[int][]known.Span, error) {
	spans := map[int][]known.Span{}
	err := inKeys(keys, func(part []any) error {
		return t.query(ctx, func(rows *sql.Rows) error {
			var key int
			var from, to int64
			err := rows.Scan(&key, &from, &to)
			s := known.Span{From: fromMicro(from)}
			if to != 0 {
				s.To = fromMicro(to)
			}
			spans[key] = append(spans[key], s)
			return err
		}, "SELECT h."+column+`, r.occur_time, COALESCE(e.occur_time, 0) FROM holds h JOIN records r ON r.id = h.id
LEFT JOIN holds x ON x.released_hold_id = h.id LEFT JOIN records e ON e.id = x.id
WHERE h.action = 1 AND h.`+column+" IN "+marks(1, len(part)), part...)
	})
	return spans, err
}

// stocksOf asks for the running sums of lots, for t.along.
func (t *tx) stocksOf(lots []any) (questions []question) {
	read := func(r row) error {
		var key lotSite
		var received, removed, counted, onHand int64
		if err := r.Scan(&key.lot, &key.site, &received, &removed, &counted, &onHand); err != nil {
			return err
		}
		if counted != 0 {
			t.along.counted[key] = counted
		}
		here := received > 0 || counted != 0
		t.along.moved[key.lot] = t.along.moved[key.lot] || here || removed > 0
		t.along.stocks[key] = &stockFacts{received: here, onHand: onHand}
		return nil
	}
	forParts(lots, func(part []any) {
		questions = append(questions, question{"SELECT lot_id, site_id, received, removed, count_time, on_hand FROM lot_sums WHERE lot_id IN " + marks(1, len(part)), part, read})
	})
	return questions
}

// stockAt gives the sums of a lot at a site, where it may never have been.
func (k *knownFacts) stockAt(lot, site int) *stockFacts {
	key := lotSite{lot, site}
	if k.stocks[key] == nil {
		k.stocks[key] = &stockFacts{}
	}
	return k.stocks[key]
}

// treatmentsOf reads the records of so many joints, with a treatment of 0 for those that are
// no tightenings. The treatment is asked for row by
// row, as other content of records is on this path: in a join a planner without
// statistics, as on a database that was just set up, may go through all tightenings, and to
// find those of the kind, through all records.
func treatmentsOf(joints int) string {
	return "SELECT r.joint_id, r.id, r.occur_time, COALESCE((SELECT x.treatment FROM tightenings x WHERE x.id = r.id), 0) FROM records r WHERE r.joint_id IN " +
		marks(1, joints) + " AND " + notCorrected
}

// usesInHour reads the tightenings of a tool in an hour.
const usesInHour = "SELECT r.occur_time, (SELECT x.fasteners FROM tightenings x WHERE x.id = r.id) FROM records r WHERE r.tool_id = ? AND r.kind = ? AND r.occur_time >= ? AND r.occur_time < ? AND " + notCorrected

// earlierTreatments reads when the rows' joints were tightened with anti-seize and
// with thread-locking compound, where a row brings one of them and the joint may have
// had the other: only these two are in conflict, and few joints see both.
func (t *tx) earlierTreatments(ctx context.Context, rows []*staged) (map[int][]treated, error) {
	found := map[int][]treated{}
	joints, missing := t.unknownTreatments(rows), map[int]int{}
	for joint, site := range joints {
		if !t.along.treatedOf[joint] {
			missing[joint] = site
		} else if of := t.along.treated[joint]; of != nil {
			found[joint] = of
		}
	}
	if err := t.ask(ctx, treatmentQuestions(missing, found)...); err != nil {
		return nil, err
	}
	t.rememberTreatments(joints, found)
	return found, nil
}

// treatmentQuestions ask for the conflicting treatments of joints, and put them into a map.
func treatmentQuestions(joints map[int]int, found map[int][]treated) (questions []question) {
	read := func(r row) error {
		var joint int
		var one treated
		err := r.Scan(&joint, &one.id, &one.at, &one.treatment)
		if conflicting[one.treatment] != 0 {
			found[joint] = append(found[joint], one)
		}
		return err
	}
	forParts(sortedKeys(joints), func(part []any) {
		questions = append(questions, question{treatmentsOf(len(part)), part, read})
	})
	return questions
}

// substitutionsOf reads what may stand in for the fastener of a specification.
func (t *tx) substitutionsOf(ctx context.Context, code string) ([]ledger.Substitution, error) {
	of := func(m *registerMemory) *lru.Cache[string, []ledger.Substitution] { return m.substitutions }
	found, err := recall(t, of, []any{code}, func([]any) (map[string][]ledger.Substitution, error) {
		var found []ledger.Substitution
		err := t.query(ctx, func(rows *sql.Rows) error {
			s := ledger.Substitution{Specification: code}
			f := &s.Permitted
			err := rows.Scan(&s.Code, &s.Needs, &s.TorqueNewtonMetres, &s.ApprovedBy, &f.Thread, &f.LengthMillimetres, &f.Material, &f.PropertyClass, &f.Coating, &f.Head)
			found = append(found, s)
			return err
		}, `SELECT b.code, b.needs, b.torque_nm, b.approved_by, b.thread, b.length_mm, b.material, b.property_class, b.coating, b.head
FROM substitutions b JOIN specifications s ON s.id = b.specification_id WHERE s.code = ? ORDER BY b.code`, code)
		return map[string][]ledger.Substitution{code: found}, err
	})
	return found[code], err
}

// revisionByKey reads one revision of a specification. Revisions never change,
// so each is read once.
func (t *tx) revisionByKey(ctx context.Context, key int) (*ledger.Specification, error) {
	if s, ok := t.revisions[key]; ok {
		return s, nil
	}
	if s, ok := t.names.revisions.Get(key); ok {
		return s, nil
	}
	r, err := t.ent().SpecificationRevision.Query().Where(specificationrevision.ID(key)).Only(ctx)
	if err != nil {
		return nil, err
	}
	name, err := t.ent().Specification.Query().Where(specification.ID(r.SpecificationID)).Only(ctx)
	if err != nil {
		return nil, err
	}
	s := specificationOf(name, r)
	t.revisions[key] = &s
	t.learn(func() { t.names.revisions.Add(key, &s) })
	return &s, nil
}
