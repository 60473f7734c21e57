package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// groupingColumns gives the SQL expression of each grouping over the tallies or
// records k, sites s, lots l, people p and tools tl. Treatment, material and
// driving method are numbers there and become words here.
var groupingColumns = map[analysis.Grouping]string{
	analysis.BySite:          "s.code",
	analysis.ByRegion:        "s.region",
	analysis.ByLot:           "COALESCE(l.number, '')",
	analysis.BySupplier:      "COALESCE(l.supplier, '')",
	analysis.ByTreatment:     "k.treatment",
	analysis.ByMaterial:      "COALESCE(l.material, 0)",
	analysis.ByThread:        "COALESCE(l.thread, '')",
	analysis.ByDrivingMethod: "k.method",
	analysis.ByPerson:        "COALESCE(p.code, '')",
	analysis.ByTool:          "COALESCE(tl.serial, '')",
}

// Counts adds up attempts and incidents by the groupings of the question: from
// the tallies, or, where it asks for people or tools, from the records. What a
// filter names must exist: KindNotFound otherwise.
func (s *Store) Counts(ctx context.Context, q analysis.CountQuery) (counts []analysis.Count, err error) {
	if !needsRecords(q) {
		err = s.withTallies(ctx, func(t *tx, m *tallyMemory) error {
			if err := t.checkFilters(ctx, q.Filters); err != nil {
				return err
			}
			counts, err = t.tallied(m, q)
			return err
		}, func(*tx) error { return nil })
		return counts, err
	}
	err = s.viewFigures(ctx, func(t *tx) error {
		if err := t.checkFilters(ctx, q.Filters); err != nil {
			return err
		}
		counts, err = t.counts(ctx, q, true)
		return err
	})
	return counts, err
}

// tallied answers a question from the tallies that are remembered.
func (t *tx) tallied(m *tallyMemory, q analysis.CountQuery) (counts []analysis.Count, err error) {
	if q.Filters, err = spelt(q.Filters); err != nil {
		return nil, err
	}
	return m.counts(q, t.sees)
}

// needsRecords says whether the tallies can't answer.
func needsRecords(q analysis.CountQuery) bool {
	beyond := func(g analysis.Grouping) bool { return g == analysis.ByPerson || g == analysis.ByTool }
	return slices.ContainsFunc(q.GroupBy, beyond) ||
		slices.ContainsFunc(q.Filters, func(f analysis.GroupValue) bool { return beyond(f.Grouping) })
}

func (t *tx) checkFilters(ctx context.Context, filters []analysis.GroupValue) error {
	nouns := map[analysis.Grouping]noun{
		analysis.BySite: siteNoun, analysis.ByLot: lotNoun, analysis.ByPerson: personNoun, analysis.ByTool: toolNoun,
	}
	for _, f := range filters {
		if n, ok := nouns[f.Grouping]; ok && f.Value != "" {
			if _, err := t.needNamed(ctx, n, f.Value); err != nil {
				return err
			}
		}
	}
	return nil
}

func (t *tx) counts(ctx context.Context, q analysis.CountQuery, fromRecords bool) ([]analysis.Count, error) {
	from := "tallies k"
	if fromRecords {
		from = "(" + recordCounts + ") k LEFT JOIN people p ON p.id = k.person_id LEFT JOIN tools tl ON tl.id = k.tool_id"
	}
	columns := make([]string, 0, len(q.GroupBy)+2)
	for _, g := range q.GroupBy {
		columns = append(columns, t.groupingColumn(g))
	}
	columns = append(columns, "k.outcome")
	where, err := t.countClause(q)
	if err != nil {
		return nil, err
	}
	query := "SELECT " + strings.Join(columns, ", ") + ", SUM(k.fasteners) FROM " + from +
		" JOIN sites s ON s.id = k.site_id LEFT JOIN lots l ON l.id = k.lot_id" + where.where() +
		" GROUP BY " + strings.Join(columns, ", ") + " HAVING SUM(k.fasteners) <> 0"
	var counts []analysis.Count
	index := map[string]int{}
	err = t.query(ctx, func(rows *sql.Rows) error {
		values, outcome, fasteners, err := scanCount(rows, q.GroupBy)
		if err != nil {
			return err
		}
		key := strings.Join(values, "\x00")
		i, ok := index[key]
		if !ok {
			i = len(counts)
			index[key] = i
			counts = append(counts, analysis.Count{Values: values})
		}
		if outcome == outcomeTightened {
			counts[i].Tightened += fasteners
		} else {
			counts[i].Incidents[outcome] += fasteners
		}
		return nil
	}, query, where.args...)
	slices.SortFunc(counts, func(a, b analysis.Count) int { return slices.Compare(a.Values, b.Values) })
	return counts, err
}

