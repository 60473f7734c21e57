package stats

import (
	"fmt"
	"math"
)

// ChiSquareTest is a statistic that follows chi-square with so many degrees of
// freedom if the hypothesis holds, and the probability of one as large. With 0
// degrees of freedom there is nothing to test: Statistic is 0 and P is 1.
type ChiSquareTest struct {
	Statistic        float64
	DegreesOfFreedom int
	P                float64
}

func newChiSquareTest(statistic float64, degreesOfFreedom int) ChiSquareTest {
	if degreesOfFreedom == 0 {
		return ChiSquareTest{P: 1}
	}
	t := ChiSquareTest{Statistic: math.Max(0, statistic), DegreesOfFreedom: degreesOfFreedom, P: 1}
	if t.Statistic > 0 {
		t.P = math.Exp(logUpperGamma(float64(degreesOfFreedom)/2, t.Statistic/2).log)
	}
	return t
}

// Association is what a table of counts says about rows and columns being
// independent.
type Association struct {
	// Pearson is K. Pearson's chi-square, Philos. Mag. 50 (1900) 157-175,
	// without continuity correction.
	Pearson ChiSquareTest
	// LikelihoodRatio is G = 2·Σ O·ln(O/E): S. S. Wilks, Ann. Math. Statist. 6
	// (1935) 190-196.
	LikelihoodRatio ChiSquareTest
	// Expected are the counts expected of independence, in the table's order;
	// 0 in empty rows and columns, which do not count for the tests.
	Expected [][]float64
	// LeastExpected is the smallest of those in rows and columns that are not
	// empty. Below five the tests rest on too little: W. G. Cochran, Biometrics
	// 10 (1954) 417-451.
	LeastExpected float64
}

// AssociationTest compares the rows of a table of counts. An [*ArgumentError]
// is returned for an empty table, rows of different lengths, a count below 0,
// or a sum of 0 or above [MaxCount].
func AssociationTest(table [][]int64) (Association, error) {
	rows, columns, total, err := tableMargins(table)
	if err != nil {
		return Association{}, err
	}
	a := Association{Expected: make([][]float64, len(table)), LeastExpected: math.Inf(1)}
	var pearson, likelihood float64
	for i, row := range table {
		a.Expected[i] = make([]float64, len(row))
		for j, count := range row {
			if rows[i] == 0 || columns[j] == 0 {
				continue
			}
			observed, expected := float64(count), rows[i]*(columns[j]/total)
			a.Expected[i][j] = expected
			a.LeastExpected = math.Min(a.LeastExpected, expected)
			pearson += (observed - expected) / expected * (observed - expected)
			// The deviance adds E−O to each term of G, which sums to 0 and
			// leaves every term above 0.
			if observed == 0 {
				likelihood += expected
			} else {
				likelihood += deviance(observed, expected)
			}
		}
	}
	freedom := max(0, filled(rows)-1) * max(0, filled(columns)-1)
	a.Pearson = newChiSquareTest(pearson, freedom)
	a.LikelihoodRatio = newChiSquareTest(2*likelihood, freedom)
	return a, nil
}

func tableMargins(table [][]int64) (rows, columns []float64, total float64, err error) {
	if len(table) == 0 || len(table[0]) == 0 {
		return nil, nil, 0, &ArgumentError{Argument: "table", Value: "empty", Requirement: "must have at least one row and one column"}
	}
	rows, columns = make([]float64, len(table)), make([]float64, len(table[0]))
	for i, row := range table {
		if len(row) != len(columns) {
			return nil, nil, 0, badCount(fmt.Sprintf("the length of row %d", i+1), int64(len(row)), fmt.Sprintf("must be that of row 1, %d", len(columns)))
		}
		for j, count := range row {
			if err := checkCount(fmt.Sprintf("the count in row %d, column %d", i+1, j+1), count); err != nil {
				return nil, nil, 0, err
			}
			rows[i] += float64(count)
			columns[j] += float64(count)
			total += float64(count)
		}
	}
	if total < 1 || total > MaxCount {
		return nil, nil, 0, badNumber("the sum of the table's counts", total, fmt.Sprintf("must lie between 1 and %d", int64(MaxCount)))
	}
	return rows, columns, total, nil
}

// filled counts the sums above 0.
func filled(sums []float64) int {
	n := 0
	for _, s := range sums {
		if s > 0 {
			n++
		}
	}
	return n
}
