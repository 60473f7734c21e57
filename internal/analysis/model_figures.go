package analysis

import (
	"math"
	"slices"
	"strings"

	"jointledger/internal/regression"
	"jointledger/internal/stats"
)

// modelMostEffort is the number of elementary operations up to which profile
// intervals are made: some seconds' work.
const modelMostEffort = 6e9

// modelFigures turns a fitted model into figures that a person reads.
type modelFigures struct {
	in       *modelInput
	m        *regression.Model
	o        ModelOptions
	robust   *regression.Robust // nil without clusters
	profiles bool
	// unreached counts the profile limits that the search did not reach.
	unreached int
	// untested are the terms without which the model did not settle.
	untested []string
	// oneSided are the columns on which the data separate.
	oneSided map[int]bool
}

func (f *modelFigures) answer() (ModelAnswer, error) {
	m := f.m
	f.findOneSided()
	a := ModelAnswer{
		RatioName: "odds ratio",
		Rows:      m.Rows, RowsLeftOut: f.in.leftOut, Clusters: f.in.clusters,
		Failures: int64(m.Events), Size: m.Size, Penalised: m.Penalised,
		Fit: ModelFit{
			LogLikelihood: m.LogLikelihood, AIC: m.AIC, Deviance: m.Deviance, NullDeviance: m.NullDeviance,
			DegreesOfFreedom: m.DegreesOfFreedom, NullDegreesOfFreedom: m.NullDegreesOfFreedom,
			Dispersion: modelFinite(m.Dispersion), DispersionUsed: f.o.UseDispersion && m.DegreesOfFreedom > 0,
		},
	}
	if f.o.Family == PoissonModel {
		a.RatioName = "rate ratio"
	}
	for k := range f.o.Terms {
		term, err := f.term(k)
		if err != nil {
			return ModelAnswer{}, err
		}
		a.Terms = append(a.Terms, term)
	}
	a.Intercept = f.intercept()
	a.Fit.Note = f.fitNote()
	return a, nil
}

func (f *modelFigures) term(k int) (ModelTermAnswer, error) {
	o, data := f.o.Terms[k], &f.in.data.Terms[k]
	a := ModelTermAnswer{Column: o.Column, Covariate: o.Covariate}
	if o.Covariate {
		a.Per = o.Per
	} else {
		a.Reference = data.Levels[data.Reference]
	}
	test, ok, err := f.m.DropTerm(k)
	switch {
	case err != nil:
		f.untested = append(f.untested, o.Column)
	case ok:
		a.Test = modelTest(test)
	}
	if f.robust != nil {
		for c, column := range f.m.Columns {
			a.oneSided = a.oneSided || column.Term == k && f.oneSided[c]
		}
		if test, ok := f.m.RobustTerm(f.robust, k); ok && !a.oneSided {
			a.RobustTest = modelTest(test)
		}
	}
	for c, column := range f.m.Columns {
		if column.Term == k {
			a.Coefficients = append(a.Coefficients, f.coefficient(c, &a))
		}
	}
	if err := adjustModelP(a.Coefficients); err != nil {
		return a, err
	}
	if o.Covariate {
		a.Rates = f.valueRates(k)
	} else {
		a.Rates = f.levelRates(k)
	}
	return a, nil
}

func modelTest(t regression.Test) *ModelTest {
	if modelFinite(t.Statistic) == nil || modelFinite(t.PValue) == nil {
		return nil
	}
	return &ModelTest{t.Statistic, t.DegreesOfFreedom, t.PValue}
}

// coefficient fills what is known of a column.
func (f *modelFigures) coefficient(c int, term *ModelTermAnswer) ModelCoefficient {
	column := f.m.Columns[c]
	var a ModelCoefficient
	per := 1.0
	if term.Covariate {
		per = term.Per
	} else {
		a.Level = f.in.data.Terms[column.Term].Levels[column.Level]
	}
	if column.Aliased {
		a.Note = f.aliasNote(column)
		return a
	}
	if !column.Estimable {
		a.Note = "Other terms make up part of this one: the figure holds only with what was left out taken as no effect."
	}
	v := f.m.Coefficients[c]
	a.Estimate, a.StandardError = modelFinite(per*v.Estimate), modelFinite(per*v.StandardError)
	a.WaldZ, a.WaldP = modelFinite(v.Statistic), modelFinite(v.PValue)
	a.Ratio = modelFinite(math.Exp(per * v.Estimate))
	a.Wald = modelRatioInterval(v.Wald, per)
	if f.profiles {
		f.profile(c, per, &a)
	}
	if f.robust != nil {
		f.robustFigures(c, per, &a)
	}
	if a.PValue == nil && a.WaldP != nil {
		a.PValue = a.WaldP
		a.Note = strings.TrimSpace(a.Note + " Its p-value is Wald's: there is no likelihood-ratio test of it.")
	}
	return a
}

func (f *modelFigures) profile(c int, per float64, a *ModelCoefficient) {
	interval, ok, err := f.m.Profile(c)
	if err != nil || !ok {
		f.unreached++
		return
	}
	a.Profile = modelRatioInterval(interval, per)
	if test, ok, err := f.m.TestColumn(c); ok && err == nil {
		a.PValue = modelFinite(test.PValue)
	}
}

