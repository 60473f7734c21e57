package analysis

import (
	"fmt"
	"math"

	"jointledger/internal/regression"
)

const (
	// modelFewEvents is the number of failures for each coefficient below which
	// estimates and intervals of a logistic model become unreliable: P. Peduzzi
	// and others, "A simulation study of the number of events per variable in
	// logistic regression analysis", J. Clin. Epidemiol. 49 (1996) 1373-1379.
	modelFewEvents = 10
	// modelFewClusters is the number of clusters below which cluster-robust intervals
	// tend to be too narrow: Cameron and Miller (2015), section VI, who put it
	// at 20 to 50.
	modelFewClusters = 30
	// modelSparseRow is the expected count below which Pearson's φ says little of the
	// fit, as in W. G. Cochran, Biometrics 10 (1954) 417-451, for a single cell.
	modelSparseRow = 1
	// modelOverDispersed is the φ from which plain intervals are called too narrow:
	// they are by a tenth there. Ours, no source.
	modelOverDispersed = 1.25
)

func (f *modelFigures) cautions(a *ModelAnswer) []string {
	var all []string
	for _, c := range []string{
		f.leftOutCaution(),
		a.PenaltyReason,
		f.penaltyCaution(),
		f.aliasCaution(),
		f.eventsCaution(),
		f.dispersionCaution(),
		f.clusterCaution(),
		f.singleClusterCaution(),
		f.oneSidedCaution(),
		f.profileCaution(),
		f.untestedCaution(),
		f.rangeCaution(),
	} {
		if c != "" {
			all = append(all, c)
		}
	}
	if f.o.Family == LogisticModel {
		all = append(all, "An odds ratio is near the ratio of rates only where failures are rare; where they are not, go by the predicted rates.")
	}
	return append(all, "A model of records shows what goes together, not what causes what: a term left out of it may be behind a difference.")
}

func (f *modelFigures) leftOutCaution() string {
	if f.in.leftOut == 0 {
		return ""
	}
	text := fmt.Sprintf("%d rows have no attempts or exposure and are left out.", f.in.leftOut)
	if len(f.in.emptyLevels) > 0 {
		text += fmt.Sprintf(" With them go %s: nothing is known of their rate.", list(f.in.emptyLevels))
	}
	return text
}

// penaltyCaution tells how far the penalty draws predicted rates towards one
// half: R. Puhr, G. Heinze, M. Nold, L. Lusa, A. Geroldinger, "Firth's logistic
// regression with rare events", Statistics in Medicine 36 (2017) 2302-2317.
func (f *modelFigures) penaltyCaution() string {
	if !f.m.Penalised || f.o.Family != LogisticModel {
		return ""
	}
	return "Under the penalty predicted rates are drawn towards one half (Puhr and others 2017), most where there is least on record; ratios are not to be read with Wald's interval, but with the profile's."
}

