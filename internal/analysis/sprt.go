package analysis

import (
	"jointledger/internal/sequential"
	"jointledger/internal/stats"
)

// Risks of a sequential test when none are asked for: the customary ones of
// sampling inspection, common practice, no source.
const (
	sprtAlpha = 0.05
	sprtBeta  = 0.10
)

// SPRTOptions says between which rates a lot on trial is to be decided.
type SPRTOptions struct {
	// PerExposure counts events per unit of exposure, in place of failures per
	// attempt; ExposureUnit names the unit, "unit of exposure" when empty.
	PerExposure  bool
	ExposureUnit string
	// InControl is the rate that shall be accepted, OutOfControl the one that shall
	// be refused: failures per attempt or events per unit.
	InControl, OutOfControl float64
	// Alpha is the risk of refusing at InControl, 0.05 when 0; Beta that of accepting
	// at OutOfControl, 0.10 when 0.
	Alpha, Beta float64
}

// SPRTAnswer is what Wald's sequential test makes of the rows.
type SPRTAnswer struct {
	Test         sequential.Test
	ExposureUnit string
	// Steps go up to the verdict; Unused is how many rows came after it.
	Steps  []SPRTStep
	Unused int
	// Verdict is continue while neither line is reached; At is the row that brought
	// another.
	Verdict sequential.Verdict
	At      string
	// ExposureInControl and ExposureOutOfControl are the attempts, or the exposure, to
	// a verdict on average at either rate (Wald's approximation).
	ExposureInControl, ExposureOutOfControl float64
	// Headline is the verdict in words, Plan what the test buys.
	Headline, Plan     string
	Method, Assumption string
	Cautions           []string
}

// SPRTStep is where the test stood after a row.
type SPRTStep struct {
	Label string
	// Failures in Attempts or Exposure so far.
	Failures, Attempts int64
	Exposure           float64
	// AcceptLine is the failures at or below which it accepts, RejectLine those at or
	// above which it refuses; below 0 nothing can be accepted yet.
	AcceptLine, RejectLine float64
	Verdict                sequential.Verdict
}

// SPRT takes the rows in their order through a sequential probability ratio test
// (A. Wald, Sequential Analysis, 1947), up to its verdict. No rows are no error.
// Rows without attempts or exposure change nothing. The error is a
// *stats.ArgumentError that names the row, as for Trend, or the option.
func SPRT(rows []TrendRow, o SPRTOptions) (SPRTAnswer, error) {
	if o.ExposureUnit == "" {
		o.ExposureUnit = "unit of exposure"
	}
	if o.Alpha == 0 {
		o.Alpha = sprtAlpha
	}
	if o.Beta == 0 {
		o.Beta = sprtBeta
	}
	model := sequential.Bernoulli
	if o.PerExposure {
		model = sequential.Poisson
	}
	a := SPRTAnswer{ExposureUnit: o.ExposureUnit, Verdict: sequential.Continue}
	var err error
	if a.Test, err = sequential.NewTest(model, o.InControl, o.OutOfControl, o.Alpha, o.Beta); err != nil {
		return SPRTAnswer{}, err
	}
	if a.ExposureInControl, err = a.Test.AverageExposure(o.InControl); err != nil {
		return SPRTAnswer{}, err
	}
	if a.ExposureOutOfControl, err = a.Test.AverageExposure(o.OutOfControl); err != nil {
		return SPRTAnswer{}, err
	}
	empty, err := a.run(rows, o)
	if err != nil {
		return SPRTAnswer{}, err
	}
	a.describe(o, empty)
	return a, nil
}

// run adds the rows up until a line is reached, and names those that are empty.
func (a *SPRTAnswer) run(rows []TrendRow, o SPRTOptions) (empty []string, err error) {
	if err := trendOrder(rows); err != nil {
		return nil, err
	}
	t := TrendOptions{PerExposure: o.PerExposure, ExposureUnit: o.ExposureUnit}
	var sum SPRTStep
	for i, r := range rows {
		if err := t.checkRow(i, r); err != nil {
			return nil, err
		}
		if a.Verdict != sequential.Continue {
			a.Unused++
			continue
		}
		sum.Label = trendLabel(i, r)
		sum.Failures += r.Failures
		size := 0.0
		if o.PerExposure {
			sum.Exposure += r.Exposure
			size = sum.Exposure
		} else {
			sum.Attempts += r.Attempts
			size = float64(sum.Attempts)
		}
		if size > stats.MaxCount || sum.Failures > stats.MaxCount {
			return nil, &stats.ArgumentError{Argument: "the sum of the " + t.sizeName(), Value: trendNumber(size), Requirement: "must be at most 2^40"}
		}
		if t.size(r) == 0 {
			empty = append(empty, sum.Label)
		}
		if sum.AcceptLine, sum.RejectLine, err = a.Test.Lines(size); err != nil {
			return nil, err
		}
		if sum.Verdict, err = a.Test.Decide(sum.Failures, size); err != nil {
			return nil, err
		}
		a.Steps = append(a.Steps, sum)
		if a.Verdict = sum.Verdict; a.Verdict != sequential.Continue {
			a.At = sum.Label
		}
	}
	return empty, nil
}
