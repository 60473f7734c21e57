package store

import (
	"cmp"
	"context"
	"database/sql"
	"slices"

	"jointledger/internal/ledger"
)

var tallyColumns = []string{"site_id", "day", "lot_id", "specification_revision_id", "treatment", "method", "outcome", "fasteners"}

const tallyKeyColumns = 7

// tallyKey is what fasteners are summed by. Fields are 0 where a record names
// nothing.
type tallyKey struct {
	site, day, lot, revision   int
	treatment, method, outcome uint8
}

// outcomeTightened is the outcome of fasteners that reached torque in a first
// pass; every other outcome is the number of an incident kind.
const outcomeTightened = 0

// tallyOf gives what a record adds to the tallies; false when it adds nothing.
func tallyOf(r *staged) (tallyKey, int64, bool) {
	k := tallyKey{site: r.keys.site, day: r.Head().LocalDay, lot: r.lot, revision: r.revision}
	switch rec := r.Record.(type) {
	case *ledger.Tightening:
		k.treatment, k.method, k.outcome = uint8(rec.Treatment), uint8(rec.Method), outcomeTightened
		return k, int64(rec.Fasteners), rec.Pass == ledger.PassFirst
	case *ledger.Incident:
		k.treatment, k.method, k.outcome = uint8(rec.Treatment), uint8(rec.Method), uint8(rec.Kind)
		return k, int64(rec.Fasteners), rec.Fasteners > 0
	}
	return k, 0, false
}

// addTallies adds what the records of a transaction sum up to, and takes away
// what corrected records had added: folded first, one row a key. Keys are
// sorted, so that servers lock them in the same order.
func (t *tx) addTallies(ctx context.Context, rows []*staged) error {
	sums := map[tallyKey]int64{}
	var corrected []any
	for _, r := range rows {
		if k, n, ok := tallyOf(r); ok {
			sums[k] += n
		}
		if r.RecordKind() == ledger.KindCorrection {
			corrected = append(corrected, r.about.id)
		}
	}
	if err := t.subtract(ctx, corrected, sums); err != nil {
		return err
	}
	keys := make([]tallyKey, 0, len(sums))
	for k := range sums {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b tallyKey) int {
		return cmp.Or(cmp.Compare(a.site, b.site), cmp.Compare(a.day, b.day), cmp.Compare(a.lot, b.lot), cmp.Compare(a.revision, b.revision),
			cmp.Compare(a.treatment, b.treatment), cmp.Compare(a.method, b.method), cmp.Compare(a.outcome, b.outcome))
	})
	args := make([]any, 0, len(keys)*len(tallyColumns))
	for _, k := range keys {
		args = append(args, k.site, k.day, k.lot, k.revision, k.treatment, k.method, k.outcome, sums[k])
	}
	return t.insertRows(ctx, talliesTable, args)
}

// subtract takes from the sums what the records of the keys had added.
func (t *tx) subtract(ctx context.Context, keys []any, sums map[tallyKey]int64) error {
	return inChunks(keys, 1, func(part []any) error {
		return t.query(ctx, func(rows *sql.Rows) error {
			var k tallyKey
			var n int64
			err := rows.Scan(&k.site, &k.day, &k.lot, &k.revision, &k.treatment, &k.method, &k.outcome, &n)
			sums[k] -= n
			return err
		}, "SELECT "+tallyKeys+", fasteners FROM ("+everyCount+") counted WHERE counted.record_id IN "+marks(1, len(part)), part...)
	})
}

const tallyKeys = "site_id, day, lot_id, specification_revision_id, treatment, method, outcome"

// everyCount is the SELECT of what each record adds to the tallies, corrected
// ones included, with the person, tool and joint besides, which the tallies do
// not hold.
const everyCount = `
SELECT r.id AS record_id, r.site_id, r.local_day AS day, COALESCE(r.lot_id, 0) AS lot_id, x.specification_revision_id,
       x.treatment, x.method, 0 AS outcome, x.fasteners, r.person_id, r.tool_id, r.joint_id
FROM tightenings x JOIN records r ON r.id = x.id WHERE x.pass = 1
UNION ALL
SELECT r.id, r.site_id, r.local_day, COALESCE(r.lot_id, 0), COALESCE(x.specification_revision_id, 0),
       x.treatment, x.method, x.kind, x.fasteners, r.person_id, r.tool_id, r.joint_id
FROM incidents x JOIN records r ON r.id = x.id WHERE x.fasteners > 0`

// recordCounts is everyCount without the corrected records: what the tallies
// must hold.
const recordCounts = "SELECT * FROM (" + everyCount + ") every WHERE NOT EXISTS (SELECT 1 FROM corrections k WHERE k.corrected_id = every.record_id)"
