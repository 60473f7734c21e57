package store

import (
	"context"
	"database/sql"
	"sort"

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
		sites := map[string]*stockSheet{}
		if err := t.readMovements(ctx, id, sites); err != nil {
			return err
		}
		if err := t.readUse(ctx, id, sites); err != nil {
			return err
		}
		for code, sheet := range sites {
			sheet.stock.Site = code
			stocks = append(stocks, sheet.balance())
		}
		sort.Slice(stocks, func(i, j int) bool { return stocks[i].Site < stocks[j].Site })
		return nil
	})
	return stocks, err
}

// stockSheet gathers what came, went and was used at one site, in the order of
// time.
type stockSheet struct {
	stock   ledger.LotStock
	changes []stockChange
}

type stockChange struct {
	at      int64
	delta   int64
	counted bool // delta is what was there
}

func (s *stockSheet) balance() ledger.LotStock {
	sort.SliceStable(s.changes, func(i, j int) bool { return s.changes[i].at < s.changes[j].at })
	for _, c := range s.changes {
		if c.counted {
			s.stock.OnHand = c.delta
		} else {
			s.stock.OnHand += c.delta
		}
	}
	return s.stock
}

func sheetOf(sites map[string]*stockSheet, code string) *stockSheet {
	if sites[code] == nil {
		sites[code] = &stockSheet{}
	}
	return sites[code]
}

func (t *tx) readMovements(ctx context.Context, lot int, sites map[string]*stockSheet) error {
	return t.query(ctx, func(rows *sql.Rows) error {
		var code string
		var kind ledger.MovementKind
		var quantity, at int64
		if err := rows.Scan(&code, &kind, &quantity, &at); err != nil {
			return err
		}
		sheet := sheetOf(sites, code)
		switch kind {
		case ledger.MovementReceived:
			sheet.stock.Received += quantity
		case ledger.MovementSent, ledger.MovementReturned, ledger.MovementScrapped:
			sheet.stock.Removed += quantity
			quantity = -quantity
		}
		sheet.changes = append(sheet.changes, stockChange{at, quantity, kind == ledger.MovementCounted})
		return nil
	}, `SELECT s.code, x.kind, x.quantity, r.occur_time FROM records r JOIN lot_movements x ON x.id = r.id JOIN sites s ON s.id = r.site_id
WHERE r.lot_id = ? ORDER BY r.id`, lot)
}

// readUse reads what was tightened in a first pass and what thread failures
// used up. Re-tightening uses nothing.
func (t *tx) readUse(ctx context.Context, lot int, sites map[string]*stockSheet) error {
	return t.query(ctx, func(rows *sql.Rows) error {
		var code string
		var used, at int64
		if err := rows.Scan(&code, &used, &at); err != nil {
			return err
		}
		sheet := sheetOf(sites, code)
		sheet.stock.Used += used
		sheet.changes = append(sheet.changes, stockChange{at: at, delta: -used})
		return nil
	}, `SELECT s.code, x.fasteners, r.occur_time FROM records r JOIN tightenings x ON x.id = r.id JOIN sites s ON s.id = r.site_id
WHERE r.lot_id = ? AND x.pass = ?
UNION ALL
SELECT s.code, x.fasteners, r.occur_time FROM records r JOIN incidents x ON x.id = r.id JOIN sites s ON s.id = r.site_id
WHERE r.lot_id = ? AND x.kind <= ?`, lot, uint8(ledger.PassFirst), lot, uint8(ledger.BrokenFastener))
}
