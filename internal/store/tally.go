package store

import (
	"cmp"
	"context"
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

// addTallies adds what the records of a transaction sum up to: folded first, one
// row a key. Keys are sorted, so that servers lock them in the same order.
func (t *tx) addTallies(ctx context.Context, rows []*staged) error {
	sums := map[tallyKey]int64{}
	for _, r := range rows {
		if k, n, ok := tallyOf(r); ok {
			sums[k] += n
		}
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

// recordCounts is the SELECT that counts from the records what the tallies hold,
// and the person and tool besides, which they do not.
const recordCounts = `
SELECT r.site_id, r.local_day AS day, COALESCE(r.lot_id, 0) AS lot_id, x.specification_revision_id,
       x.treatment, x.method, 0 AS outcome, x.fasteners, r.person_id, r.tool_id
FROM tightenings x JOIN records r ON r.id = x.id WHERE x.pass = 1
UNION ALL
SELECT r.site_id, r.local_day, COALESCE(r.lot_id, 0), COALESCE(x.specification_revision_id, 0),
       x.treatment, x.method, x.kind, x.fasteners, r.person_id, r.tool_id
FROM incidents x JOIN records r ON r.id = x.id WHERE x.fasteners > 0`
