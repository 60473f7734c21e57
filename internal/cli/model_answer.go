package cli

import (
	"fmt"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	"jointledger/internal/stats"
)

// modelRow is a level against the reference, or a step of a covariate, or the
// intercept, which has no term.
type modelRow struct {
	term *analysis.ModelTermAnswer
	analysis.ModelCoefficient
}

// interceptName is what the intercept is called among the terms.
const interceptName = "(intercept)"

// modelRows are the coefficients of the terms and the intercept after them.
func modelRows(m *analysis.ModelAnswer) []modelRow {
	var rows []modelRow
	for i := range m.Terms {
		for _, c := range m.Terms[i].Coefficients {
			rows = append(rows, modelRow{&m.Terms[i], c})
		}
	}
	if m.Intercept != nil {
		rows = append(rows, modelRow{nil, *m.Intercept})
	}
	return rows
}

func (r modelRow) name() string {
	if r.term == nil {
		return interceptName
	}
	return r.term.Column
}

func (r modelRow) isFactor() bool    { return r.term != nil && !r.term.Covariate }
func (r modelRow) isCovariate() bool { return r.term != nil && r.term.Covariate }

// interval is the one a person goes by: with clusters the one that allows for them,
// else the profile's where there is one.
func (r modelRow) interval() *stats.Interval {
	switch {
	case r.Robust != nil:
		return r.Robust
	case r.Profile != nil:
		return r.Profile
	}
	return r.Wald
}

func (r modelRow) step() string {
	switch {
	case r.term == nil && r.Estimate == nil:
		return "-"
	case r.term == nil:
		return "logarithm " + threeDigits(*r.Estimate)
	case r.term.Covariate:
		return "for " + threeDigits(r.term.Per) + " more"
	}
	return shownName(r.Level) + " against " + shownName(r.term.Reference)
}

func modelColumns(ratio, interval string) []output.Column[modelRow] { //nolint:funlen // a list of columns, one a line
	type row = modelRow
	number := func(name string, value func(row) *float64) output.Column[row] {
		return output.Column[row]{Name: name, Value: func(r row) any { return pointed(value(r)) }}
	}
	limits := func(name string, of func(row) *stats.Interval) []output.Column[row] {
		return []output.Column[row]{
			number(name+"_lower", func(r row) *float64 {
				if of(r) == nil {
					return nil
				}
				return &of(r).Lower
			}),
			number(name+"_upper", func(r row) *float64 {
				if of(r) == nil {
					return nil
				}
				return &of(r).Upper
			}),
		}
	}
	columns := []output.Column[row]{
		{Name: "term", Heading: "TERM", Value: func(r row) any { return r.name() }},
		{Heading: "STEP", Text: modelRow.step},
		{Name: "covariate", Value: func(r row) any { return r.isCovariate() }},
		{Name: "level", Value: func(r row) any {
			if !r.isFactor() {
				return nil
			}
			return r.Level
		}},
		{Name: "reference", Value: func(r row) any {
			if !r.isFactor() {
				return nil
			}
			return r.term.Reference
		}},
		{Name: "per", Value: func(r row) any {
			if !r.isCovariate() {
				return nil
			}
			return r.term.Per
		}},
		number("estimate", func(r row) *float64 { return r.Estimate }),
		number("standard_error", func(r row) *float64 { return r.StandardError }),
		number("robust_standard_error", func(r row) *float64 { return r.RobustStandardError }),
		{Name: "ratio", Heading: strings.ToUpper(ratio), Value: func(r row) any { return pointed(r.Ratio) }, Text: func(r row) string { return ratioOrDash(r.Ratio) }},
		{Heading: interval, Text: func(r row) string {
			if i := r.interval(); i != nil {
				return ratioText(i.Lower) + " to " + ratioText(i.Upper)
			}
			return "-"
		}},
	}
	columns = append(columns, limits("wald", func(r row) *stats.Interval { return r.Wald })...)
	columns = append(columns, limits("profile", func(r row) *stats.Interval { return r.Profile })...)
	columns = append(columns, limits("robust", func(r row) *stats.Interval { return r.Robust })...)
	return append(columns,
		number("wald_z", func(r row) *float64 { return r.WaldZ }),
		number("wald_p_value", func(r row) *float64 { return r.WaldP }),
		number("p_value", func(r row) *float64 { return r.PValue }),
		output.Column[row]{Name: "p_adjusted", Heading: "ADJUSTED p", Value: func(r row) any { return pointed(r.PAdjusted) }, Text: func(r row) string {
			if r.PAdjusted == nil {
				return "-"
			}
			return pText(*r.PAdjusted)
		}},
		number("robust_p_value", func(r row) *float64 { return r.RobustP }),
		number("design_effect", func(r row) *float64 { return r.DesignEffect }),
		output.Column[row]{Name: "note", Value: func(r row) any { return text(r.Note) }},
	)
}

