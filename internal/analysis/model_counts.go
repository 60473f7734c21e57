package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"jointledger/internal/ledger"
)

// CountTerm is a term of a model of the record: a factor, or a covariate where
// Covariate is not 0.
type CountTerm struct {
	Factor    Grouping
	Reference string
	Covariate ModelCovariate
	Per       float64
	At        []float64
}

// Column is the name of the term's column.
func (t CountTerm) Column() string {
	if t.Covariate != 0 {
		return t.Covariate.Column()
	}
	return Groupings.Name(t.Factor)
}

// ModelQuery is a question for a model of the record.
type ModelQuery struct {
	Terms            []CountTerm
	Filters          []GroupValue
	StartDay, EndDay string
	ByJoint          bool
}

// Rows is what to count.
func (q ModelQuery) Rows() RowQuery {
	r := RowQuery{CountQuery: CountQuery{Filters: q.Filters, StartDay: q.StartDay, EndDay: q.EndDay}, ByJoint: q.ByJoint}
	for _, t := range q.Terms {
		if t.Covariate != 0 {
			r.Covariates = append(r.Covariates, t.Covariate)
		} else {
			r.GroupBy = append(r.GroupBy, t.Factor)
		}
	}
	return r
}

// ModelOfCounts fits a model to what is on record. Kinds are the incidents that
// count as failures; all thread failures when empty. Of the options it sets the
// columns and terms. Combinations of factors with failures but no tightening, and
// attempts of which a covariate is not on record, are left out and named. Errors
// are those of Model.
func ModelOfCounts(q ModelQuery, rows []CountRow, kinds []ledger.IncidentKind, o ModelOptions) (ModelAnswer, error) {
	if len(kinds) == 0 {
		kinds = ledger.ThreadFailures()
	}
	t := countTable{q: q, kinds: kinds}
	t.fill(rows)
	o.Failures, o.Attempts, o.Exposure, o.Cluster = "failures", "attempts", "attempts", ""
	if q.ByJoint {
		o.Cluster = "joint"
	}
	for _, term := range q.Terms {
		o.Terms = append(o.Terms, ModelTerm{
			Column: term.Column(), Covariate: term.Covariate != 0, Reference: term.Reference, Per: term.Per, At: term.At,
		})
	}
	a, err := Model(t.table(), o)
	if err != nil {
		return a, err
	}
	a.Cautions = append(t.cautions(), a.Cautions...)
	return a, nil
}

// countTable makes a table of counts.
type countTable struct {
	q     ModelQuery
	kinds []ledger.IncidentKind
	rows  []CountRow
	// firstDay is what days are counted from.
	firstDay float64
	// unknown are the combinations without a denominator, unmeasured the attempts by
	// covariate that is not on record.
	unknown    []string
	failures   int64
	unmeasured map[ModelCovariate]int64
}

func (t *countTable) fill(rows []CountRow) {
	known := knownCells(rows)
	query := t.q.Rows()
	t.firstDay, t.unmeasured = math.Inf(1), map[ModelCovariate]int64{}
	for _, r := range rows {
		if n := r.Failures(t.kinds...); !known[cellKey(r.Count)] {
			if name := compareStratumName(r.Values); n > 0 && !slices.Contains(t.unknown, name) {
				t.unknown = append(t.unknown, name)
			}
			t.failures += n
			continue
		}
		measured := true
		for i, c := range query.Covariates {
			if c != CovariateDay && r.Numbers[i] == 0 {
				t.unmeasured[c] += r.Attempts()
				measured = false
			}
		}
		if !measured {
			continue
		}
		if i := slices.Index(query.Covariates, CovariateDay); i >= 0 {
			t.firstDay = min(t.firstDay, r.Numbers[i])
		}
		t.rows = append(t.rows, r)
	}
	// The order of the record's rows is the database's; figures must not hang on it.
	slices.SortFunc(t.rows, func(a, b CountRow) int {
		return cmp.Or(slices.Compare(a.Values, b.Values), slices.Compare(a.Numbers, b.Numbers), cmp.Compare(a.Joint, b.Joint))
	})
	slices.Sort(t.unknown)
}

func (t *countTable) table() ModelTable {
	query := t.q.Rows()
	var table ModelTable
	for i, g := range query.GroupBy {
		c := ModelColumn{Name: Groupings.Name(g)}
		for _, r := range t.rows {
			c.Words = append(c.Words, r.Values[i])
		}
		table.Columns = append(table.Columns, c)
	}
	for i, v := range query.Covariates {
		c := ModelColumn{Name: v.Column()}
		for _, r := range t.rows {
			n := r.Numbers[i]
			if v == CovariateDay {
				n -= t.firstDay
			}
			c.Numbers = append(c.Numbers, n)
		}
		table.Columns = append(table.Columns, c)
	}
	failures, attempts, joint := ModelColumn{Name: "failures"}, ModelColumn{Name: "attempts"}, ModelColumn{Name: "joint"}
	for _, r := range t.rows {
		failures.Numbers = append(failures.Numbers, float64(r.Failures(t.kinds...)))
		attempts.Numbers = append(attempts.Numbers, float64(r.Attempts()))
		name := ""
		if r.Joint != 0 {
			name = strconv.Itoa(r.Joint)
		}
		joint.Words = append(joint.Words, name)
	}
	return ModelTable{Columns: append(table.Columns, failures, attempts, joint)}
}

func (t *countTable) cautions() []string {
	var all []string
	if len(t.unknown) > 0 {
		all = append(all, fmt.Sprintf("No tightening stands beside the failures of %s: how many fasteners went well is not known, so the %s there are left out.", list(t.unknown), compareCount(t.failures, "failure")))
	}
	for _, c := range []ModelCovariate{CovariateLength, CovariateJointFasteners} {
		if n := t.unmeasured[c]; n > 0 {
			all = append(all, fmt.Sprintf("%s name no %s and are left out.", compareCount(n, "attempt"), strings.ReplaceAll(c.Column(), "_", " ")))
		}
	}
	if !math.IsInf(t.firstDay, 1) {
		all = append(all, fmt.Sprintf("Day 0 is %s.", PeriodName(ByDay, int(t.firstDay))))
	}
	return all
}
