package stats

import (
	"fmt"
	"testing"
)

// ratioIs fails the test unless the estimate and both limits are there and near
// what is wanted.
func ratioIs(t *testing.T, name string, got RatioInterval, estimate, lower, upper, tolerance float64) {
	t.Helper()
	if got.Estimate == nil || got.Upper == nil || got.Unbounded {
		t.Errorf("%s: %+v, expected an estimate and both limits", name, got)
		return
	}
	closeTo(t, name, *got.Estimate, estimate, tolerance)
	closeTo(t, name+" lower", got.Lower, lower, tolerance)
	closeTo(t, name+" upper", *got.Upper, upper, tolerance)
}

// Katz: placebo against aspirin, A. Agresti, Categorical Data Analysis (2002):
// 1.82, 1.43 to 2.31 (reference statistics, P07). Koopman: the example of his
// paper, Biometrics 40 (1984) 513-517, 36 of 40 against 16 of 80: 4.5, 2.94 to
// 7.15, digits from memory; all of the score limits by mpmath 1.3.0 with 40
// digits, from the quadratic of the paper.
func TestRelativeRiskPublished(t *testing.T) {
	aspirin, koopman, small := TwoGroups{189, 11034, 104, 11037}, TwoGroups{36, 40, 16, 80}, TwoGroups{7, 34, 1, 34}
	for _, c := range []struct {
		groups                 TwoGroups
		method                 RelativeRiskMethod
		estimate, lower, upper float64
	}{
		{aspirin, Katz, 1.81780179445, 1.43303090305, 2.30588423242},
		{aspirin, Koopman, 1.81780179445, 1.43390381589324, 2.30471285500985},
		{aspirin, MiettinenNurminenRatio, 1.81780179445, 1.43389614724052, 2.30472519128715},
		{koopman, Koopman, 4.5, 2.93956919221499, 7.15222343486603},
		{koopman, MiettinenNurminenRatio, 4.5, 2.9346464594878, 7.16629829946033},
		{small, Koopman, 7, 1.22085285351481, 42.5757176097604},
		{small, MiettinenNurminenRatio, 7, 1.20856797509003, 43.0329722386947},
		{TwoGroups{30, 30, 20, 25}, Koopman, 1.25, 1.09121719939708, 1.64287105856108},
	} {
		got, err := RelativeRisk(c.groups, c.method, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		ratioIs(t, fmt.Sprintf("%v %s", c.groups, c.method), got, c.estimate, c.lower, c.upper, 1e-10)
	}
	got, _ := RelativeRisk(aspirin, Katz, 0.95)
	rounds(t, "aspirin", *got.Estimate, 1.82, 0.01)
	rounds(t, "aspirin lower", got.Lower, 1.43, 0.01)
	rounds(t, "aspirin upper", *got.Upper, 2.31, 0.01)
	got, _ = RelativeRisk(koopman, Koopman, 0.95)
	rounds(t, "Koopman lower", got.Lower, 2.94, 0.01)
	rounds(t, "Koopman upper", *got.Upper, 7.15, 0.01)
}

// The limits of the score interval without failures in a group by mpmath 1.3.0,
// as above.
func TestRelativeRiskZeroCells(t *testing.T) {
	none := TwoGroups{0, 30, 5, 40}
	got, err := RelativeRisk(none, Koopman, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	ratioIs(t, "no failures in A", got, 0, 0, 0.953109823109999, 1e-10)
	got, err = RelativeRisk(none.Swapped(), Koopman, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if got.Estimate != nil || !got.Unbounded || got.Upper != nil {
		t.Errorf("no failures in B: %+v", got)
	}
	closeTo(t, "no failures in B", got.Lower, 1/0.953109823109999, 1e-10)
	for _, c := range []struct {
		name     string
		groups   TwoGroups
		estimate *float64
		endless  bool
		vacuous  map[RelativeRiskMethod]bool
	}{
		{"none in A", none, new(float64), false, map[RelativeRiskMethod]bool{Katz: true, Koopman: false}},
		{"none in B", none.Swapped(), nil, true, map[RelativeRiskMethod]bool{Katz: true, Koopman: false}},
		{"none at all", TwoGroups{0, 30, 0, 40}, nil, false, map[RelativeRiskMethod]bool{Katz: true, Koopman: true, MiettinenNurminenRatio: true}},
		{"all", TwoGroups{30, 30, 40, 40}, ratioOf(1, 1), false, map[RelativeRiskMethod]bool{Katz: true, Koopman: false}},
	} {
		for method, vacuous := range c.vacuous {
			got, err := RelativeRisk(c.groups, method, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			if got.Unbounded != c.endless || (got.Estimate == nil) != (c.estimate == nil) || got.Estimate != nil && *got.Estimate != *c.estimate || got.Vacuous() != vacuous {
				t.Errorf("%s, %s: %+v", c.name, method, got)
			}
		}
	}
	all, _ := RelativeRisk(TwoGroups{30, 30, 40, 40}, Koopman, 0.95)
	if !all.Covers(1) || all.Lower > 0.95 || *all.Upper < 1.05 {
		t.Errorf("all failed: %+v does not surround 1", all)
	}
}