// modelNotes are the names of the notes, besides those of every analysis.
var modelNotes = []string{"headline", "ratio_name", "confidence", "rows", "rows_left_out", "clusters", "failures", "size", "fit", "penalised", "penalty_reason", "tests", "rates"}

func (a *app) tellModel(m analysis.ModelAnswer, confidence float64) error {
	confidence = orDefault(confidence, 0.95)
	words := analysisWords{headline: []string{m.Headline}, method: m.Method, assumption: m.Assumption, cautions: m.Cautions}
	if err := a.lead(words.headline); err != nil {
		return err
	}
	interval := percentText(confidence) + " INTERVAL"
	if m.Clusters > 1 {
		interval += " BY CLUSTER"
	}
	w, err := output.New(a.config(), "coefficients", modelColumns(m.RatioName, interval))
	if err != nil {
		return err
	}
	for _, r := range modelRows(&m) {
		if err := w.Row(r); err != nil {
			return err
		}
	}
	return w.Close(append(modelNotesOf(m, confidence, a.headlineNote(words)), words.closing()...)...)
}

func modelNotesOf(m analysis.ModelAnswer, confidence float64, headline output.Note) []output.Note {
	fit := m.Fit
	counts := fmt.Sprintf("fitted to %s: %d failures of %s", counted(m.Rows, "row"), m.Failures, threeDigitsWhole(m.Size))
	if m.Clusters > 0 {
		counts += fmt.Sprintf(", in %s", counted(m.Clusters, "cluster"))
	}
	deviance := []string{fmt.Sprintf("deviance %s on %d d.f., %s on %d without the terms; AIC %s", threeDigits(fit.Deviance), fit.DegreesOfFreedom, threeDigits(fit.NullDeviance), fit.NullDegreesOfFreedom, threeDigits(fit.AIC))}
	if fit.Dispersion != nil {
		deviance[0] += "; Pearson's dispersion " + threeDigits(*fit.Dispersion)
	}
	if fit.Note != "" {
		deviance = append(deviance, fit.Note)
	}
	return []output.Note{
		headline,
		{Key: "ratio_name", Value: m.RatioName}, {Key: "confidence", Value: confidence},
		{Key: "rows", Value: m.Rows, Text: []string{counts}}, {Key: "rows_left_out", Value: m.RowsLeftOut}, {Key: "clusters", Value: m.Clusters},
		{Key: "failures", Value: m.Failures}, {Key: "size", Value: m.Size},
		{Key: "fit", Value: output.Object{
			{Key: "log_likelihood", Value: fit.LogLikelihood}, {Key: "aic", Value: fit.AIC},
			{Key: "deviance", Value: fit.Deviance}, {Key: "degrees_of_freedom", Value: fit.DegreesOfFreedom},
			{Key: "null_deviance", Value: fit.NullDeviance}, {Key: "null_degrees_of_freedom", Value: fit.NullDegreesOfFreedom},
			{Key: "dispersion", Value: pointed(fit.Dispersion)}, {Key: "dispersion_used", Value: fit.DispersionUsed},
			{Key: "note", Value: text(fit.Note)},
		}, Text: deviance},
		{Key: "penalised", Value: m.Penalised}, {Key: "penalty_reason", Value: text(m.PenaltyReason)},
		modelTests(m), modelRates(m),
	}
}

