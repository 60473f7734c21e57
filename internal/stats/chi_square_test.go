package stats

import (
	"math"
	"testing"
)

func associationOf(t *testing.T, table [][]int64) Association {
	t.Helper()
	a, err := AssociationTest(table)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Gender by party: A. Agresti, An Introduction to Categorical Data Analysis
// (2007) p. 39, X² 30.1 and G² 30.0. Smokers in four studies: J. L. Fleiss,
// Statistical Methods for Rates and Proportions (1981) p. 139, X² 12.6. Tea: M.
// W. Fagerland et al. (2017), X² 2.000, G² 2.093. All recomputed with R 4.2.2
// (reference statistics, P08 and P10).
func TestAssociationPublished(t *testing.T) {
	party := associationOf(t, [][]int64{{762, 327, 468}, {484, 239, 477}})
	closeTo(t, "party X²", party.Pearson.Statistic, 30.0701490958, 1e-11)
	closeTo(t, "party p", party.Pearson.P, 2.95358918321e-07, 1e-10)
	closeTo(t, "party G", party.LikelihoodRatio.Statistic, 30.0166926132, 1e-11)
	closeTo(t, "party G, p", party.LikelihoodRatio.P, 3.03359791064e-07, 1e-10)
	rounds(t, "party X²", party.Pearson.Statistic, 30.07, 0.01)
	rounds(t, "party G", party.LikelihoodRatio.Statistic, 30.02, 0.01)
	if party.Pearson.DegreesOfFreedom != 2 {
		t.Errorf("party: %d degrees of freedom", party.Pearson.DegreesOfFreedom)
	}
	for i, want := range []float64{703.671381937, 319.645266594, 533.683351469, 542.328618063, 246.354733406, 411.316648531} {
		closeTo(t, "party, expected", party.Expected[i/3][i%3], want, 1e-11)
	}
	smokers := associationOf(t, [][]int64{{83, 3}, {90, 3}, {129, 7}, {70, 12}})
	closeTo(t, "smokers X²", smokers.Pearson.Statistic, 12.6004112971, 1e-11)
	closeTo(t, "smokers p", smokers.Pearson.P, 0.00558547666163, 1e-10)
	closeTo(t, "smokers, least expected", smokers.LeastExpected, 5.1637279597, 1e-10)
	tea := associationOf(t, [][]int64{{3, 1}, {1, 3}})
	closeTo(t, "tea X²", tea.Pearson.Statistic, 2, 1e-12)
	closeTo(t, "tea p", tea.Pearson.P, 0.15729920705, 1e-10)
	closeTo(t, "tea G", tea.LikelihoodRatio.Statistic, 2.09299257506, 1e-11)
	closeTo(t, "tea G, p", tea.LikelihoodRatio.P, 0.147975959385, 1e-10)
	if tea.LeastExpected != 2 {
		t.Errorf("tea: least expected %g, want 2", tea.LeastExpected)
	}
}

func TestAssociationEmptyMargins(t *testing.T) {
	full := associationOf(t, [][]int64{{3, 1}, {1, 3}})
	padded := associationOf(t, [][]int64{{3, 0, 1}, {0, 0, 0}, {1, 0, 3}})
	if padded.Pearson != full.Pearson || padded.LikelihoodRatio != full.LikelihoodRatio || padded.LeastExpected != 2 {
		t.Errorf("empty row and column change the test: %+v", padded)
	}
	for _, table := range [][][]int64{{{0, 5}, {0, 6}}, {{5, 6}}, {{0, 0}, {1, 2}}, {{1}}} {
		a := associationOf(t, table)
		if a.Pearson != (ChiSquareTest{P: 1}) || a.LikelihoodRatio != (ChiSquareTest{P: 1}) || math.IsInf(a.LeastExpected, 0) {
			t.Errorf("%v: %+v, expected nothing to test", table, a)
		}
	}
	equal := associationOf(t, [][]int64{{3, 6}, {2, 4}})
	if equal.Pearson.Statistic > 1e-14 || equal.Pearson.P < 0.999999 {
		t.Errorf("equal rows: %+v", equal)
	}
}

func TestAssociationRefuses(t *testing.T) {
	for _, c := range []struct {
		table              [][]int64
		argument, sentence string
	}{
		{nil, "table", "table is empty, but must have at least one row and one column"},
		{[][]int64{{}}, "table", "table is empty, but must have at least one row and one column"},
		{[][]int64{{1, 2}, {3}}, "the length of row 2", "the length of row 2 is 1, but must be that of row 1, 2"},
		{[][]int64{{1, 2}, {3, -4}}, "the count in row 2, column 2", "the count in row 2, column 2 is -4, but must be at least 0"},
		{[][]int64{{0, 0}, {0, 0}}, "the sum of the table's counts", "the sum of the table's counts is 0, but must lie between 1 and 1099511627776"},
	} {
		_, err := AssociationTest(c.table)
		refused(t, err, c.argument, c.sentence)
	}
}
