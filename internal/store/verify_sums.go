package store

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"

	"jointledger/internal/ledger"
)

// verifySums counts the use of tools and the stock of lots again.
func (t *tx) verifySums(ctx context.Context) (problems []string, err error) {
	report := func(format string, args ...any) {
		if len(problems) < mostProblems {
			problems = append(problems, fmt.Sprintf(format, args...))
		}
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var serial string
		var hour, n int64
		if err := rows.Scan(&serial, &hour, &n); err != nil {
			return err
		}
		report("tool %s, hour %s: the use is %+d fasteners off the records", serial, fromMicro(hour*microsPerHour).Format("2006-01-02T15Z"), n)
		return nil
	}, `SELECT COALESCE(tl.serial, '?'), b.hour, SUM(b.n) FROM (
SELECT tool_id, hour, fasteners AS n FROM tool_uses
UNION ALL
SELECT r.tool_id, r.occur_time / `+perHour+`, -x.fasteners FROM records r JOIN tightenings x ON x.id = r.id WHERE r.tool_id IS NOT NULL AND `+notCorrected+`
) b LEFT JOIN tools tl ON tl.id = b.tool_id GROUP BY tl.serial, b.tool_id, b.hour HAVING SUM(b.n) <> 0 ORDER BY 1, 2`)
	if err != nil {
		return nil, err
	}
	type lot struct {
		id     int
		number string
	}
	var lots []lot
	err = t.query(ctx, func(rows *sql.Rows) error {
		var v lot
		err := rows.Scan(&v.id, &v.number)
		lots = append(lots, v)
		return err
	}, "SELECT id, number FROM lots ORDER BY number")
	if err != nil {
		return nil, err
	}
	for _, v := range lots {
		if err := t.verifyLot(ctx, v.id, v.number, report); err != nil {
			return nil, err
		}
	}
	return problems, nil
}

func (t *tx) verifyLot(ctx context.Context, id int, number string, report func(string, ...any)) error {
	kept := map[int]ledger.LotStock{}
	codes := map[int]string{}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var site int
		var s ledger.LotStock
		err := rows.Scan(&site, &s.Site, &s.Received, &s.Removed, &s.Used, &s.OnHand)
		codes[site], kept[site] = s.Site, s
		return err
	}, "SELECT s.id, s.code, x.received, x.removed, x.used, x.on_hand FROM lot_sums x JOIN sites s ON s.id = x.site_id WHERE x.lot_id = ?", id)
	if err != nil {
		return err
	}
	sheets, err := t.stockSheets(ctx, id)
	if err != nil {
		return err
	}
	sites := map[int]bool{}
	for site := range kept {
		sites[site] = true
	}
	for site := range sheets {
		sites[site] = true
	}
	for _, site := range slices.Sorted(maps.Keys(sites)) {
		var want ledger.LotStock
		if sheets[site] != nil {
			want, _ = sheets[site].balance()
		}
		want.Site = codes[site]
		if kept[site] != want {
			report("lot %s at site %s: the stock is kept as %+v, the records say %+v", number, codes[site], kept[site], want)
		}
	}
	return nil
}