// robustFigures are left out where a level or its reference stands in one
// cluster: its score adds up to nothing there, and the variance would come out
// too small, even 0. The same goes for what the data separate on: where all ended
// alike, the rows leave next to no residuals for clusters to differ by.
func (f *modelFigures) robustFigures(c int, per float64, a *ModelCoefficient) {
	column := f.m.Columns[c]
	if clusters := f.robust.LevelClusters[column.Term]; clusters != nil {
		reference := f.in.data.Terms[column.Term].Reference
		switch {
		case clusters[column.Level] < 2:
			a.Note = "It occurs in a single " + f.o.Cluster + ", so how it varies between them is not known."
			return
		case clusters[reference] < 2:
			a.Note = "Its reference occurs in a single " + f.o.Cluster + ", so how that varies between them is not known."
			return
		}
	}
	if f.oneSided[c] {
		a.Note = "All ended alike there or at what it is compared with, so clusters do not show how uncertain it is: go by the profile's interval."
		return
	}
	v := f.robust.Coefficients[c]
	if v.StandardError == 0 {
		return
	}
	a.RobustStandardError, a.RobustP = modelFinite(per*v.StandardError), modelFinite(v.PValue)
	a.Robust, a.DesignEffect = modelRatioInterval(v.Wald, per), modelFinite(f.robust.DesignEffect[c])
}

// findOneSided finds the columns on which the data separate: of a level in which
// all ended alike, of all levels when it is the reference, and those that the fit
// itself found.
func (f *modelFigures) findOneSided() {
	f.oneSided = map[int]bool{}
	alike := make([][]bool, len(f.in.data.Terms))
	for k := range f.in.data.Terms {
		term := &f.in.data.Terms[k]
		failures, size := make([]float64, len(term.Levels)), make([]float64, len(term.Levels))
		for i, level := range term.Codes {
			failures[level] += float64(f.in.data.Events[i])
			size[level] += f.in.size[i]
		}
		for level := range failures {
			alike[k] = append(alike[k], f.endedAlike(failures[level], size[level]))
		}
	}
	for c, column := range f.m.Columns {
		if column.Term >= 0 && column.Level >= 0 && (alike[column.Term][column.Level] || alike[column.Term][f.in.data.Terms[column.Term].Reference]) {
			f.oneSided[c] = true
		}
	}
	if f.m.Separation != nil {
		for _, c := range f.m.Separation.Columns {
			f.oneSided[c] = true
		}
	}
}

// endedAlike says whether nothing failed, or of attempts all did.
func (f *modelFigures) endedAlike(failures, size float64) bool {
	return failures == 0 || f.o.Family == LogisticModel && failures == size
}

// adjustModelP adjusts over the levels of a term.
func adjustModelP(coefficients []ModelCoefficient) error {
	var p []float64
	for _, c := range coefficients {
		if c.PValue != nil {
			p = append(p, *c.PValue)
		}
	}
	adjusted, err := stats.BenjaminiHochberg(p)
	if err != nil {
		return err
	}
	k := 0
	for i := range coefficients {
		if coefficients[i].PValue != nil {
			coefficients[i].PAdjusted = &adjusted[k]
			k++
		}
	}
	return nil
}

func (f *modelFigures) levelRates(k int) []ModelRate {
	term := &f.in.data.Terms[k]
	rates := make([]ModelRate, len(term.Levels))
	for i, level := range term.Codes {
		rates[level].Failures += f.in.data.Events[i]
		rates[level].Size += f.in.size[i]
	}
	for level := range rates {
		r := &rates[level]
		r.Level = term.Levels[level]
		r.CrudePer1000 = modelFinite(1000 * float64(r.Failures) / r.Size)
		if margin, ok := f.m.LevelMargin(k, level, f.robust); ok {
			if f.robust != nil && (f.robust.LevelClusters[k][level] < 2 || f.endedAlike(float64(r.Failures), r.Size)) {
				margin.Robust = nil
			}
			r.set(margin)
		}
	}
	return rates
}

func (f *modelFigures) valueRates(k int) []ModelRate {
	oneSided := false
	for c, column := range f.m.Columns {
		oneSided = oneSided || column.Term == k && f.oneSided[c]
	}
	values := f.o.Terms[k].At
	if len(values) == 0 {
		sorted := slices.Sorted(slices.Values(f.in.data.Terms[k].Values))
		for q := range 5 {
			values = append(values, sorted[q*(len(sorted)-1)/4])
		}
		values = slices.Compact(values)
	}
	var rates []ModelRate
	for _, v := range values {
		r := ModelRate{Value: v}
		if margin, ok := f.m.ValueMargin(k, v, f.robust); ok {
			if oneSided {
				margin.Robust = nil
			}
			r.set(margin)
		}
		rates = append(rates, r)
	}
	return rates
}

func (r *ModelRate) set(m regression.Margin) {
	r.Per1000 = modelFinite(1000 * m.Rate)
	r.IntervalPer1000 = modelScaled(m.Interval, 1000)
	if m.Robust != nil {
		r.RobustIntervalPer1000 = modelScaled(*m.Robust, 1000)
	}
}

// modelFinite gives nil for what is no number that can be shown.
func modelFinite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// modelRatioInterval carries the limits of a logarithm, for per of its unit, to the
// ratio; nil when one is beyond what can be shown.
func modelRatioInterval(i stats.Interval, per float64) *stats.Interval {
	return modelScaled(stats.Interval{Lower: math.Exp(per * i.Lower), Upper: math.Exp(per * i.Upper)}, 1)
}

func modelScaled(i stats.Interval, by float64) *stats.Interval {
	i.Lower, i.Upper = by*i.Lower, by*i.Upper
	if modelFinite(i.Lower) == nil || modelFinite(i.Upper) == nil {
		return nil
	}
	return &i
}
