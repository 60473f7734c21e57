package store

import (
	"context"
	"database/sql"
	"slices"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"

	"jointledger/internal/ledger"
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
	known, err := t.gatherFacts(ctx, all)
	if err != nil {
		return err
	}
	for _, r := range all {
		facts, err := known.of(ctx, r)
		if err != nil {
			return err
		}
		facts.Location, facts.ReceiveTime, facts.Offline = chains[r.keys.site].location, t.now, r.Head().Offline
		r.findings = rules.Check(facts)
		known.after(r)
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
	created int64
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
		if v, ok := inForce(specs[r.joint.specification], micro(r.OccurTime())); ok {
			r.setRevision(v.id, v.ref)
		}
	}
	return nil
}

func (t *tx) jointFacts(ctx context.Context, keys []any) (map[int]jointFacts, error) {
	return recall(t, func(m *registerMemory) *lru.Cache[int, jointFacts] { return m.joints }, keys, func(keys []any) (map[int]jointFacts, error) {
		joints := map[int]jointFacts{}
		return joints, inKeys(keys, func(part []any) error {
			return t.query(ctx, func(rows *sql.Rows) error {
				var joint int
				var f jointFacts
				err := rows.Scan(&joint, &f.specification, &f.kind, &f.critical, &f.fasteners)
				joints[joint] = f
				return err
			}, "SELECT id, specification_id, kind, critical, fasteners FROM joints WHERE id IN "+marks(1, len(part)), part...)
		})
	})
}

// revisionsOf reads the revisions of specifications, the oldest first.
func (t *tx) revisionsOf(ctx context.Context, keys []any) (map[int][]revisionInForce, error) {
	return recall(t, func(m *registerMemory) *lru.Cache[int, []revisionInForce] { return m.revisions }, keys, func(keys []any) (map[int][]revisionInForce, error) {
		specs := map[int][]revisionInForce{}
		return specs, inKeys(keys, func(part []any) error {
			return t.query(ctx, func(rows *sql.Rows) error {
				var spec int
				var v revisionInForce
				err := rows.Scan(&spec, &v.id, &v.ref.Code, &v.ref.Revision, &v.created)
				specs[spec] = append(specs[spec], v)
				return err
			}, `SELECT v.specification_id, v.id, s.code, v.revision, v.create_time FROM specification_revisions v JOIN specifications s ON s.id = v.specification_id
WHERE v.specification_id IN `+marks(1, len(part))+" ORDER BY v.specification_id, v.revision", part...)
		})
	})
}

// inForce is the newest revision that was registered when something happened:
// a record that comes late keeps the one it was made under. What happened before
// the first was registered falls under the first.
func inForce(revisions []revisionInForce, at int64) (revisionInForce, bool) {
	for i := len(revisions) - 1; i >= 0; i-- {
		if i == 0 || revisions[i].created <= at {
			return revisions[i], true
		}
	}
	return revisionInForce{}, false
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

// span is a time during which a hold was open; to is 0 while it still is.
type span struct{ from, to int64 }

func open(spans []span, at int64) bool {
	return slices.ContainsFunc(spans, func(s span) bool { return s.from <= at && (s.to == 0 || at < s.to) })
}

type lotSite struct{ lot, site int }

// treated is one tightening of a joint and what its threads carried.
type treated struct {
	id, at    int64
	treatment ledger.Treatment
}

type stockFacts struct {
	// movedAnywhere says that movements of the lot are on record at some site: only
	// then does their absence here say anything.
	movedAnywhere bool
	received      bool
	onHand        int64
}

// judged says whether rules look at more than the time of a record.
func judged(r *staged) bool {
	switch r.RecordKind() {
	case ledger.KindTightening, ledger.KindIncident, ledger.KindSealing, ledger.KindInspection:
		return true
	case ledger.KindCustody:
		return issued(r)
	}
	return false
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
	k := &knownFacts{t: t, stocks: map[lotSite]*stockFacts{}}
	rows := make([]*staged, 0, len(all))
	for _, r := range all {
		if judged(r) {
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
		func() error { return k.readStocks(ctx, lots) },
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
	f := rules.Facts{Record: r.Record}
	if !judged(r) {
		return f, nil
	}
	at := micro(r.Head().OccurTime)
	lot := k.lots[r.lot]
	f.Lot, f.Person = lot.lot, k.people[r.person]
	f.LotHeld = open(lot.holds, at) || keptInQuarantine(f.Lot, at)
	for _, other := range k.treatments[r.keys.joint] {
		if other.at < at && other.id != r.instead.id && !slices.Contains(f.EarlierTreatments, other.treatment) {
			f.EarlierTreatments = append(f.EarlierTreatments, other.treatment)
		}
	}
	f.Batch = k.batches[batchOf(r.Record)]
	if r.keys.joint != 0 {
		f.Joint = &ledger.Joint{Place: namesOf(r.Record).place, Kind: r.joint.kind, Critical: r.joint.critical, Fasteners: r.joint.fasteners}
	}
	var err error
	if r.revision != 0 {
		if f.Specification, err = k.t.revisionByKey(ctx, r.revision); err != nil {
			return f, err
		}
	}
	if stock := k.stockAt(r.lot, r.keys.site); stock != nil && stock.movedAnywhere {
		f.LotStockKnown, f.LotReceivedHere, f.LotOnHandBefore = true, stock.received, stock.onHand
		if r.instead.lot == r.lot && r.instead.site == r.keys.site {
			f.LotOnHandBefore += r.instead.used
		}
	}
	if f.Lot != nil && f.Specification != nil && f.Lot.Fastener != f.Specification.Fastener {
		if f.Substitutions, err = k.t.substitutionsOf(ctx, f.Specification.Code); err != nil {
			return f, err
		}
	}
	if tool := k.tools[r.tool]; tool != nil {
		if err = tool.fill(ctx, k.t, r, &f); err == nil && issued(r) {
			err = tool.unfit(r, &f)
		}
	}
	return f, err
}

// after lets the records that follow in the wave know of this one.
func (k *knownFacts) after(r *staged) {
	if stock := k.stocks[lotSite{r.lot, r.keys.site}]; stock != nil {
		stock.onHand -= usedOf(r.Record)
	}
	if c, ok := r.Record.(*ledger.Custody); ok && k.tools[r.tool] != nil {
		k.tools[r.tool].changed(r.OccurTime(), *c)
	}
	tightening, ok := r.Record.(*ledger.Tightening)
	if !ok {
		return
	}
	k.treatments[r.keys.joint] = append(k.treatments[r.keys.joint], treated{at: micro(r.OccurTime()), treatment: tightening.Treatment})
	if tool := k.tools[r.tool]; tool != nil {
		tool.wave = append(tool.wave, use{micro(r.OccurTime()), int64(tightening.Fasteners)})
	}
}

// OccurTime is when the record's event happened.
func (r *staged) OccurTime() time.Time { return r.Head().OccurTime }

func batchOf(r ledger.Record) string {
	switch r := r.(type) {
	case *ledger.Tightening:
		return r.CompoundBatch
	case *ledger.Sealing:
		return r.Batch
	}
	return ""
}
