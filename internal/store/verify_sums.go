package store

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"time"

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
		var hour, n, kept, last int64
		if err := rows.Scan(&serial, &hour, &n, &kept, &last); err != nil {
			return err
		}
		at := fromMicro(hour * microsPerHour).Format("2006-01-02T15Z")
		if n != 0 {
			report("tool %s, hour %s: the use is %+d fasteners off the records", serial, at, n)
		}
		if kept != last {
			report("tool %s, hour %s: the last use is kept as %s, the records say %s", serial, at, timeOrNever(kept), timeOrNever(last))
		}
		return nil
	}, `SELECT COALESCE(tl.serial, '?'), b.hour, SUM(b.n), MAX(b.kept), MAX(b.counted) FROM (
SELECT tool_id, hour, fasteners AS n, last_time AS kept, 0 AS counted FROM tool_uses
UNION ALL
SELECT r.tool_id, r.occur_time / `+perHour+`, -x.fasteners, 0, r.occur_time FROM records r JOIN tightenings x ON x.id = r.id WHERE r.tool_id IS NOT NULL AND `+notCorrected+`
) b LEFT JOIN tools tl ON tl.id = b.tool_id GROUP BY tl.serial, b.tool_id, b.hour HAVING SUM(b.n) <> 0 OR MAX(b.kept) <> MAX(b.counted) ORDER BY 1, 2`)
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
	kept, keptCounts := map[int]ledger.LotStock{}, map[int]int64{}
	codes := map[int]string{}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var site int
		var s ledger.LotStock
		var counted int64
		err := rows.Scan(&site, &s.Site, &s.Received, &s.Removed, &s.Used, &s.OnHand, &counted)
		codes[site], kept[site], keptCounts[site] = s.Site, s, counted
		return err
	}, "SELECT s.id, s.code, x.received, x.removed, x.used, x.on_hand, x.count_time FROM lot_sums x JOIN sites s ON s.id = x.site_id WHERE x.lot_id = ?", id)
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
		var counted int64
		if sheets[site] != nil {
			want, counted = sheets[site].balance()
		}
		want.Site = codes[site]
		if kept[site] != want {
			report("lot %s at site %s: the stock is kept as %+v, the records say %+v", number, codes[site], kept[site], want)
		}
		if keptCounts[site] != counted {
			report("lot %s at site %s: the last count is kept as of %s, the records say %s", number, codes[site], timeOrNever(keptCounts[site]), timeOrNever(counted))
		}
	}
	return nil
}

// timeOrNever writes a time of the database, in which 0 is none.
func timeOrNever(us int64) string {
	if us == 0 {
		return "never"
	}
	return fromMicro(us).Format(time.RFC3339Nano)
}
