package store

import (
	"context"
	"database/sql"
	"slices"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"

	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/recent"
	"jointledger/internal/rules"
)

// judge applies the rules of the trade to what is about to be taken in.
func (t *tx) judge(ctx context.Context, rows []*staged, chains map[int]*chainHead, outcomes []Outcome) error {
	all := allRows(rows)
	if len(all) == 0 {
		return nil
	}
	if err := t.currentRevisions(ctx, all); err != nil || t.unjudged {
		return err
	}
	k, err := t.gatherFacts(ctx, all)
	if err != nil {
		return err
	}
	for _, r := range all {
		facts, err := k.of(ctx, r)
		if err != nil {
			return err
		}
		facts.Location, facts.ReceiveTime, facts.Offline = chains[r.keys.site].location, t.now, r.Head().Offline
		r.findings = rules.Check(facts)
		k.after(r)
	}
	for i, r := range rows {
		switch {
		case r == nil:
		case r.with != nil:
			outcomes[i].Findings = append(slices.Clone(r.with.findings), r.findings...)
		default:
			outcomes[i].Findings = r.findings
		}
	}
	return nil
}

// revisionInForce is one revision of a specification.
type revisionInForce struct {
	id      int
	ref     ledger.SpecificationRef
	created time.Time
}

// currentRevisions finds the specification that held for each row's joint when
// it happened, and what rules want to know of the joint.
func (t *tx) currentRevisions(ctx context.Context, rows []*staged) error {
	joints, err := t.jointFacts(ctx, keysOf(rows, func(r *staged) int { return r.keys.joint }))
	if err != nil {
		return err
	}
	var keys []any
	seen := map[int]bool{}
	for _, f := range joints {
		if !seen[f.specification] {
			seen[f.specification] = true
			keys = append(keys, f.specification)
		}
	}
	specs, err := t.revisionsOf(ctx, keys)
	if err != nil {
		return err
	}
	for _, r := range rows {
		if r.keys.joint == 0 {
			continue
		}
		r.joint = joints[r.keys.joint]
		revisions := specs[r.joint.specification]
		if i := known.InForce(revisions, r.OccurTime(), func(v *revisionInForce) time.Time { return v.created }); i >= 0 {
			r.setRevision(revisions[i].id, revisions[i].ref)
		}
	}
	return nil
}

func (t *tx) jointFacts(ctx context.Context, keys []any) (map[int]jointFacts, error) {
	return recall(t, func(m *registerMemory) *recent.Cache[int, jointFacts] { return m.joints }, keys, func(keys []any) (map[int]jointFacts, error) {
		joints := make(map[int]jointFacts, len(keys))
		var missing []any
		for _, k := range keys {
			if f, ok := t.along.joints[k.(int)]; ok {
				joints[k.(int)] = f
			} else {
				missing = append(missing, k)
			}
		}
		return joints, t.ask(ctx, jointQuestions(missing, joints)...)
	})
}

// jointQuestions ask what rules want to know of joints, and put it into a map.
func jointQuestions(keys []any, joints map[int]jointFacts) (questions []question) {
	read := func(r row) error {
		var joint int
		var f jointFacts
		err := r.Scan(&joint, &f.specification, &f.kind, &f.critical, &f.fasteners)
		joints[joint] = f
		return err
	}
	forParts(keys, func(part []any) {
		questions = append(questions, question{"SELECT id, specification_id, kind, critical, fasteners FROM joints WHERE id IN " + marks(1, len(part)), part, read})
	})
	return questions
}

// revisionsOf reads the revisions of specifications, the oldest first.
func (t *tx) revisionsOf(ctx context.Context, keys []any) (map[int][]revisionInForce, error) {
	return recall(t, func(m *registerMemory) *lru.Cache[int, []revisionInForce] { return m.revisions }, keys, func(keys []any) (map[int][]revisionInForce, error) {
		specs := map[int][]revisionInForce{}
		return specs, inKeys(keys, func(part []any) error {
			return t.query(ctx, func(rows *sql.Rows) error {
				var spec int
				var v revisionInForce
				var created int64
				err := rows.Scan(&spec, &v.id, &v.ref.Code, &v.ref.Revision, &created)
				v.created = fromMicro(created)
				specs[spec] = append(specs[spec], v)
				return err
			}, `SELECT v.specification_id, v.id, s.code, v.revision, v.create_time FROM specification_revisions v JOIN specifications s ON s.id = v.specification_id
WHERE v.specification_id IN `+marks(1, len(part))+" ORDER BY v.specification_id, v.revision", part...)
		})
	})
}

// knownFacts is what the rules need about a wave of records, read in a few
// queries for all of them.
type knownFacts struct {
	t       *tx
	lots    map[int]lotFacts
	tools   map[int]*toolFacts
	people  map[int]*ledger.Person
	batches map[string]*ledger.Batch
	stocks  map[lotSite]*stockFacts
	// treatments are those of the joints' other tightenings.
	treatments map[int][]treated
}

