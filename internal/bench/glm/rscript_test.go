package main

import (
	"slices"
	"strings"
	"testing"
)

func TestReadAnswer(t *testing.T) {
	a, err := readAnswer("seconds 1.25 \nversion R version 4.2.2 (2022-10-31) \ncoefficient -2.5 \ncoefficient 0.125 \n")
	if err != nil || a.seconds != 1.25 || !strings.HasPrefix(a.version, "R version 4.2.2") || !slices.Equal(a.coefficients, []float64{-2.5, 0.125}) {
		t.Errorf("%+v, %v", a, err)
	}
	for _, bad := range []string{"", "seconds 1\n", "coefficient 2\n", "seconds NA\ncoefficient 2\n", "seconds 1\ncoefficient NA\n"} {
		if a, err := readAnswer(bad); err == nil {
			t.Errorf("%q: %+v", bad, a)
		}
	}
}

// The rows are the same each time, and a difference in any coefficient is seen.
func TestRowsAndDifference(t *testing.T) {
	a, b := invented(1000, 7), invented(1000, 7)
	if !slices.Equal(a.Events, b.Events) || !slices.Equal(a.Terms[18].Values, b.Terms[18].Values) {
		t.Error("the same seed gives other rows")
	}
	if len(a.Terms)+1 != 20 {
		t.Errorf("%d columns", len(a.Terms)+1)
	}
	if d, err := apart([]float64{1, 2, 3}, []float64{1, 2.5, 3.25}); err != nil || d != 0.5 {
		t.Errorf("%v, %v", d, err)
	}
	if _, err := apart([]float64{1}, nil); err == nil {
		t.Error("lists of two lengths were compared")
	}
}
