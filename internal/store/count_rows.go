package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"jointledger/internal/analysis"
)

// covariateColumns gives the SQL expression of each covariate, over the tables of
// groupingColumns and joints j.
var covariateColumns = map[analysis.ModelCovariate]string{
	analysis.CovariateDay:            "k.day",
	analysis.CovariateLength:         "COALESCE(l.length_mm, 0)",
	analysis.CovariateJointFasteners: "COALESCE(j.fasteners, 0)",
}

// CountRows adds up attempts and incidents by groupings, covariates and joints,
// in no order. Where that needs the records, no more than
// analysis.MostRecordRows of them are read; when there are more, complete is
// false and there are no rows. What a filter names must exist: KindNotFound
// otherwise.
func (s *Store) CountRows(ctx context.Context, q analysis.RowQuery) (rows []analysis.CountRow, complete bool, err error) {
	err = s.viewFigures(ctx, func(t *tx) error {
		if err := t.checkFilters(ctx, q.Filters); err != nil {
			return err
		}
		rows, complete, err = t.countRows(ctx, q)
		return err
	})
	return rows, complete, err
}

// ComparisonCounts reads the counts of two arms, by stratum and, when asked for,
// by joint besides, all from one state of the record. What an arm or a filter
// names must exist: KindNotFound otherwise.
func (s *Store) ComparisonCounts(ctx context.Context, q analysis.ComparisonQuery) (found analysis.ComparisonCounts, err error) {
	counts := q.Counts()
	check := func(t *tx) error { return t.checkFilters(ctx, append(q.Arms(), q.Filters...)) }
	joints := func(t *tx) error {
		if !q.ByJoint {
			return nil
		}
		rows, complete, err := t.countRows(ctx, analysis.RowQuery{CountQuery: counts, ByJoint: true})
		found.Joints, found.TooManyRecords = rows, !complete
		return err
	}
	if !needsRecords(counts) {
		err = s.withTallies(ctx, func(t *tx, m *tallyMemory) (err error) {
			if err := check(t); err != nil {
				return err
			}
			found.Counts, err = t.tallied(m, counts)
			return err
		}, joints)
		return found, err
	}
	err = s.viewFigures(ctx, func(t *tx) error {
		if err := check(t); err != nil {
			return err
		}
		if found.Counts, err = t.counts(ctx, counts, true); err != nil {
			return err
		}
		return joints(t)
	})
	return found, err
}

func (t *tx) countRows(ctx context.Context, q analysis.RowQuery) (rows []analysis.CountRow, complete bool, err error) {
	query, args, bounded, err := t.rowsQuery(q)
	if err != nil {
		return nil, false, err
	}
	index := map[string]int{}
	read := 0
	var key strings.Builder
	err = t.query(ctx, func(r *sql.Rows) error {
		row, outcome, fasteners, err := scanRow(r, q)
		if err != nil {
			return err
		}
		if read++; bounded && read > analysis.MostRecordRows {
			return nil
		}
		key.Reset()
		fmt.Fprintf(&key, "%s\x00%v\x00%d", strings.Join(row.Values, "\x00"), row.Numbers, row.Joint)
		i, ok := index[key.String()]
		if !ok {
			i = len(rows)
			index[key.String()] = i
			rows = append(rows, row)
		}
		if outcome == outcomeTightened {
			rows[i].Tightened += fasteners
		} else {
			rows[i].Incidents[outcome] += fasteners
		}
		return nil
	}, query, args...)
	if bounded && read > analysis.MostRecordRows {
		return nil, false, err
	}
	return rows, true, err
}

// rowsQuery makes the query: over the tallies, or over the records, then of no
// more than one beyond what may be read.
func (t *tx) rowsQuery(q analysis.RowQuery) (query string, args []any, bounded bool, err error) {
	where, err := t.countClause(q.CountQuery)
	if err != nil {
		return "", nil, false, err
	}
	var columns []string
	for _, g := range q.GroupBy {
		columns = append(columns, t.groupingColumn(g))
	}
	for _, c := range q.Covariates {
		columns = append(columns, covariateColumns[c])
	}
	if !q.ReadsRecords() && !needsRecords(q.CountQuery) {
		columns = append(columns, "k.outcome")
		by := strings.Join(columns, ", ")
		return "SELECT " + by + ", SUM(k.fasteners) FROM tallies k JOIN sites s ON s.id = k.site_id LEFT JOIN lots l ON l.id = k.lot_id" +
			where.where() + " GROUP BY " + by + " HAVING SUM(k.fasteners) <> 0", where.args, false, nil
	}
	if q.ByJoint {
		columns = append(columns, "COALESCE(k.joint_id, 0)")
	}
	columns = append(columns, "k.outcome", "k.fasteners")
	return "SELECT " + strings.Join(columns, ", ") + " FROM (" + recordCounts + `) k JOIN sites s ON s.id = k.site_id LEFT JOIN lots l ON l.id = k.lot_id
LEFT JOIN people p ON p.id = k.person_id LEFT JOIN tools tl ON tl.id = k.tool_id LEFT JOIN joints j ON j.id = k.joint_id` +
		where.where() + " LIMIT ?", append(where.args, analysis.MostRecordRows+1), true, nil
}

// scanRow reads the columns of rowsQuery.
func scanRow(rows *sql.Rows, q analysis.RowQuery) (row analysis.CountRow, outcome uint8, fasteners int64, err error) {
	row.Numbers = make([]float64, len(q.Covariates))
	between := make([]any, 0, len(q.Covariates)+1)
	for i := range q.Covariates {
		between = append(between, &row.Numbers[i])
	}
	if q.ByJoint {
		between = append(between, &row.Joint)
	}
	row.Values, outcome, fasteners, err = scanCount(rows, q.GroupBy, between...)
	return row, outcome, fasteners, err
}