type lotSite struct{ lot, site int }

// treated is one tightening of a joint and what its threads carried.
type treated struct {
	id, at    int64
	treatment ledger.Treatment
}

type stockFacts struct {
	received bool
	onHand   int64
}

// keysOf collects the distinct keys that are not 0.
func keysOf(rows []*staged, key func(*staged) int) []any {
	seen := map[int]bool{0: true}
	var keys []any
	for _, r := range rows {
		if k := key(r); !seen[k] {
			seen[k] = true
			keys = append(keys, k)
		}
	}
	return keys
}

func (t *tx) gatherFacts(ctx context.Context, all []*staged) (*knownFacts, error) {
	k := &knownFacts{t: t, stocks: t.along.stocks}
	rows := make([]*staged, 0, len(all))
	for _, r := range all {
		if known.Judged(r.Record) {
			rows = append(rows, r)
		}
	}
	lots := keysOf(rows, func(r *staged) int { return r.lot })
	tools := keysOf(rows, func(r *staged) int { return r.tool })
	for _, read := range []func() error{
		func() (err error) { k.lots, err = t.lotFacts(ctx, lots); return },
		func() (err error) { k.tools, err = t.toolFacts(ctx, tools); return },
		func() (err error) {
			k.people, err = t.personFacts(ctx, keysOf(rows, func(r *staged) int { return r.person }))
			return
		},
		func() (err error) { k.batches, err = t.batchFacts(ctx, rows); return },
		func() error { return k.readMost(ctx, rows) },
		func() (err error) { k.treatments, err = t.earlierTreatments(ctx, rows); return },
	} {
		if err := read(); err != nil {
			return nil, err
		}
	}
	return k, nil
}

// of puts together what is known about one record.
func (k *knownFacts) of(ctx context.Context, r *staged) (rules.Facts, error) {
	if !known.Judged(r.Record) {
		return rules.Facts{Record: r.Record}, nil
	}
	lot := k.lots[r.lot]
	p := known.Pieces{
		Record: r.Record, Replaced: r.instead.uid,
		Tightenings: k.tightened(r),
		Lot:         lot.lot, LotHolds: lot.holds, Stock: k.stockBefore(r),
		Person: k.people[r.person], Batch: k.batches[known.BatchOf(r.Record)],
		Substitutions: func(code string) ([]ledger.Substitution, error) { return k.t.substitutionsOf(ctx, code) },
	}
	if r.keys.joint != 0 {
		p.Joint = &ledger.Joint{Place: namesOf(r.Record).place, Kind: r.joint.kind, Critical: r.joint.critical, Fasteners: r.joint.fasteners}
	}
	if r.revision != 0 {
		var err error
		if p.Specification, err = k.t.revisionByKey(ctx, r.revision); err != nil {
			return rules.Facts{}, err
		}
	}
	if tool := k.tools[r.tool]; tool != nil {
		if err := tool.fill(ctx, k.t, r, &p); err != nil {
			return rules.Facts{}, err
		}
	}
	return p.Facts()
}

// tightened are the other tightenings of the row's joint as far as they matter; the
// one that it replaces is left out by its key.
func (k *knownFacts) tightened(r *staged) (others []known.Tightened) {
	for _, t := range k.treatments[r.keys.joint] {
		if t.id == 0 || t.id != r.instead.id {
			others = append(others, known.Tightened{At: fromMicro(t.at), Treatment: t.treatment})
		}
	}
	return others
}

// stockBefore is the stock of the row's lot at its site before it, and without what
// it replaces.
func (k *knownFacts) stockBefore(r *staged) *known.Stock {
	// Only where movements of the lot are on record at some site does their absence here
	// say anything.
	if !k.t.along.moved[r.lot] {
		return nil
	}
	stock := k.stockAt(r.lot, r.keys.site)
	before := &known.Stock{Received: stock.received, OnHand: stock.onHand}
	if r.instead.lot == r.lot && r.instead.site == r.keys.site {
		before.OnHand += r.instead.used
	}
	return before
}

// after lets the records that follow in the wave know of this one.
func (k *knownFacts) after(r *staged) {
	if stock := k.stocks[lotSite{r.lot, r.keys.site}]; stock != nil {
		stock.onHand -= known.UsedUp(r.Record)
	}
	tool := k.tools[r.tool]
	switch rec := r.Record.(type) {
	case *ledger.Custody, *ledger.Incident:
		if tool != nil { // what is remembered of its past is shared
			past := tool.past.After(r.Record)
			tool.past = &past
		}
	case *ledger.Tightening:
		k.treatments[r.keys.joint] = append(k.treatments[r.keys.joint], treated{at: micro(r.OccurTime()), treatment: rec.Treatment})
		if tool != nil {
			tool.wave = append(tool.wave, use{micro(r.OccurTime()), int64(rec.Fasteners)})
		}
	}
}

// OccurTime is when the record's event happened.
func (r *staged) OccurTime() time.Time { return r.Head().OccurTime }
