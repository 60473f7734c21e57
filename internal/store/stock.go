package store

import (
	"cmp"
	"context"
	"database/sql"
	"slices"

	"jointledger/internal/ledger"
)

// LotStock reads the stock of one lot at each site that it came to or was used
// at: received less removed less used, or what the last count found and what
// followed it. KindNotFound when the lot is unknown.
func (s *Store) LotStock(ctx context.Context, lot string) (stocks []ledger.LotStock, err error) {
	err = s.view(ctx, func(t *tx) error {
		id, err := t.needNamed(ctx, lotNoun, lot)
		if err != nil {
			return err
		}
		stocks, err = t.lotStock(ctx, id)
		return err
	})
	return stocks, err
}

func (t *tx) lotStock(ctx context.Context, lot int) (stocks []ledger.LotStock, err error) {
	err = t.query(ctx, func(rows *sql.Rows) error {
		var v ledger.LotStock
		err := rows.Scan(&v.Site, &v.Received, &v.Removed, &v.Used, &v.OnHand)
		stocks = append(stocks, v)
		return err
	}, "SELECT s.code, x.received, x.removed, x.used, x.on_hand FROM lot_sums x JOIN sites s ON s.id = x.site_id WHERE x.lot_id = ?"+t.andVisible("x.site_id")+" ORDER BY s.code", lot)
	return stocks, err
}

// stockSheet gathers what came, went and was used of a lot at one site.
type stockSheet struct {
	stock   ledger.LotStock
	changes []stockChange
}

type stockChange struct {
	at, id  int64
	delta   int64
	counted bool // delta is what was there
}

// balance adds the sheet up in the order of time and gives the time of the last
// count, 0 for none. What happened at the moment of a count is in it.
func (s *stockSheet) balance() (ledger.LotStock, int64) {
	slices.SortFunc(s.changes, func(a, b stockChange) int {
		if c := cmp.Compare(a.at, b.at); c != 0 || a.counted == b.counted {
			return cmp.Or(c, cmp.Compare(a.id, b.id))
		}
		if a.counted {
			return 1
		}
		return -1
	})
	var countTime int64
	s.stock.OnHand = 0
	for _, c := range s.changes {
		if c.counted {
			s.stock.OnHand, countTime = c.delta, c.at
		} else {
			s.stock.OnHand += c.delta
		}
	}
	return s.stock, countTime
}

// stockSheets reads from the records, corrected ones left out, what became of a
// lot at each site.
func (t *tx) stockSheets(ctx context.Context, lot int) (map[int]*stockSheet, error) {
	sheets := map[int]*stockSheet{}
	of := func(site int) *stockSheet {
		if sheets[site] == nil {
			sheets[site] = &stockSheet{}
		}
		return sheets[site]
	}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var site int
		var kind ledger.MovementKind
		var c stockChange
		if err := rows.Scan(&site, &kind, &c.delta, &c.at, &c.id); err != nil {
			return err
		}
		sheet := of(site)
		switch kind {
		case ledger.MovementReceived:
			sheet.stock.Received += c.delta
		case ledger.MovementCounted:
			c.counted = true
		default:
			sheet.stock.Removed += c.delta
			c.delta = -c.delta
		}
		sheet.changes = append(sheet.changes, c)
		return nil
	}, "SELECT r.site_id, x.kind, x.quantity, r.occur_time, r.id FROM records r JOIN lot_movements x ON x.id = r.id WHERE r.lot_id = ? AND "+notCorrected, lot)
	if err != nil {
		return nil, err
	}
	// Re-tightening uses nothing, a thread failure does.
	err = t.query(ctx, func(rows *sql.Rows) error {
		var site int
		var c stockChange
		if err := rows.Scan(&site, &c.delta, &c.at, &c.id); err != nil {
			return err
		}
		sheet := of(site)
		sheet.stock.Used += c.delta
		c.delta = -c.delta
		sheet.changes = append(sheet.changes, c)
		return nil
	}, `SELECT r.site_id, x.fasteners, r.occur_time, r.id FROM records r JOIN tightenings x ON x.id = r.id WHERE r.lot_id = ? AND x.pass = ? AND `+notCorrected+`
UNION ALL
SELECT r.site_id, x.fasteners, r.occur_time, r.id FROM records r JOIN incidents x ON x.id = r.id WHERE r.lot_id = ? AND x.kind <= ? AND `+notCorrected,
		lot, uint8(ledger.PassFirst), lot, uint8(ledger.BrokenFastener))
	return sheets, err
}
