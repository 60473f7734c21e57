package analysis

import (
	"fmt"
	"math"

	"jointledger/internal/controlchart"
	"jointledger/internal/ledger"
	"jointledger/internal/stats"
)

// ChartKind is a control chart.
type ChartKind uint8

// Chart kinds.
const (
	ChartP ChartKind = iota + 1
	ChartNP
	ChartC
	ChartU
	ChartLaneyP
	ChartLaneyU
	ChartG
	ChartT
	ChartEWMA
)

// ChartKinds are the words of ChartKind.
var ChartKinds = ledger.NewWords[ChartKind]("chart",
	"p", "np", "c", "u", "laney-p", "laney-u", "g", "t", "ewma")

// TrendRow is one row of a history: a day, a week, a lot, a record.
type TrendRow struct {
	// Label names it to the reader.
	Label string
	// At is its place in time, such as a day number. All 0 takes the order as given;
	// otherwise each must be above the one before.
	At int64
	// Failures among Attempts, or events in an Exposure.
	Failures, Attempts int64
	// Exposure is used in place of Attempts when TrendOptions.PerExposure is set.
	Exposure float64
}

// TrendOptions says how a history is charted.
type TrendOptions struct {
	// Kind of chart; 0 to have it chosen, with the reason said.
	Kind ChartKind
	// PerExposure counts events per unit of exposure, in place of failures per
	// attempt; ExposureUnit names the unit, "unit of exposure" when empty.
	PerExposure  bool
	ExposureUnit string
	// Centre is a standard that was given: failures per attempt or events per unit;
	// nil to take it from the rows. Not for g and t charts.
	Centre *float64
	// Weight of the newest row in an EWMA; 0.2 when 0.
	Weight float64
}

// TrendAnswer is the answer to "did something change, and when?".
type TrendAnswer struct {
	Kind ChartKind
	// KindReason says why this chart.
	KindReason string
	// Unit of Centre, values and limits.
	Unit   string
	Centre float64
	// Dispersion is Laney's σz; nil on other charts.
	Dispersion *float64
	Points     []TrendPoint
	// Runs are the patterns that points make together; p, np, c, u and Laney's only.
	Runs []TrendRun
	// Change is where the rate most probably changed; nil when that cannot be said.
	Change *TrendChange
	// Failures, Attempts and Exposure are of the rows that were charted.
	Failures, Attempts int64
	Exposure           float64
	// Headline is the answer in a sentence or two.
	Headline string
	// Method says in words how the figures were made, Assumption what must hold for
	// them, Cautions what a reader must know before acting on them.
	Method, Assumption string
	Cautions           []string
}

// TrendPoint is one point of the chart.
type TrendPoint struct {
	Label string
	// Value in the answer's unit, and the limits; nil where there is none to cross.
	Value        float64
	Lower, Upper *float64
	// Beyond is −1 below the lower limit, +1 above the upper one, strictly, else 0.
	Beyond int
}

// TrendRun is a pattern of several points: what, complete at which, on which side.
type TrendRun struct {
	Rule, Label string
	Side        int
}

// TrendChange is where the rate most probably changed, by the cumulative sum.
type TrendChange struct {
	// LastBefore and FirstAfter are the labels of the rows on either side.
	LastBefore, FirstAfter string
	// Before and After are failures per 1,000 attempts, or events per unit.
	Before, After float64
	// PValue is the chance of so clear a change where there was none.
	PValue float64
	// BeyondChance is true for a p-value below 0.05.
	BeyondChance bool
	Sentence     string
}

// trendLevel is the p-value below which a change is called one.
const trendLevel = 0.05

// Trend charts the rows. Rows without attempts or exposure are left out and named.
// The error is a *stats.ArgumentError that names the row: no rows at all, counts out
// of range, failures beyond attempts, failures without attempts, rows out of order,
// or a chart that does not suit the rows.
func Trend(rows []TrendRow, o TrendOptions) (TrendAnswer, error) {
	if o.ExposureUnit == "" {
		o.ExposureUnit = "unit of exposure"
	}
	used, empty, err := trendRows(rows, o)
	if err != nil {
		return TrendAnswer{}, err
	}
	h := trendHistory{rows: used, options: o, empty: empty}
	for _, r := range used {
		h.samples = append(h.samples, controlchart.Sample{Count: r.Failures, Size: o.size(r)})
		h.failures += float64(r.Failures)
		h.size += o.size(r)
	}
	if err := h.measureDispersion(); err != nil {
		return TrendAnswer{}, err
	}
	a := TrendAnswer{Kind: o.Kind, KindReason: "It was asked for."}
	if a.Kind == 0 {
		a.Kind, a.KindReason = h.pick()
	}
	for _, r := range used {
		a.Failures += r.Failures
		if o.PerExposure {
			a.Exposure += r.Exposure
		} else {
			a.Attempts += r.Attempts
		}
	}
	if err := h.chart(&a); err != nil {
		return TrendAnswer{}, err
	}
	if err := h.change(&a); err != nil {
		return TrendAnswer{}, err
	}
	h.describe(&a)
	return a, nil
}

// trendHistory is the rows that are charted and what is known of them.
type trendHistory struct {
	rows    []TrendRow
	options TrendOptions
	empty   []string
	samples []controlchart.Sample
	// failures and size are the totals.
	failures, size float64
	// sigmaZ is Laney's; 1 when it cannot be had.
	sigmaZ float64
	// overDispersed says that sigmaZ is above 1 beyond chance.
	overDispersed bool
	// open is the attempts or exposure since the last failure, for g and t.
	open float64
}

