package analysis

import (
	"fmt"
	"slices"
	"strings"
)

// leakTable is the table that the model is fitted to: the sealings of which every
// condition in it is on record.
type leakTable struct {
	numbers []leakNumber
	words   []leakWord
	// seldom are the conditions left out because they are on record for fewer than
	// half of the sealings, unvaried those that do not vary.
	seldom, unvaried []string
	rows             []*LeakRow
}

// newLeakTable chooses the conditions, then the rows, then drops what does not vary
// in these.
func newLeakTable(rows []LeakRow, o LeakOptions) *leakTable {
	t := &leakTable{}
	seldom := func(words string, recorded func(*LeakRow) bool) bool {
		n := 0
		for i := range rows {
			if recorded(&rows[i]) {
				n++
			}
		}
		if 2*n < len(rows) || n == 0 {
			t.seldom = append(t.seldom, words)
			return true
		}
		return false
	}
	for _, c := range leakNumbers() {
		if !seldom(c.words, func(r *LeakRow) bool { return c.of(r) != nil }) {
			t.numbers = append(t.numbers, c)
		}
	}
	for _, c := range leakWords(o.ByPerson) {
		if !seldom(c.words, func(r *LeakRow) bool { return c.of(r) != "" }) {
			t.words = append(t.words, c)
		}
	}
	for i := range rows {
		if t.complete(&rows[i]) {
			t.rows = append(t.rows, &rows[i])
		}
	}
	t.dropUnvaried()
	return t
}

func (t *leakTable) complete(r *LeakRow) bool {
	for _, c := range t.numbers {
		if c.of(r) == nil {
			return false
		}
	}
	for _, c := range t.words {
		if c.of(r) == "" {
			return false
		}
	}
	return true
}

func (t *leakTable) dropUnvaried() {
	var numbers []leakNumber
	for _, c := range t.numbers {
		varies := false
		for _, r := range t.rows {
			varies = varies || *c.of(r) != *c.of(t.rows[0])
		}
		if varies {
			numbers = append(numbers, c)
		} else {
			t.unvaried = append(t.unvaried, c.words)
		}
	}
	var words []leakWord
	for _, c := range t.words {
		varies := false
		for _, r := range t.rows {
			varies = varies || c.of(r) != c.of(t.rows[0])
		}
		if varies {
			words = append(words, c)
		} else {
			t.unvaried = append(t.unvaried, c.words)
		}
	}
	t.numbers, t.words = numbers, words
}

// leakCluster is what sealings that share weather and batch are told by.
const leakCluster = "site and day"

// clustered says whether it is on record which sealings share weather and batch.
func (t *leakTable) clustered() bool {
	return slices.ContainsFunc(t.rows, func(r *LeakRow) bool { return r.Cluster != "" })
}

// leakUnclustered stands in the place of the model's caution on a cluster that was
// not named.
const leakUnclustered = "The day of sealing is not on record, so seals made on one day are taken as independent of each other: the intervals and p-values of the model are too narrow where these share weather, batch or crew."

// table gives the columns and the terms of the model.
func (t *leakTable) table() (ModelTable, ModelOptions) {
	failed, cluster := ModelColumn{Name: "failed"}, ModelColumn{Name: leakCluster}
	for _, r := range t.rows {
		failed.Numbers = append(failed.Numbers, float64(one(r.Failed)))
		cluster.Words = append(cluster.Words, r.Cluster)
	}
	table := ModelTable{Columns: []ModelColumn{failed, cluster}}
	o := ModelOptions{Failures: "failed"}
	if t.clustered() {
		o.Cluster = leakCluster
	}
	for _, c := range t.numbers {
		column := ModelColumn{Name: c.name}
		for _, r := range t.rows {
			column.Numbers = append(column.Numbers, *c.of(r))
		}
		table.Columns = append(table.Columns, column)
		o.Terms = append(o.Terms, ModelTerm{Column: c.name, Covariate: true})
	}
	for _, c := range t.words {
		column := ModelColumn{Name: c.name}
		for _, r := range t.rows {
			column.Words = append(column.Words, c.of(r))
		}
		table.Columns = append(table.Columns, column)
		o.Terms = append(o.Terms, ModelTerm{Column: c.name})
	}
	return table, o
}

// model fits the logistic model, and says why there is none or what is not in it.
func (a *LeakAnswer) model(rows []LeakRow, o LeakOptions) (said []string) {
	switch {
	case a.Sealings == 0:
		return nil
	case a.Failed == 0 || a.Failed == a.Sealings:
		return []string{"There is no model: without both seals that failed and seals that held there is nothing to explain."}
	}
	t := newLeakTable(rows, o)
	if len(t.seldom) > 0 {
		said = append(said, fmt.Sprintf("Not in the model, for it is on record for fewer than half of the sealings: %s.", strings.Join(t.seldom, ", ")))
	}
	if len(t.unvaried) > 0 {
		said = append(said, fmt.Sprintf("Not in the model, for it is the same in all sealings that take part: %s.", strings.Join(t.unvaried, ", ")))
	}
	if left := len(rows) - len(t.rows); left > 0 {
		var failed int64
		for _, r := range t.rows {
			failed += one(r.Failed)
		}
		said = append(said, fmt.Sprintf("Not in the model: %s, of which %d failed, because a condition was not recorded.", compareCount(int64(left), "sealing"), a.Failed-failed))
	}
	table, options := t.table()
	if len(options.Terms) == 0 {
		return append(said, "There is no model: no condition that varies is on record.")
	}
	options.Confidence = o.Confidence
	m, err := Model(table, options)
	if err != nil {
		return append(said, fmt.Sprintf("There is no model: %v.", err))
	}
	between := "independently between sites and days (the plain intervals and tests: independently of each other)"
	if !t.clustered() {
		between = "independently of each other"
		m.Cautions = slices.DeleteFunc(m.Cautions, func(c string) bool { return c == modelNoCluster })
		said = append(said, leakUnclustered)
	}
	m.Assumption = "Seals fail with odds that the conditions multiply, each in the same way whatever the others are, " + between + "."
	a.Model = &m
	return said
}