func (f *modelFigures) aliasCaution() string {
	var names []string
	for _, c := range f.m.Columns {
		if c.Aliased {
			names = append(names, f.columnName(c))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf("Left out because other terms make them up: %s. Figures of the terms concerned hold only with these taken as no effect, and no rates are predicted for them.", list(names))
}

func (f *modelFigures) eventsCaution() string {
	m := f.m
	events := m.Events
	if f.o.Family == LogisticModel {
		events = math.Min(events, m.Size-events)
	}
	if coefficients := m.Rank - 1; coefficients > 0 && events < modelFewEvents*float64(coefficients) {
		return fmt.Sprintf("Only %g of the rarer outcome for %s, fewer than %d for each (Peduzzi and others 1996): estimates are unsteady; take fewer terms or levels together.", events, compareCount(int64(coefficients), "coefficient"), modelFewEvents)
	}
	return ""
}

func (f *modelFigures) dispersionCaution() string {
	m := f.m
	if m.DegreesOfFreedom == 0 {
		return "There are as many coefficients as rows: whether the model fits cannot be checked."
	}
	if m.Events < modelSparseRow*float64(m.Rows) {
		if f.o.UseDispersion {
			return fmt.Sprintf("Rows have fewer than one failure on average: the dispersion %s by which intervals were widened says little. Put rows together that belong together, or name a cluster.", modelFigure(m.Dispersion))
		}
		return ""
	}
	if !f.o.UseDispersion && m.Dispersion > modelOverDispersed {
		return fmt.Sprintf("Rows differ more than chance allows (Pearson's dispersion %s): the plain intervals are too narrow by a factor of %s. Use the dispersion, or name a cluster.", modelFigure(m.Dispersion), modelFigure(math.Sqrt(m.Dispersion)))
	}
	return ""
}

// modelNoCluster is said of failures among attempts.
const modelNoCluster = "Fasteners of one joint are not independent of each other. No cluster was named, so intervals and p-values take them as independent, and are too narrow where failures come in clusters."

func (f *modelFigures) clusterCaution() string {
	switch {
	case f.o.Cluster == "" && f.o.Family == LogisticModel:
		return modelNoCluster
	case f.o.Cluster == "":
		return ""
	case f.robust == nil:
		return fmt.Sprintf("All rows are of one %s: there is nothing to judge by how far they differ.", f.o.Cluster)
	}
	text := ""
	if f.in.alone > 0 {
		text = fmt.Sprintf("%d rows name no %s and each stand alone. ", f.in.alone, f.o.Cluster)
	}
	if f.robust.Clusters < modelFewClusters || f.robust.Clusters <= f.m.Rank {
		text += fmt.Sprintf("With only %d clusters for %d coefficients the cluster-robust intervals tend to be too narrow (Cameron and Miller 2015).", f.robust.Clusters, f.m.Rank)
	}
	return text
}

func (f *modelFigures) singleClusterCaution() string {
	if f.robust == nil {
		return ""
	}
	var names []string
	for k, levels := range f.robust.LevelClusters {
		for level, n := range levels {
			if n == 1 {
				names = append(names, f.columnName(regression.Column{Term: k, Level: level}))
			}
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf("In a single %s each: %s. How they vary between them is not known, so there is no cluster-robust interval.", f.o.Cluster, list(names))
}

// oneSidedCaution names what clusters tell nothing of, since all ended alike.
func (f *modelFigures) oneSidedCaution() string {
	if f.robust == nil || len(f.oneSided) == 0 {
		return ""
	}
	var names []string
	for c := range f.m.Columns {
		if f.oneSided[c] {
			names = append(names, f.columnName(f.m.Columns[c]))
		}
	}
	return fmt.Sprintf("Where the data separate, clusters do not show how uncertain a figure is, and the interval that is given takes attempts as independent: %s.", list(names))
}

func (f *modelFigures) profileCaution() string {
	switch {
	case !f.profiles:
		return fmt.Sprintf("Profile-likelihood intervals of %d coefficients over %d patterns would take too long and are left out; Wald's are too short on one side where a level has few failures.", f.m.Rank-1, f.m.Patterns)
	case f.unreached > 0:
		return fmt.Sprintf("%d profile-likelihood intervals were not reached and are left out.", f.unreached)
	}
	return ""
}

func (f *modelFigures) untestedCaution() string {
	if len(f.untested) == 0 {
		return ""
	}
	return fmt.Sprintf("The model without %s does not settle on a maximum, so there is no likelihood-ratio test.", list(f.untested))
}

// rangeCaution names covariates whose rates are asked for outside what is on
// record.
func (f *modelFigures) rangeCaution() string {
	var names []string
	for k, o := range f.o.Terms {
		values := f.in.data.Terms[k].Values
		if len(values) == 0 {
			continue
		}
		low, high := values[0], values[0]
		for _, v := range values {
			low, high = min(low, v), max(high, v)
		}
		for _, v := range o.At {
			if v < low || v > high {
				names = append(names, fmt.Sprintf("%s %g (on record: %g to %g)", o.Column, v, low, high))
			}
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf("Predicted beyond what is on record: %s. Nothing there supports the curve.", list(names))
}
