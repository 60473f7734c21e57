package regression

import (
	"fmt"
	"math"
	"strconv"

	"jointledger/internal/stats"
)

// maxColumns bounds the width of a model: the matrix of that many columns takes
// 18 MB and its search for columns that depend on one another some seconds.
const maxColumns = 1500

// Term is one explanatory variable: a factor when it has Levels, otherwise a
// covariate.
type Term struct {
	Name string
	// Levels of a factor and the index of the one the others are compared with.
	Levels    []string
	Reference int
	// Codes has for each row the index of its level.
	Codes []int
	// Values has for each row the covariate, in its own unit.
	Values []float64
}

// Factor says whether the term has levels.
func (t *Term) Factor() bool { return t.Levels != nil }

// Data is a table of rows.
type Data struct {
	Family Family
	// Events counted in each row.
	Events []int64
	// Trials of each row, for [Binomial]; nil when every row is one trial.
	Trials []int64
	// Exposure of each row, for [Poisson]; nil when every row has the same.
	Exposure []float64
	Terms    []Term
}

// rows are the data in the form the fit takes: those with a size above 0.
type rows struct {
	events, size []float64
	// index of each in the data as given.
	index []int
}

func (d *Data) check() (rows, error) {
	var r rows
	if d.Family != Binomial && d.Family != Poisson {
		return r, &stats.ArgumentError{Argument: "family", Value: d.Family.String(), Requirement: "must be binomial or poisson"}
	}
	n := len(d.Events)
	if err := length("trials", len(d.Trials), n, d.Trials == nil || d.Family == Poisson); err != nil {
		return r, err
	}
	if err := length("exposure", len(d.Exposure), n, d.Exposure == nil || d.Family == Binomial); err != nil {
		return r, err
	}
	r = rows{make([]float64, 0, n), make([]float64, 0, n), make([]int, 0, n)}
	for i, events := range d.Events {
		size, err := d.size(i)
		if err != nil {
			return r, err
		}
		if err := d.checkEvents(i, events, size); err != nil {
			return r, err
		}
		if size > 0 {
			r.events, r.size, r.index = append(r.events, float64(events)), append(r.size, size), append(r.index, i)
		}
	}
	if len(r.index) == 0 {
		return r, &stats.ArgumentError{Argument: "rows", Value: "0", Requirement: "must have at least one with trials or exposure"}
	}
	return r, d.checkTerms(n)
}

func (d *Data) size(i int) (float64, error) {
	switch {
	case d.Family == Binomial && d.Trials != nil:
		t := d.Trials[i]
		if t < 0 || t > stats.MaxCount {
			return 0, rowError("trials", i, strconv.FormatInt(t, 10), "must lie between 0 and 2^40")
		}
		return float64(t), nil
	case d.Family == Poisson && d.Exposure != nil:
		t := d.Exposure[i]
		if !(t >= 0) || t > 1e15 || t > 0 && t < 1e-15 {
			return 0, rowError("exposure", i, strconv.FormatFloat(t, 'g', -1, 64), "must be 0 or lie between 1e-15 and 1e15")
		}
		return t, nil
	}
	return 1, nil
}

func (d *Data) checkEvents(i int, events int64, size float64) error {
	text := strconv.FormatInt(events, 10)
	switch {
	case events < 0 || events > stats.MaxCount:
		return rowError("events", i, text, "must lie between 0 and 2^40")
	case d.Family == Binomial && float64(events) > size:
		return rowError("events", i, text, fmt.Sprintf("must be at most the row's trials, %g", size))
	case size == 0 && events > 0:
		return rowError("events", i, text, "must be 0 where the exposure is 0")
	}
	return nil
}

func (d *Data) checkTerms(n int) error {
	columns := 1
	for k := range d.Terms {
		t := &d.Terms[k]
		if !t.Factor() {
			columns++
			if err := length(t.Name, len(t.Values), n, false); err != nil {
				return err
			}
			for i, v := range t.Values {
				if math.IsNaN(v) || math.Abs(v) > 1e100 {
					return rowError(t.Name, i, strconv.FormatFloat(v, 'g', -1, 64), "must be a finite number")
				}
			}
			continue
		}
		columns += len(t.Levels) - 1
		if t.Reference < 0 || t.Reference >= len(t.Levels) {
			return &stats.ArgumentError{Argument: "reference of " + t.Name, Value: strconv.Itoa(t.Reference), Requirement: "must be the index of one of its levels"}
		}
		if err := length(t.Name, len(t.Codes), n, false); err != nil {
			return err
		}
		for i, c := range t.Codes {
			if c < 0 || c >= len(t.Levels) {
				return rowError(t.Name, i, strconv.Itoa(c), "must be the index of a level")
			}
		}
	}
	if columns > maxColumns {
		return &stats.ArgumentError{Argument: "columns", Value: strconv.Itoa(columns), Requirement: fmt.Sprintf("must be at most %d: take fewer levels together", maxColumns)}
	}
	return nil
}

func length(name string, got, want int, free bool) error {
	if free || got == want {
		return nil
	}
	return &stats.ArgumentError{Argument: "length of " + name, Value: strconv.Itoa(got), Requirement: fmt.Sprintf("must be the number of rows, %d", want)}
}

// rowError names the row as a person counts, from 1.
func rowError(name string, row int, value, requirement string) error {
	return &stats.ArgumentError{Argument: fmt.Sprintf("%s of row %d", name, row+1), Value: value, Requirement: requirement}
}
