package regression

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"jointledger/internal/stats"
)

// Penalty says when Firth's penalty is used.
type Penalty int

const (
	// WhenSeparated is the default: only where the likelihood has no maximum.
	WhenSeparated Penalty = iota
	// Always uses it in any case.
	Always
	// Never answers separation with a [*SeparationError].
	Never
)

// Options of a fit.
type Options struct {
	// Confidence of two-sided intervals, strictly between 0 and 1; 0.95 when 0.
	Confidence float64
	Penalty    Penalty
	// ScaleByDispersion widens every interval and softens every test by the
	// Pearson dispersion φ where it is above 1, with Student's t and F in the
	// place of the normal and χ² distributions (McCullagh and Nelder 1989,
	// section 4.5).
	ScaleByDispersion bool
}

// Column is one column of the model matrix.
type Column struct {
	// Term is the index of its term, −1 for the intercept; Level that of its
	// level, −1 for a covariate and the intercept.
	Term, Level int
	// Aliased says that the columns MadeOf, all before it, make the column up,
	// so that it has no coefficient of its own. MadeOf is empty when the column
	// is 0 in all rows.
	Aliased bool
	MadeOf  []int
	// Estimable is false when the coefficient means something only with that of
	// an aliased column taken as 0.
	Estimable bool
}

// Model is a fitted model.
type Model struct {
	Family  Family
	Columns []Column
	// Coefficients has one for each column: on the scale of the link, with the
	// model's own standard errors and Wald interval.
	Coefficients []Coefficient

	// Rows took part; LeftOut had no trials and no exposure.
	Rows, LeftOut int
	// Patterns is how many rows with distinct terms were told apart.
	Patterns int
	// Events and Size are the totals; Size is trials or exposure.
	Events, Size float64
	// Rank is the number of coefficients that were estimated.
	Rank int

	// LogLikelihood at the estimate, with the logarithms of the binomial
	// coefficients or of y!; AIC = 2·Rank − 2·LogLikelihood.
	LogLikelihood, AIC float64
	// Penalised says that Firth's penalty was used; PenalisedLogLikelihood has it
	// added. Separation is why, nil when it was asked for.
	Penalised              bool
	PenalisedLogLikelihood float64
	Separation             *Separation
	// Deviance and NullDeviance, of the model with only an intercept, are by the
	// rows as given: rows of one trial each have another deviance than the same
	// trials in groups.
	Deviance, NullDeviance float64
	// DegreesOfFreedom left in the rows, and those of the null model.
	DegreesOfFreedom, NullDegreesOfFreedom int
	// Pearson is Pearson's χ²; Dispersion is φ = Pearson / DegreesOfFreedom, NaN
	// without degrees of freedom.
	Pearson, Dispersion float64

	options      Options
	terms        []Term
	shift, scale []float64
	rows         rows
	objective    *objective
	b            []float64 // in the order of the design, with the sink
	place        []int     // of each column in the design, or −1
	factor       *cholesky // of the information at b
	top          float64   // the objective's value at b
	spare        *objective
}

// Coefficient is an estimate on the scale of the link. It is all 0 for an
// aliased column.
type Coefficient struct {
	Estimate, StandardError float64
	// Statistic is Wald's: Estimate / StandardError. PValue is two-sided.
	Statistic, PValue float64
	Wald              stats.Interval
}

// SeparationError says that there is no maximum and no penalty was allowed.
type SeparationError struct{ Separation Separation }

// Error gives the sentence.
func (e *SeparationError) Error() string {
	return "the data separate: the likelihood has no maximum at finite coefficients"
}

// ErrNoConvergence says that a maximum may exist, but was not reached.
var ErrNoConvergence = errors.New("the fit did not settle on a maximum: covariates may be all but dependent, or counts too extreme")

// Fit fits the model. It returns a [*stats.ArgumentError] for data that are out
// of range, when no event happened or nothing else did, a [*SeparationError], or
// [ErrNoConvergence].
func Fit(d Data, o Options) (*Model, error) {
	if o.Confidence == 0 {
		o.Confidence = 0.95
	}
	if !(o.Confidence > 0 && o.Confidence < 1) {
		return nil, &stats.ArgumentError{Argument: "confidence", Value: strconv.FormatFloat(o.Confidence, 'g', -1, 64), Requirement: "must lie between 0 and 1, both excluded"}
	}
	r, err := d.check()
	if err != nil {
		return nil, err
	}
	m := &Model{Family: d.Family, options: o, rows: rows{events: r.events, size: r.size, index: r.index}, Rows: len(r.index), LeftOut: len(d.Events) - len(r.index)}
	for i, e := range r.events {
		m.Events += e
		m.Size += r.size[i]
	}
	if side := m.Family.extreme(m.Events, m.Size); side != 0 {
		return nil, nothingToExplain(side, m.Events)
	}
	for _, t := range d.Terms {
		m.terms = append(m.terms, Term{Name: t.Name, Levels: t.Levels, Reference: t.Reference})
	}
	p := gather(&d, r)
	m.shift, m.scale = p.standardise()
	m.Patterns = p.len()
	use, made := aliased(p, m.terms)
	m.describe(use, made)
	design, place := newDesign(p, m.terms, use)
	m.place, m.Rank = place, design.width
	if err := m.fit(p, design); err != nil {
		return nil, err
	}
	m.measure()
	return m, m.estimate()
}

