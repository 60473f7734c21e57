package analysis

import (
	"jointledger/internal/ledger"
	"jointledger/internal/regression"
	"jointledger/internal/stats"
)

// ModelFamily is what a model is made of.
type ModelFamily uint8

// Families: failures among attempts, or counts in an exposure.
const (
	LogisticModel ModelFamily = iota + 1
	PoissonModel
)

// ModelFamilies are the words of ModelFamily.
var ModelFamilies = ledger.NewWords[ModelFamily]("family", "logistic", "poisson")

// ModelTable is a table whose columns all have a value for each row.
type ModelTable struct{ Columns []ModelColumn }

// ModelColumn has Words, or Numbers, or both. Words are read as numbers where
// numbers are needed and there are none.
type ModelColumn struct {
	Name    string
	Words   []string
	Numbers []float64
}

// ModelOptions says which model is fitted to a table.
type ModelOptions struct {
	// Family; logistic when 0.
	Family ModelFamily
	// Failures is the column that holds the failures or counts, "failures" when
	// empty; Attempts that of the attempts, for a logistic model: when it is empty
	// each row is one attempt and its failures are 0 or 1. Exposure is the column
	// of the exposure, for a Poisson model: when it is empty all rows have 1.
	Failures, Attempts, Exposure string
	// Terms are what may explain the failures, the one that is asked about first.
	Terms []ModelTerm
	// Cluster is the column that says which rows are not independent of each
	// other, as in "joint"; none when empty. A row without a value stands alone.
	Cluster string
	// Confidence of all two-sided intervals, strictly between 0 and 1; 0.95 when 0.
	Confidence float64
	// Penalty says when Firth's penalty is used.
	Penalty regression.Penalty
	// UseDispersion widens intervals and softens tests by Pearson's φ where it is
	// above 1.
	UseDispersion bool
}

// ModelTerm is one explanatory variable.
type ModelTerm struct {
	Column string
	// Covariate takes the column as a number; otherwise its values are levels.
	Covariate bool
	// Reference is the level that the others are compared with; the one with most
	// attempts or exposure when empty.
	Reference string
	// Per is how much more of a covariate its ratio is for, in the covariate's
	// unit; 1 when 0.
	Per float64
	// At are values of a covariate at which rates are predicted; its least,
	// quartiles and greatest when there are none.
	At []float64
}

// ModelAnswer is what the model says.
type ModelAnswer struct {
	// Headline is the sentence to read first: about the first term.
	Headline string
	// RatioName says what a ratio is one of: odds or rates.
	RatioName string
	Terms     []ModelTermAnswer
	// Intercept is the logarithm of the odds or the rate where every factor is at
	// its reference and every covariate 0. It has no ratio, no interval of one and
	// no likelihood-ratio test.
	Intercept *ModelCoefficient
	// Rows took part; RowsLeftOut had no attempts and no exposure. Clusters is 0
	// when none were asked for.
	Rows, RowsLeftOut, Clusters int
	Failures                    int64
	// Size is the attempts, or the exposure.
	Size float64
	Fit  ModelFit
	// Penalised says that Firth's penalty was used, PenaltyReason why.
	Penalised     bool
	PenaltyReason string
	Method        string
	Assumption    string
	Cautions      []string
}

// ModelFit is how the model fits as a whole.
type ModelFit struct {
	LogLikelihood, AIC float64
	// Deviance and NullDeviance with their degrees of freedom.
	Deviance, NullDeviance                 float64
	DegreesOfFreedom, NullDegreesOfFreedom int
	// Dispersion is Pearson's φ, nil without degrees of freedom;
	// DispersionUsed says that intervals and tests allow for it.
	Dispersion     *float64
	DispersionUsed bool
	// Note says what LogLikelihood and AIC are of where they are not at their
	// greatest; empty otherwise.
	Note string
}

// ModelTest is a test that a term explains nothing.
type ModelTest struct {
	Statistic        float64
	DegreesOfFreedom int
	PValue           float64
}

