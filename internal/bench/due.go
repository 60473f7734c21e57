package main

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// Size of the fleet on which due is measured.
const (
	dueTools        = 100_000
	dueCalibrations = 3 // of each tool
	dueRounds       = 5
)

// measureDue measures what falls due in a fleet of 100,000 tools and 300,000
// calibrations against the plain indexed query that anybody would write for the same
// list: the newest calibration of each tool with its outcome, its interval, what ends
// by then, in that order. All tools that a question may need are measured against a
// query that gives all of them. The rows are put in with the plain driver: only reading
// is timed, and the server is one that runs already: what it remembers of calibrations
// it reads at its start.
func measureDue(ctx context.Context, engine string, c store.Config) ([]figure, error) {
	defer os.RemoveAll(c.DataDir)
	if _, _, err := store.MigrateUp(ctx, c); err != nil {
		return nil, err
	}
	s, err := store.Open(ctx, c)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	if err := fixture(ctx, s); err != nil {
		return nil, err
	}
	db, err := rawOpen(engine, c)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	if err := dueFleet(ctx, engine, db); err != nil {
		return nil, err
	}
	asOf := time.Now()
	q := analysis.TrackedQuery{AsOf: asOf}
	if err := s.ReadAhead(ctx); err != nil {
		return nil, err
	}
	const within = 30 * 24 * time.Hour
	taken, err := dueBest(
		func() error { return plainNewest(ctx, engine, db, asOf.UnixMicro()) },
		func() error { return plainDue(ctx, engine, db, asOf, asOf.Add(within)) },
		func() error {
			tools, err := s.TrackedTools(ctx, q)
			if err == nil && len(tools) < dueTools {
				err = fmt.Errorf("%d tools of %d", len(tools), dueTools)
			}
			return err
		},
		func() error {
			_, err := s.DueItems(ctx, q, analysis.DueQuestion{AsOf: asOf, Within: within})
			return err
		},
	)
	if err != nil {
		return nil, err
	}
	plain, plainDue, read, due := taken[0], taken[1], taken[2], taken[3]
	const limit, dueLimit = "each tool with its newest calibration", "what is due by months or failed, in plain SQL"
	return []figure{
		{Engine: engine, What: limit, PerSecond: dueTools / plain.Seconds(), P50Micros: micros(plain)},
		{Engine: engine, What: dueLimit, PerSecond: dueTools / plainDue.Seconds(), P50Micros: micros(plainDue)},
		{Engine: engine, What: "tracked tools, 100,000 of them", PerSecond: dueTools / read.Seconds(), P50Micros: micros(read), Limit: limit, Ratio: plain.Seconds() / read.Seconds()},
		{Engine: engine, What: "due, 100,000 tools, 300,000 calibrations", PerSecond: dueTools / due.Seconds(), P50Micros: micros(due), Limit: dueLimit, Ratio: plainDue.Seconds() / due.Seconds()},
	}, nil
}

func micros(d time.Duration) float64 { return float64(d) / float64(time.Microsecond) }

// dueBest is how long each took at its best. They take turns, so that whatever
// else the machine does falls on all of them.
func dueBest(runs ...func() error) ([]time.Duration, error) {
	best := make([]time.Duration, len(runs))
	for round := range dueRounds {
		for i, run := range runs {
			start := time.Now()
			if err := run(); err != nil {
				return nil, err
			}
			if took := time.Since(start); round == 0 || took < best[i] {
				best[i] = took
			}
		}
	}
	return best, nil
}

// plainNewest reads each tool with its newest calibration, as anybody would write
// it, and looks at nothing.
func plainNewest(ctx context.Context, engine string, db *sql.DB, asOf int64) error {
	rows, err := db.QueryContext(ctx, marked(engine, `SELECT x.id, x.serial, x.kind, x.type_class, x.min_nm, x.max_nm, x.resolution_nm, x.interval_months, x.interval_cycles, x.due_after_event, h.code, h.time_zone,
r.id, r.occur_time, k.laboratory, k.certificate, k.points, k.verdict
FROM tools x JOIN sites h ON h.id = x.home_site_id LEFT JOIN records r ON r.id = (SELECT n.id FROM records n WHERE n.tool_id = x.id AND n.kind = 3 AND n.occur_time <= ? ORDER BY n.occur_time DESC LIMIT 1)
LEFT JOIN calibrations k ON k.id = r.id ORDER BY x.serial`), asOf)
	return throughRows(rows, err, dueTools)
}

