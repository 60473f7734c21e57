package analysis

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"jointledger/internal/regression"
	"jointledger/internal/stats"
)

// modelInput is the table as the fit takes it, without the rows that have no
// attempts and no exposure.
type modelInput struct {
	data    regression.Data
	cluster []int // nil when none is asked for
	// clusters is how many there are; alone how many rows named none.
	clusters, alone int
	leftOut         int
	// emptyLevels occur only in rows that were left out.
	emptyLevels []string
	// size of each row.
	size []float64
}

func readModel(t ModelTable, o *ModelOptions) (*modelInput, error) {
	if o.Family == 0 {
		o.Family = LogisticModel
	}
	if o.Failures == "" {
		o.Failures = "failures"
	}
	if o.Confidence == 0 {
		o.Confidence = 0.95
	}
	if err := checkModel(t, o); err != nil {
		return nil, err
	}
	in := &modelInput{}
	rows, err := in.readResponse(t, o)
	if err != nil {
		return nil, err
	}
	for k := range o.Terms {
		term, err := in.readTerm(t, &o.Terms[k], rows)
		if err != nil {
			return nil, err
		}
		in.data.Terms = append(in.data.Terms, term)
	}
	return in, in.readCluster(t, o.Cluster, rows)
}

// checkModel checks what can be told without the values.
func checkModel(t ModelTable, o *ModelOptions) error {
	if o.Family > PoissonModel {
		return &stats.ArgumentError{Argument: "family", Value: strconv.Itoa(int(o.Family)), Requirement: "must be logistic or poisson"}
	}
	if len(o.Terms) == 0 {
		return &stats.ArgumentError{Argument: "terms", Value: "empty", Requirement: "must name at least one column"}
	}
	if len(t.Columns) > 0 {
		n := t.Columns[0].rows()
		for _, c := range t.Columns {
			if c.rows() != n || c.Words != nil && c.Numbers != nil && len(c.Words) != len(c.Numbers) {
				return &stats.ArgumentError{Argument: "length of " + c.Name, Value: strconv.Itoa(c.rows()), Requirement: fmt.Sprintf("must be that of %s, %d", t.Columns[0].Name, n)}
			}
		}
	}
	taken := map[string]string{o.Failures: "the failures"}
	if o.Attempts != "" {
		taken[o.Attempts] = "the attempts"
	}
	if o.Exposure != "" {
		taken[o.Exposure] = "the exposure"
	}
	for _, term := range o.Terms {
		if what, twice := taken[term.Column]; twice {
			return &stats.ArgumentError{Argument: "term", Value: strconv.Quote(term.Column), Requirement: "must be another column: that is " + what}
		}
		taken[term.Column] = "a term already"
		if per := term.Per; math.IsNaN(per) || math.IsInf(per, 0) || per < 0 {
			return &stats.ArgumentError{Argument: "per of " + term.Column, Value: strconv.FormatFloat(per, 'g', -1, 64), Requirement: "must be a finite number above 0"}
		}
	}
	return nil
}

func (c *ModelColumn) rows() int { return max(len(c.Words), len(c.Numbers)) }

func (t *ModelTable) column(role, name string) (*ModelColumn, error) {
	var names []string
	for i := range t.Columns {
		if t.Columns[i].Name == name {
			return &t.Columns[i], nil
		}
		names = append(names, t.Columns[i].Name)
	}
	return nil, &stats.ArgumentError{Argument: role, Value: strconv.Quote(name), Requirement: "must be a column of the table: " + list(names)}
}

// modelBound is what a number must be: squares of numbers that large are still finite.
const modelBound = "must be a number from -1e100 to 1e100"

// number reads a number within the bound.
func (c *ModelColumn) number(row int) (float64, error) {
	if c.Numbers != nil {
		if v := c.Numbers[row]; !math.IsNaN(v) && math.Abs(v) <= 1e100 {
			return v, nil
		}
		return 0, c.refuse(row, strconv.FormatFloat(c.Numbers[row], 'g', -1, 64), modelBound)
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(c.Words[row]), 64)
	if err != nil || math.IsNaN(v) || math.Abs(v) > 1e100 {
		return 0, c.refuse(row, strconv.Quote(c.Words[row]), modelBound)
	}
	return v, nil
}

