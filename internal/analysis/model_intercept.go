package analysis

// intercept gives the first column, which a prediction by hand needs. What a ratio
// would be of is the odds or the rate itself, so it has none.
func (f *modelFigures) intercept() *ModelCoefficient {
	v := f.m.Coefficients[0]
	a := &ModelCoefficient{
		Estimate: modelFinite(v.Estimate), StandardError: modelFinite(v.StandardError),
		WaldZ: modelFinite(v.Statistic), WaldP: modelFinite(v.PValue),
		Note: "Logarithm of the odds where every factor is at its reference and every covariate is 0; no likelihood-ratio test is made of it.",
	}
	if f.o.Family == PoissonModel {
		a.Note = "Logarithm of the rate for each unit of exposure where every factor is at its reference and every covariate is 0; no likelihood-ratio test is made of it."
	}
	if !f.m.Columns[0].Estimable {
		a.Note += " Terms were left out that others make up: the figure holds only with these taken as no effect."
	}
	if f.robustIntercept() {
		r := f.robust.Coefficients[0]
		a.RobustStandardError, a.RobustP = modelFinite(r.StandardError), modelFinite(r.PValue)
		a.DesignEffect = modelFinite(f.robust.DesignEffect[0])
	}
	return a
}

// robustIntercept says whether clusters can tell how uncertain the intercept is: not
// where a reference stands in one cluster, nor where the data separate, for the
// reasons that robustFigures gives.
func (f *modelFigures) robustIntercept() bool {
	if f.robust == nil || len(f.oneSided) > 0 || f.robust.Coefficients[0].StandardError == 0 {
		return false
	}
	for k, clusters := range f.robust.LevelClusters {
		if clusters != nil && clusters[f.in.data.Terms[k].Reference] < 2 {
			return false
		}
	}
	return true
}

// fitNote warns of comparing the likelihood of a penalised fit with that of another.
func (f *modelFigures) fitNote() string {
	if !f.m.Penalised {
		return ""
	}
	return "The log-likelihood and AIC are those at the penalised estimates, without the penalty, not at the greatest likelihood."
}