// ModelTermAnswer is what the model says on a term.
type ModelTermAnswer struct {
	Column    string
	Covariate bool
	// Reference is the level that ratios are against; empty for a covariate.
	Reference string
	// Per is how much more of a covariate its ratio is for.
	Per float64
	// Test is the likelihood-ratio test of dropping the term; nil when other terms
	// make it up. RobustTest is Wald's with the covariance for clusters, its
	// statistic an F; nil where clusters do not allow it.
	Test, RobustTest *ModelTest
	// Coefficients has one for each level but the reference, or one.
	Coefficients []ModelCoefficient
	// Rates are those predicted for each level or value, the other terms as they
	// are in the table.
	Rates []ModelRate

	// oneSided says that the data separate on the term, so that clusters cannot
	// tell how uncertain it is.
	oneSided bool
}

// ModelCoefficient is a level against the reference, or a step of a covariate. A
// figure that there is none of is nil.
type ModelCoefficient struct {
	// Level is empty for a covariate.
	Level string
	// Estimate and StandardError are on the logarithmic scale, for Per of a
	// covariate; RobustStandardError allows for clusters.
	Estimate, StandardError, RobustStandardError *float64
	// Ratio is of odds or rates, with Wald's, the profile-likelihood and the
	// cluster-robust interval.
	Ratio                 *float64
	Wald, Profile, Robust *stats.Interval
	// WaldZ is Estimate / StandardError, WaldP its two-sided p-value: by the normal
	// distribution, by Student's t where the dispersion is used.
	WaldZ, WaldP *float64
	// PValue is the likelihood-ratio test's; Wald's where there is none, and Note
	// says so. PAdjusted is after Benjamini and Hochberg over the levels of the
	// term. RobustP is Wald's with the covariance for clusters.
	PValue, PAdjusted, RobustP *float64
	// DesignEffect is how many times the variance for clusters is the model's own.
	DesignEffect *float64
	// Note says why figures are missing or mean less than they seem.
	Note string
}

// ModelRate is the rate at a level or value, per 1,000 attempts or units of
// exposure.
type ModelRate struct {
	Level string  // of a factor
	Value float64 // of a covariate
	// Failures and Size are those on record at the level.
	Failures int64
	Size     float64
	// CrudePer1000 is their rate; nil for a covariate.
	CrudePer1000 *float64
	// Per1000 is predicted, with its interval and the cluster-robust one; nil when
	// the term cannot be told from others.
	Per1000               *float64
	IntervalPer1000       *stats.Interval
	RobustIntervalPer1000 *stats.Interval
}

// ModelCellError is what is wrong with one cell of the table. It is a
// *stats.ArgumentError too.
type ModelCellError struct {
	Column string
	// Row of the table, from 0.
	Row int
	stats.ArgumentError
}

// Unwrap gives the error that names the column and the row, from 1.
func (e *ModelCellError) Unwrap() error { return &e.ArgumentError }

// Model fits a model to the table. The error is a *ModelCellError, a
// *stats.ArgumentError that names the argument and what was expected, a *regression.SeparationError when
// the data separate and no penalty is allowed, or regression.ErrNoConvergence.
func Model(t ModelTable, o ModelOptions) (ModelAnswer, error) {
	in, err := readModel(t, &o)
	if err != nil {
		return ModelAnswer{}, err
	}
	m, err := regression.Fit(in.data, regression.Options{Confidence: o.Confidence, Penalty: o.Penalty, ScaleByDispersion: o.UseDispersion})
	if err != nil {
		return ModelAnswer{}, err
	}
	f := modelFigures{in: in, m: m, o: o, profiles: m.ProfileEffort() <= modelMostEffort}
	if in.cluster != nil && in.clusters > 1 {
		if f.robust, err = m.ClusterRobust(in.cluster); err != nil {
			return ModelAnswer{}, err
		}
	}
	a, err := f.answer()
	if err != nil {
		return ModelAnswer{}, err
	}
	modelWords(&a, &f)
	return a, nil
}