// count reads a whole number from 0 on.
func (c *ModelColumn) count(row int) (int64, error) {
	v, err := c.number(row)
	if err != nil || v != math.Trunc(v) || v < 0 || v > stats.MaxCount {
		return 0, c.refuse(row, c.typed(row), fmt.Sprintf("must be a whole number from 0 to %d", int64(stats.MaxCount)))
	}
	return int64(v), nil
}

// typed is what stands in a row, as it stands there.
func (c *ModelColumn) typed(row int) string {
	if c.Numbers != nil {
		return strconv.FormatFloat(c.Numbers[row], 'g', -1, 64)
	}
	if text := strings.TrimSpace(c.Words[row]); text != "" {
		return strconv.Quote(text)
	}
	return "nothing"
}

// word reads a level.
func (c *ModelColumn) word(row int) string {
	if c.Words != nil {
		return c.Words[row]
	}
	return strconv.FormatFloat(c.Numbers[row], 'g', -1, 64)
}

// refuse names the row as a person counts, from 1.
func (c *ModelColumn) refuse(row int, value, requirement string) error {
	return &ModelCellError{Column: c.Name, Row: row, ArgumentError: stats.ArgumentError{
		Argument: fmt.Sprintf("%s of row %d", c.Name, row+1), Value: value, Requirement: requirement,
	}}
}

// readResponse gives the rows that take part.
func (in *modelInput) readResponse(t ModelTable, o *ModelOptions) (rows []int, err error) {
	failures, err := t.column("failures", o.Failures)
	if err != nil {
		return nil, err
	}
	var size *ModelColumn
	in.data.Family = regression.Binomial
	switch {
	case o.Family == PoissonModel:
		in.data.Family = regression.Poisson
		if o.Exposure != "" {
			size, err = t.column("exposure", o.Exposure)
		}
	case o.Attempts != "":
		size, err = t.column("attempts", o.Attempts)
	}
	if err != nil {
		return nil, err
	}
	for row := range failures.rows() {
		events, err := failures.count(row)
		if err != nil {
			return nil, err
		}
		amount, err := in.amount(size, row)
		if err != nil {
			return nil, err
		}
		if in.data.Family == regression.Binomial && float64(events) > amount {
			return nil, failures.refuse(row, strconv.FormatInt(events, 10), fmt.Sprintf("must be at most the row's attempts, %g", amount))
		}
		if amount == 0 && events > 0 {
			return nil, failures.refuse(row, strconv.FormatInt(events, 10), "must be 0 where the exposure is 0")
		}
		if amount == 0 {
			in.leftOut++
			continue
		}
		rows = append(rows, row)
		in.data.Events, in.size = append(in.data.Events, events), append(in.size, amount)
	}
	return rows, in.enough()
}

// amount reads a row's attempts or exposure.
func (in *modelInput) amount(c *ModelColumn, row int) (float64, error) {
	switch {
	case c == nil && in.data.Family == regression.Binomial:
		in.data.Trials = append(in.data.Trials, 1)
		return 1, nil
	case c == nil:
		in.data.Exposure = append(in.data.Exposure, 1)
		return 1, nil
	case in.data.Family == regression.Binomial:
		n, err := c.count(row)
		if err == nil && n > 0 {
			in.data.Trials = append(in.data.Trials, n)
		}
		return float64(n), err
	}
	v, err := c.number(row)
	if err == nil && (v < 0 || v > 1e15 || v > 0 && v < 1e-15) {
		err = c.refuse(row, strconv.FormatFloat(v, 'g', -1, 64), "must be 0 or lie between 1e-15 and 1e15")
	}
	if err == nil && v > 0 {
		in.data.Exposure = append(in.data.Exposure, v)
	}
	return v, err
}

