package store

import (
	"cmp"
	"context"
	"database/sql"
	"slices"

	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// addSums keeps the running sums: tallies, use of tools by hour, stock of lots.
// They are kept by the transaction that writes the records, can be counted again
// from them at any time, and verify does.
func (t *tx) addSums(ctx context.Context, rows []*staged) error {
	if err := t.addTallies(ctx, rows); err != nil {
		return err
	}
	if err := t.addToolUses(ctx, rows); err != nil {
		return err
	}
	return t.addLotSums(ctx, rows)
}

type toolHour struct {
	tool int
	hour int64
}

// addToolUses adds to the use of tools, and counts the hours of corrected
// tightenings again.
func (t *tx) addToolUses(ctx context.Context, rows []*staged) error {
	sums := map[toolHour]use{}
	var order []toolHour
	var corrected []int64
	for _, r := range rows {
		if r.RecordKind() == ledger.KindCorrection && r.about.kind == ledger.KindTightening {
			corrected = append(corrected, r.about.id)
		}
		rec, ok := r.Record.(*ledger.Tightening)
		if !ok || r.tool == 0 {
			continue
		}
		at := micro(rec.OccurTime)
		k := toolHour{r.tool, floorHour(at)}
		sum, seen := sums[k]
		if !seen {
			order = append(order, k)
		}
		sums[k] = use{max(sum.at, at), sum.fasteners + int64(rec.Fasteners)}
	}
	// Sorted, so that servers lock them in the same order: a tool goes from site to
	// site, and the lock on a site's chain does not cover it.
	slices.SortFunc(order, func(a, b toolHour) int { return cmp.Or(cmp.Compare(a.tool, b.tool), cmp.Compare(a.hour, b.hour)) })
	args := make([]any, 0, len(order)*len(toolUsesTable.columns))
	for _, k := range order {
		args = append(args, k.tool, k.hour, sums[k].fasteners, sums[k].at)
	}
	if err := t.insertRows(ctx, toolUsesTable, args); err != nil {
		return err
	}
	for _, id := range corrected {
		if err := t.recountToolHour(ctx, id); err != nil {
			return err
		}
	}
	return nil
}

// recountToolHour counts the hour of a corrected tightening again.
func (t *tx) recountToolHour(ctx context.Context, record int64) error {
	if err := t.flush(ctx); err != nil {
		return err
	}
	var tool sql.NullInt64
	var at int64
	err := t.sql.QueryRowContext(ctx, t.engine.bind("SELECT tool_id, occur_time FROM records WHERE id = ?"), record).Scan(&tool, &at)
	if err != nil || !tool.Valid {
		return err
	}
	hour := floorHour(at)
	// The row is locked by a statement of its own: what another server committed
	// while this one waited for it is then seen by the next.
	err = t.query(ctx, func(*sql.Rows) error { return nil },
		"SELECT id FROM tool_uses WHERE tool_id = ? AND hour = ?"+t.engine.lockRows("tool_uses"), tool.Int64, hour)
	if err != nil {
		return err
	}
	const counted = ` FROM records r JOIN tightenings x ON x.id = r.id
WHERE r.tool_id = ? AND r.kind = ? AND r.occur_time >= ? AND r.occur_time < ? AND ` + notCorrected
	of := []any{tool.Int64, uint8(ledger.KindTightening), hour * microsPerHour, (hour + 1) * microsPerHour}
	return t.exec(ctx, "UPDATE tool_uses SET fasteners = COALESCE((SELECT SUM(x.fasteners)"+counted+"), 0), last_time = COALESCE((SELECT MAX(r.occur_time)"+counted+"), 0) WHERE tool_id = ? AND hour = ?",
		append(append(append([]any{}, of...), of...), tool.Int64, hour)...)
}

// lotDelta is what records change in the sums of a lot at a site.
type lotDelta struct {
	received, removed, used int64
	// moves are the changes of stock, with their times.
	moves []use
	// again says that the sums must be counted again: stock was counted by hand, or
	// a record was corrected.
	again bool
}

func (d *lotDelta) add(r ledger.Record) {
	at := micro(r.Head().OccurTime)
	n := known.UsedUp(r)
	d.used += n
	if m, ok := r.(*ledger.LotMovement); ok {
		switch m.Kind {
		case ledger.MovementReceived:
			d.received += m.Quantity
			n = -m.Quantity
		case ledger.MovementCounted:
			d.again = true
		default:
			d.removed += m.Quantity
			n = m.Quantity
		}
	}
	d.moves = append(d.moves, use{at, -n})
}

// addLotSums adds to the stock of lots.
func (t *tx) addLotSums(ctx context.Context, rows []*staged) error {
	deltas := map[lotSite]*lotDelta{}
	var order []lotSite
	of := func(r *staged) *lotDelta {
		k := lotSite{r.lot, r.keys.site}
		if deltas[k] == nil {
			deltas[k] = &lotDelta{}
			order = append(order, k)
		}
		return deltas[k]
	}
	for _, r := range rows {
		switch r.RecordKind() {
		case ledger.KindTightening, ledger.KindIncident, ledger.KindLotMovement:
			if r.lot != 0 {
				of(r).add(r.Record)
			}
		case ledger.KindCorrection:
			if r.lot != 0 { // the corrected record's
				of(r).again = true
			}
		default: // nothing to do for the others
		}
	}
	if len(order) == 0 {
		return nil
	}
	args := make([]any, 0, len(order)*len(lotSumsTable.columns))
	for _, k := range order {
		d := deltas[k]
		if d.again {
			if err := t.recountLot(ctx, k); err != nil {
				return err
			}
			continue
		}
		var onHand int64
		for _, m := range d.moves {
			if since := t.along.counted[k]; since == 0 || m.at > since {
				onHand += m.fasteners
			}
		}
		args = append(args, k.lot, k.site, d.received, d.removed, d.used, onHand, int64(0))
	}
	return t.insertRows(ctx, lotSumsTable, args)
}

// recountLot counts the sums of a lot at a site again from the records.
func (t *tx) recountLot(ctx context.Context, k lotSite) error {
	sheets, err := t.stockSheets(ctx, k.lot)
	if err != nil {
		return err
	}
	s := stockSheet{}
	if found := sheets[k.site]; found != nil {
		s = *found
	}
	stock, countTime := s.balance()
	if err := t.insertRows(ctx, lotSumsTable, []any{k.lot, k.site, 0, 0, 0, 0, int64(0)}); err != nil {
		return err
	}
	return t.exec(ctx, "UPDATE lot_sums SET received = ?, removed = ?, used = ?, on_hand = ?, count_time = ? WHERE lot_id = ? AND site_id = ?",
		stock.Received, stock.Removed, stock.Used, stock.OnHand, countTime, k.lot, k.site)
}