func nothingToExplain(side, events float64) error {
	if side < 0 {
		return &stats.ArgumentError{Argument: "events", Value: "0 in every row", Requirement: "at least one must have happened: a model has nothing to explain"}
	}
	return &stats.ArgumentError{Argument: "events", Value: fmt.Sprintf("%g", events), Requirement: "at least one trial must have gone without: a model has nothing to explain"}
}

// describe fills the columns.
func (m *Model) describe(use []bool, made map[int]map[int]float64) {
	m.Columns = append(m.Columns, Column{Term: -1, Level: -1})
	for k := range m.terms {
		if !m.terms[k].Factor() {
			m.Columns = append(m.Columns, Column{Term: k, Level: -1})
			continue
		}
		for level := range m.terms[k].Levels {
			if level != m.terms[k].Reference {
				m.Columns = append(m.Columns, Column{Term: k, Level: level})
			}
		}
	}
	for c := range m.Columns {
		m.Columns[c].Aliased, m.Columns[c].Estimable = !use[c], use[c]
	}
	for c := range m.Columns {
		for other := range c {
			if made[c][other] != 0 {
				m.Columns[c].MadeOf = append(m.Columns[c].MadeOf, other)
				m.Columns[other].Estimable = false
			}
		}
	}
}

// fit finds the maximum, with the penalty where it is due.
func (m *Model) fit(p *patterns, design *design) error {
	penalised := m.options.Penalty == Always
	if levels := separatedLevels(m.Family, p, m.terms); len(levels) > 0 {
		m.Separation = &Separation{Levels: levels}
	}
	if !penalised && m.Separation == nil {
		switch err := m.climb(design, false, true); {
		case err == nil:
			return m.settle()
		case errors.Is(err, errDiverging):
			if err := m.investigate(design); err != nil {
				return err
			}
		default:
			return ErrNoConvergence
		}
		if m.Separation == nil {
			if m.climb(design, false, false) != nil {
				return ErrNoConvergence
			}
			return m.settle()
		}
	}
	if m.options.Penalty == Never {
		return &SeparationError{*m.Separation}
	}
	if m.climb(design, true, false) != nil {
		return ErrNoConvergence
	}
	m.Penalised = true
	return m.settle()
}

// investigate finds out whether a fit that runs away has cause to.
func (m *Model) investigate(design *design) error {
	along, v := design.direction(m.Family)
	switch v {
	case undecided:
		return ErrNoConvergence
	case overlap:
		return nil
	default: // the others go on below
	}
	m.Separation = &Separation{}
	largest := 0.0
	for _, v := range along {
		largest = math.Max(largest, math.Abs(v))
	}
	for c, at := range m.place {
		if at >= 0 && c > 0 && math.Abs(along[at]) > 1e-6*largest {
			m.Separation.Columns = append(m.Separation.Columns, c)
		}
	}
	return nil
}

// climb starts from the model with only an intercept.
func (m *Model) climb(design *design, penalised, suspicious bool) error {
	m.objective = newObjective(m.Family, design, penalised)
	m.b = make([]float64, design.stride())
	rate := m.Events / m.Size
	m.b[design.intercept], _ = m.Family.link(rate)
	_, err := m.objective.maximise(m.b, constraint{}, suspicious)
	return err
}

// settle evaluates the model at the maximum and takes the factor of its
// information there.
func (m *Model) settle() error {
	o := m.objective
	m.factor = newCholesky(o.design.width, o.design.head)
	if o.firth {
		o.evaluate(m.b)
		// Without the penalty's part: standard errors are by the information.
		copy(m.factor.l, o.information.l)
		m.top = o.value
		return nil
	}
	o.evaluate(m.b)
	m.top = o.value
	if !o.factorise(m.factor) {
		return ErrNoConvergence
	}
	return nil
}