func (o TrendOptions) size(r TrendRow) float64 {
	if o.PerExposure {
		return r.Exposure
	}
	return float64(r.Attempts)
}

func (o TrendOptions) sizeName() string {
	if o.PerExposure {
		return "exposure"
	}
	return "attempts"
}

// trendRows checks the rows and sets those aside that have nothing to say.
func trendRows(rows []TrendRow, o TrendOptions) (used []TrendRow, empty []string, err error) {
	if len(rows) == 0 {
		return nil, nil, &stats.ArgumentError{Argument: "rows", Value: "empty", Requirement: "must be at least one"}
	}
	if err := trendOrder(rows); err != nil {
		return nil, nil, err
	}
	for i, r := range rows {
		if err := o.checkRow(i, r); err != nil {
			return nil, nil, err
		}
		if o.size(r) == 0 {
			empty = append(empty, trendLabel(i, r))
			continue
		}
		r.Label = trendLabel(i, r)
		used = append(used, r)
	}
	if len(used) == 0 {
		return nil, nil, &stats.ArgumentError{Argument: o.sizeName(), Value: "0 in every row", Requirement: "must be above 0 in one at least"}
	}
	return used, empty, nil
}

func trendOrder(rows []TrendRow) error {
	placed := false
	for _, r := range rows {
		placed = placed || r.At != 0
	}
	for i := 1; placed && i < len(rows); i++ {
		if rows[i].At <= rows[i-1].At {
			return &stats.ArgumentError{Argument: "place in time of " + trendLabel(i, rows[i]), Value: fmt.Sprint(rows[i].At),
				Requirement: fmt.Sprintf("must be after that of %s, %d: rows are wanted in order, oldest first, each place once", trendLabel(i-1, rows[i-1]), rows[i-1].At)}
		}
	}
	return nil
}

// checkRow refuses a row that no history can hold.
func (o TrendOptions) checkRow(i int, r TrendRow) error {
	name := trendLabel(i, r)
	refuse := func(argument, value, requirement string) error {
		return &stats.ArgumentError{Argument: argument + " of " + name, Value: value, Requirement: requirement}
	}
	size := o.size(r)
	switch {
	case r.Failures < 0 || r.Failures > stats.MaxCount:
		return refuse("failures", fmt.Sprint(r.Failures), fmt.Sprintf("must be from 0 to %d", int64(stats.MaxCount)))
	case !(size >= 0) || size > stats.MaxCount:
		return refuse(o.sizeName(), fmt.Sprint(size), fmt.Sprintf("must be from 0 to %d", int64(stats.MaxCount)))
	case size == 0 && r.Failures > 0:
		return refuse(o.sizeName(), "0", fmt.Sprintf("must be above 0, since %d failed", r.Failures))
	case !o.PerExposure && r.Failures > r.Attempts:
		return refuse("failures", fmt.Sprint(r.Failures), fmt.Sprintf("must be at most its attempts, %d", r.Attempts))
	}
	return nil
}

func trendLabel(i int, r TrendRow) string {
	if r.Label == "" {
		return fmt.Sprintf("row %d", i+1)
	}
	return r.Label
}

// change estimates when the rate changed. Over-dispersion makes it less sure.
func (h *trendHistory) change(a *TrendAnswer) error {
	find := controlchart.ProportionStep
	if h.options.PerExposure {
		find = controlchart.RateStep
	}
	dispersion := 1.0
	if h.overDispersed {
		dispersion = h.sigmaZ
	}
	step, found, err := find(h.samples, dispersion)
	if err != nil || !found {
		return err
	}
	c := &TrendChange{
		LastBefore: h.rows[step.From-1].Label, FirstAfter: h.rows[step.From].Label,
		Before: step.Before, After: step.After, PValue: step.PValue, BeyondChance: step.PValue < trendLevel,
	}
	if !h.options.PerExposure {
		c.Before, c.After = 1000*c.Before, 1000*c.After
	}
	c.Sentence = h.changeSentence(c)
	a.Change = c
	return nil
}

func (h *trendHistory) changeSentence(c *TrendChange) string {
	if !c.BeyondChance {
		return fmt.Sprintf("No change beyond chance: the clearest one, between %s and %s, is what an unchanged rate shows as well (%s).", c.LastBefore, c.FirstAfter, trendP(c.PValue))
	}
	verb := "rose"
	if c.After < c.Before {
		verb = "fell"
	}
	return fmt.Sprintf("The rate %s from %s to %s, most probably between %s and %s (%s).",
		verb, trendNumber(c.Before), h.options.rate(trendNumber(c.After)), c.LastBefore, c.FirstAfter, trendP(c.PValue))
}

// rate puts the unit of a rate behind a number.
func (o TrendOptions) rate(number string) string {
	if o.PerExposure {
		return number + " per " + o.ExposureUnit
	}
	return number + " per 1,000 attempts"
}

// trendP writes a p-value.
func trendP(p float64) string {
	if p < 0.001 {
		return "p < 0.001"
	}
	return fmt.Sprintf("p = %.*f", max(2, int(math.Ceil(-math.Log10(p)))), p)
}