// plainDue reads what is due by a moment as plain SQL has it: by months of the calendar
// in UTC, or since a calibration that failed. It knows nothing of zones, cycles, events,
// policies, corrections and custody, and looks at nothing.
func plainDue(ctx context.Context, engine string, db *sql.DB, asOf, by time.Time) error {
	ends, verdict := `strftime('%s', r.occur_time / 1000000, 'unixepoch', '+' || x.interval_months || ' months')`, "CAST(COALESCE(k.verdict ->> 'as_left', k.verdict ->> 'as_found') AS integer)"
	if engine == "postgres" {
		ends = "EXTRACT(EPOCH FROM to_timestamp(r.occur_time / 1000000) + make_interval(months => x.interval_months::int))"
	}
	rows, err := db.QueryContext(ctx, marked(engine, `SELECT * FROM (SELECT x.serial, x.kind, h.code, x.interval_months, r.occur_time, CAST(`+ends+` AS bigint) AS due, `+verdict+` AS verdict
FROM tools x JOIN sites h ON h.id = x.home_site_id LEFT JOIN records r ON r.id = (SELECT n.id FROM records n WHERE n.tool_id = x.id AND n.kind = 3 AND n.occur_time <= ? ORDER BY n.occur_time DESC LIMIT 1)
LEFT JOIN calibrations k ON k.id = r.id) y WHERE due IS NULL OR due <= ? OR verdict > 2 ORDER BY due`), asOf.UnixMicro(), by.Unix())
	return throughRows(rows, err, 1)
}

// throughRows reads all rows of a query, which must be so many at least.
func throughRows(rows *sql.Rows, err error, least int) error {
	if err != nil {
		return err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return err
	}
	values := make([]any, len(columns))
	for i := range values {
		values[i] = new(any)
	}
	n := 0
	for rows.Next() {
		if err := rows.Scan(values...); err != nil {
			return err
		}
		n++
	}
	if n < least {
		return fmt.Errorf("%d rows; expected %d at least", n, least)
	}
	return rows.Err()
}

// marked numbers the marks of a query where the engine wants it.
func marked(engine, query string) string {
	for n := 1; engine == "postgres" && strings.Contains(query, "?"); n++ {
		query = strings.Replace(query, "?", "$"+strconv.Itoa(n), 1)
	}
	return query
}

// dueFleet puts in the tools, their calibrations, a year of custody and, for every
// tenth, use by the hour.
func dueFleet(ctx context.Context, engine string, db *sql.DB) error {
	load, err := newBulk(ctx, engine, db)
	if err != nil {
		return err
	}
	defer load.close()
	var points, verdict any
	if err := load.conn.QueryRowContext(ctx, "SELECT points, verdict FROM calibrations LIMIT 1").Scan(&points, &verdict); err != nil {
		return err
	}
	now := time.Now().UnixMicro()
	var first int
	if err := load.conn.QueryRowContext(ctx, "SELECT MAX(id) + 1 FROM tools").Scan(&first); err != nil {
		return err
	}
	const day = int64(24 * time.Hour / time.Microsecond)
	sequence := int64(1)<<40 | 1_000_000
	policies, err := json.Marshal([]any{})
	if err != nil {
		return err
	}
	for n := range dueTools {
		id := first + n
		load.add("tools (id, serial, kind, type_class, min_nm, max_nm, resolution_nm, home_site_id, interval_months, interval_cycles, due_after_event, rated_load_kg, policies, version, create_time, update_time)",
			id, fmt.Sprintf("DW-%06d", n), uint8(ledger.ToolTorqueWrench), "II-A", 20.0, 100.0, 0.5, 1, 12, 5000, true, 0.0, string(policies), 1, now, now)
		for k := range dueCalibrations {
			sequence++
			at := now - (int64(n%364)+int64(k)*300)*day - int64(n)
			load.record(sequence, ledger.KindCalibration, id, at, now)
			load.add("calibrations (id, laboratory, certificate, points, document, rule, stated_verdict, device_uncertainty_pct, verdict)",
				sequence, "Bench", fmt.Sprintf("B-%d-%d", n, k), points, 0, 0, 0, 0.0, verdict)
		}
		sequence++
		load.record(sequence, ledger.KindCustody, id, now-int64(n%200)*day, now)
		load.add("custodies (id, kind, holder_id, override_reason)", sequence, 1+n%2, nil, "")
		for h := range 12 {
			if n%10 == 0 {
				at := now - int64(h*20)*day
				load.add("tool_uses (tool_id, hour, fasteners, last_time)", id, at/(3600*1_000_000), 40, at)
			}
		}
	}
	if err := load.commit(); err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, "ANALYZE")
	return err
}