// threeDigitsWhole writes a size: whole numbers in full.
func threeDigitsWhole(v float64) string {
	if v == float64(int64(v)) {
		return fmt.Sprintf("%d", int64(v))
	}
	return threeDigits(v)
}

// modelTests are the tests of dropping each term.
func modelTests(m analysis.ModelAnswer) output.Note {
	n := output.Note{Key: "tests"}
	objects := []output.Object{}
	for _, t := range m.Terms {
		o := output.Object{{Key: "term", Value: t.Column}}
		var said []string
		for _, one := range []struct {
			prefix, words, statistic string
			test                     *analysis.ModelTest
		}{{"", "likelihood-ratio", "chi-square", t.Test}, {"robust_", "by cluster", "F", t.RobustTest}} {
			if one.test == nil {
				o = append(o, output.Member{Key: one.prefix + "statistic"}, output.Member{Key: one.prefix + "degrees_of_freedom"}, output.Member{Key: one.prefix + "p_value"})
				continue
			}
			o = append(o, output.Member{Key: one.prefix + "statistic", Value: one.test.Statistic},
				output.Member{Key: one.prefix + "degrees_of_freedom", Value: one.test.DegreesOfFreedom}, output.Member{Key: one.prefix + "p_value", Value: one.test.PValue})
			said = append(said, fmt.Sprintf("%s %s %s on %d d.f., p %s", one.words, one.statistic, threeDigits(one.test.Statistic), one.test.DegreesOfFreedom, pText(one.test.PValue)))
		}
		objects = append(objects, o)
		if len(said) > 0 {
			n.Text = append(n.Text, "test of "+t.Column+": "+strings.Join(said, "; "))
		}
	}
	n.Value = objects
	return n
}

// mostRateLines is how many predicted rates of a term a person is shown.
const mostRateLines = 12

// modelRates are the rates predicted at each level or value.
func modelRates(m analysis.ModelAnswer) output.Note {
	n := output.Note{Key: "rates"}
	objects := []output.Object{}
	for _, t := range m.Terms {
		for i, r := range t.Rates {
			o := output.Object{{Key: "term", Value: t.Column}, {Key: "level", Value: r.Level}, {Key: "value", Value: nil}, {Key: "failures", Value: r.Failures}, {Key: "size", Value: r.Size}}
			name, record := t.Column+" "+shownName(r.Level), fmt.Sprintf("; on record %d of %s", r.Failures, threeDigitsWhole(r.Size))
			if t.Covariate {
				o = output.Object{{Key: "term", Value: t.Column}, {Key: "level", Value: nil}, {Key: "value", Value: r.Value}, {Key: "failures", Value: nil}, {Key: "size", Value: nil}}
				name, record = t.Column+" "+threeDigits(r.Value), ""
			}
			o = append(o, output.Member{Key: "crude_per_1000", Value: pointed(r.CrudePer1000)}, output.Member{Key: "per_1000", Value: pointed(r.Per1000)})
			o = append(o, limitMembers("", r.IntervalPer1000)...)
			objects = append(objects, append(o, limitMembers("robust_", r.RobustIntervalPer1000)...))
			switch {
			case i == mostRateLines:
				n.Text = append(n.Text, fmt.Sprintf("and %d more of %s; --output json has all", len(t.Rates)-i, t.Column))
			case i < mostRateLines && r.Per1000 != nil:
				n.Text = append(n.Text, "predicted for "+name+": "+threeDigits(*r.Per1000)+" per 1000"+rateLimits(r)+record)
			}
		}
	}
	n.Value = objects
	return n
}

func rateLimits(r analysis.ModelRate) string {
	limits := r.RobustIntervalPer1000
	if limits == nil {
		limits = r.IntervalPer1000
	}
	if limits == nil {
		return ""
	}
	return " (" + threeDigits(limits.Lower) + " to " + threeDigits(limits.Upper) + ")"
}

func limitMembers(prefix string, i *stats.Interval) output.Object {
	o := output.Object{{Key: prefix + "lower_per_1000"}, {Key: prefix + "upper_per_1000"}}
	if i != nil {
		o[0].Value, o[1].Value = i.Lower, i.Upper
	}
	return o
}