// enough says what a model cannot do without.
func (in *modelInput) enough() error {
	events, size := int64(0), 0.0
	for i, e := range in.data.Events {
		events += e
		size += in.size[i]
	}
	switch {
	case len(in.data.Events) == 0:
		return &stats.ArgumentError{Argument: "rows", Value: "0", Requirement: "must have at least one with attempts or exposure"}
	case events == 0:
		return &stats.ArgumentError{Argument: "failures", Value: "0 in every row", Requirement: "at least one is needed: without any there is nothing to explain; ask for the rate and its upper limit instead"}
	case in.data.Family == regression.Binomial && float64(events) == size:
		return &stats.ArgumentError{Argument: "failures", Value: "every attempt", Requirement: "at least one must have gone well: otherwise there is nothing to explain; ask for the rate and its lower limit instead"}
	}
	return nil
}

func (in *modelInput) readTerm(t ModelTable, o *ModelTerm, rows []int) (regression.Term, error) {
	term := regression.Term{Name: o.Column}
	c, err := t.column("term", o.Column)
	if err != nil {
		return term, err
	}
	if o.Covariate {
		if o.Per == 0 {
			o.Per = 1
		}
		for _, row := range rows {
			v, err := c.number(row)
			if err != nil {
				return term, err
			}
			term.Values = append(term.Values, v)
		}
		if slices.Min(term.Values) == slices.Max(term.Values) {
			return term, &stats.ArgumentError{Argument: o.Column, Value: fmt.Sprintf("%g in every row", term.Values[0]), Requirement: "a covariate must take at least two values"}
		}
		return term, checkModelAt(o)
	}
	amounts := map[string]float64{}
	for i, row := range rows {
		amounts[c.word(row)] += in.size[i]
	}
	if err := in.levels(&term, o, amounts); err != nil {
		return term, err
	}
	for _, row := range rows {
		code, _ := slices.BinarySearch(term.Levels, c.word(row))
		term.Codes = append(term.Codes, code)
	}
	in.findEmpty(c, amounts)
	return term, nil
}

func checkModelAt(o *ModelTerm) error {
	for _, v := range o.At {
		if math.IsNaN(v) || math.Abs(v) > 1e100 {
			return &stats.ArgumentError{Argument: "at of " + o.Column, Value: strconv.FormatFloat(v, 'g', -1, 64), Requirement: modelBound}
		}
	}
	return nil
}

// levels sorts the levels and chooses the reference.
func (in *modelInput) levels(term *regression.Term, o *ModelTerm, amounts map[string]float64) error {
	for level := range amounts {
		term.Levels = append(term.Levels, level)
	}
	slices.Sort(term.Levels)
	if len(term.Levels) < 2 {
		return &stats.ArgumentError{Argument: o.Column, Value: strconv.Quote(term.Levels[0]) + " in every row that counts", Requirement: "a factor needs at least two levels to compare"}
	}
	for k, level := range term.Levels {
		if amounts[level] > amounts[term.Levels[term.Reference]] {
			term.Reference = k
		}
	}
	if o.Reference == "" {
		return nil
	}
	k, found := slices.BinarySearch(term.Levels, o.Reference)
	if !found {
		return &stats.ArgumentError{Argument: "reference of " + o.Column, Value: strconv.Quote(o.Reference), Requirement: "must be a level with attempts or exposure: " + list(term.Levels)}
	}
	term.Reference = k
	return nil
}

// findEmpty names the levels that occur only in rows that were left out.
func (in *modelInput) findEmpty(c *ModelColumn, amounts map[string]float64) {
	if in.leftOut == 0 {
		return
	}
	for row := range c.rows() {
		name := c.Name + " " + modelLevel(c.word(row))
		if _, counts := amounts[c.word(row)]; !counts && !slices.Contains(in.emptyLevels, name) {
			in.emptyLevels = append(in.emptyLevels, name)
		}
	}
}

func (in *modelInput) readCluster(t ModelTable, name string, rows []int) error {
	if name == "" {
		return nil
	}
	c, err := t.column("cluster", name)
	if err != nil {
		return err
	}
	number := map[string]int{}
	for _, row := range rows {
		word := c.word(row)
		n, known := number[word]
		if word == "" || !known {
			n = in.clusters
			in.clusters++
			number[word] = n
		}
		if word == "" {
			in.alone++
		}
		in.cluster = append(in.cluster, n)
	}
	return nil
}

// modelLevel shows a level that has no name.
func modelLevel(level string) string {
	if level == "" {
		return "(none)"
	}
	return level
}