func (t *tx) groupingColumn(g analysis.Grouping) string {
	switch g {
	case analysis.ByMonth:
		return t.engine.month("k.day")
	case analysis.ByWeek:
		// Day 0, 1970-01-01, was a Thursday; a week is known by its Monday.
		return "k.day - (k.day + 3) % 7"
	case analysis.ByDay:
		return "k.day"
	default: // the others go on below
	}
	return groupingColumns[g]
}

// scanCount reads the values of the groupings, what stands between, the outcome
// and the fasteners.
func scanCount(rows *sql.Rows, groupBy []analysis.Grouping, between ...any) (values []string, outcome uint8, fasteners int64, err error) {
	raw := make([]any, len(groupBy))
	targets := make([]any, 0, len(groupBy)+len(between)+2)
	for i, g := range groupBy {
		switch {
		case isWord(g):
			raw[i] = new(uint8)
		case isDays(g):
			raw[i] = new(int)
		default:
			raw[i] = new(string)
		}
		targets = append(targets, raw[i])
	}
	if err := rows.Scan(append(append(targets, between...), &outcome, &fasteners)...); err != nil {
		return nil, 0, 0, err
	}
	values = make([]string, len(groupBy))
	for i, g := range groupBy {
		switch v := raw[i].(type) {
		case *uint8:
			values[i] = wordOf(g, *v)
		case *int:
			values[i] = analysis.PeriodName(g, *v)
		case *string:
			values[i] = *v
		}
	}
	return values, outcome, fasteners, nil
}

func isWord(g analysis.Grouping) bool {
	return g == analysis.ByTreatment || g == analysis.ByMaterial || g == analysis.ByDrivingMethod
}

// isDays says whether the grouping is a day, counted from 1970-01-01.
func isDays(g analysis.Grouping) bool { return g == analysis.ByWeek || g == analysis.ByDay }

func wordOf(g analysis.Grouping, v uint8) string {
	switch g {
	case analysis.ByTreatment:
		return ledger.Treatments.Name(ledger.Treatment(v))
	case analysis.ByMaterial:
		return ledger.Materials.Name(ledger.Material(v))
	default:
		return ledger.DrivingMethods.Name(ledger.DrivingMethod(v))
	}
}

// numberOf is the number of a word in a filter; empty is 0, for "names none".
func numberOf(g analysis.Grouping, word string) (number uint8, err error) {
	if word == "" {
		return 0, nil
	}
	switch g {
	case analysis.ByTreatment:
		v, e := ledger.Treatments.Parse(word)
		number, err = uint8(v), e
	case analysis.ByMaterial:
		v, e := ledger.Materials.Parse(word)
		number, err = uint8(v), e
	default:
		v, e := ledger.DrivingMethods.Parse(word)
		number, err = uint8(v), e
	}
	if err != nil {
		return 0, ledger.InvalidField("filter", "filters", "%v", err)
	}
	return number, nil
}

// countClause gives the conditions of the filters, of the days and of what is seen.
func (t *tx) countClause(q analysis.CountQuery) (*clause, error) {
	c := &clause{}
	alternatives := map[analysis.Grouping][]any{}
	var order []analysis.Grouping
	for _, f := range q.Filters {
		var value any = askable(f.Value)
		switch {
		case isWord(f.Grouping):
			n, err := numberOf(f.Grouping, f.Value)
			if err != nil {
				return nil, err
			}
			value = n
		case isDays(f.Grouping):
			day, err := analysis.PeriodStart(f.Grouping, f.Value)
			if err != nil {
				return nil, ledger.InvalidField("filter", "filters", "%v", err)
			}
			value = day
		}
		if _, seen := alternatives[f.Grouping]; !seen {
			order = append(order, f.Grouping)
		}
		alternatives[f.Grouping] = append(alternatives[f.Grouping], value)
	}
	for _, g := range order {
		c.add(t.groupingColumn(g)+" IN "+marks(1, len(alternatives[g])), alternatives[g]...)
	}
	t.addVisible(c, "k.site_id")
	return c, c.addDays("k.day", q.StartDay, q.EndDay)
}

// addDays adds the conditions of the first and the last day that count, YYYY-MM-DD,
// empty for none, on a column of days counted from 1970-01-01.
func (c *clause) addDays(column, start, end string) error {
	for _, limit := range []struct{ field, day, operator string }{{"start_date", start, ">="}, {"end_date", end, "<="}} {
		if limit.day == "" {
			continue
		}
		d, err := time.Parse(time.DateOnly, limit.day)
		if err != nil {
			return ledger.InvalidField("question", limit.field, "%q is not a date; expected YYYY-MM-DD", limit.day)
		}
		c.add(fmt.Sprintf("%s %s ?", column, limit.operator), d.Unix()/86400)
	}
	return nil
}
