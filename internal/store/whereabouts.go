package store

import (
	"context"
	"database/sql"
	"slices"

	"jointledger/internal/ledger"
)

// LotWhereabouts says where a lot went and what it did there.
type LotWhereabouts struct {
	Lot    ledger.Lot
	Stocks []ledger.LotStock // by site
	// Joints are those it was driven in, in the order of their names.
	Joints []LotUse
	// Incidents with it, oldest first.
	Incidents []*ledger.Incident
	// OpenHolds on it, oldest first.
	OpenHolds []*ledger.Hold
	// Alarms that its failures raised, oldest first.
	Alarms []*ledger.Alarm
}

// LotUse is the use of a lot in one joint.
type LotUse struct {
	Joint ledger.Place
	// Fasteners were tightened in a first pass, Failures lost to thread failures.
	Fasteners, Failures int64
}

// FindLot reads everywhere a lot went. Records that were withdrawn or replaced
// do not count and are not listed. KindNotFound when the lot is unknown.
func (s *Store) FindLot(ctx context.Context, number string) (found LotWhereabouts, err error) {
	err = s.view(ctx, func(t *tx) error {
		id, err := t.needNamed(ctx, lotNoun, number)
		if err != nil {
			return err
		}
		row, err := lots.load(ctx, t, number)
		if err != nil {
			return err
		}
		found.Lot = row.Lot
		if found.Stocks, err = t.lotStock(ctx, id); err != nil {
			return err
		}
		if found.Joints, err = t.lotUses(ctx, id); err != nil {
			return err
		}
		if found.Incidents, err = listOf[*ledger.Incident](ctx, t, ledger.KindIncident, "r.lot_id = ? AND "+notCorrected, id); err != nil {
			return err
		}
		if found.OpenHolds, err = listOf[*ledger.Hold](ctx, t, ledger.KindHold, "x.lot_id = ? AND "+notReleased, id); err != nil {
			return err
		}
		found.Alarms, err = listOf[*ledger.Alarm](ctx, t, ledger.KindAlarm, "r.lot_id = ?", id)
		return err
	})
	return found, err
}

// listOf reads the records of a kind about a lot, its key the mark of the condition, oldest
// first.
func listOf[R ledger.Record](ctx context.Context, t *tx, kind ledger.RecordKind, condition string, lot int) (list []R, err error) {
	var c clause
	c.add(condition, lot)
	records, err := t.recordsWhere(ctx, kind, &c, "")
	for _, k := range records {
		list = append(list, k.Record.(R))
	}
	slices.SortFunc(list, earlier[R])
	return list, err
}

func (t *tx) lotUses(ctx context.Context, lot int) (uses []LotUse, err error) {
	seen := notCorrected + t.andVisible("r.site_id")
	err = t.query(ctx, func(rows *sql.Rows) error {
		var u LotUse
		err := rows.Scan(&u.Joint.Site, &u.Joint.Tower, &u.Joint.Cell, &u.Joint.Joint, &u.Fasteners, &u.Failures)
		uses = append(uses, u)
		return err
	}, `SELECT s.code, t.tag, c.tag, j.tag, SUM(u.fasteners), SUM(u.failures) FROM (
SELECT r.joint_id, x.fasteners AS fasteners, 0 AS failures FROM records r JOIN tightenings x ON x.id = r.id WHERE r.lot_id = ? AND x.pass = ? AND `+seen+`
UNION ALL
SELECT r.joint_id, 0, x.fasteners FROM records r JOIN incidents x ON x.id = r.id WHERE r.lot_id = ? AND x.kind <= ? AND x.fasteners > 0 AND `+seen+`
) u JOIN joints j ON j.id = u.joint_id JOIN cells c ON c.id = j.cell_id JOIN towers t ON t.id = c.tower_id JOIN sites s ON s.id = t.site_id
GROUP BY s.code, t.tag, c.tag, j.tag ORDER BY s.code, t.tag, c.tag, j.tag`,
		lot, uint8(ledger.PassFirst), lot, uint8(ledger.BrokenFastener))
	return uses, err
}
