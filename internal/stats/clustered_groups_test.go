package stats

import (
	"math"
	"testing"
)

// Pups alive at 21 days among those alive at 4, by litter: C. S. Weil, Food
// Cosmet. Toxicol. 8 (1970) 177-182, as in table 1 of J. N. K. Rao, A. J. Scott,
// Biometrics 48 (1992) 577-585. Alive, in litter.
var controlLitters = [][2]int64{
	{13, 13}, {12, 12}, {9, 9}, {9, 9}, {8, 8}, {8, 8}, {12, 13}, {11, 12},
	{9, 10}, {9, 10}, {8, 9}, {11, 13}, {4, 5}, {5, 7}, {7, 10}, {7, 10},
}

var treatedLitters = [][2]int64{
	{12, 12}, {11, 11}, {10, 10}, {9, 9}, {10, 11}, {9, 10}, {9, 10}, {8, 9},
	{8, 9}, {4, 5}, {7, 9}, {4, 7}, {5, 10}, {3, 6}, {3, 10}, {0, 7},
}

func litters() []TwoGroups {
	var clusters []TwoGroups
	for _, l := range treatedLitters {
		clusters = append(clusters, TwoGroups{FailuresA: l[0], AttemptsA: l[1]})
	}
	for _, l := range controlLitters {
		clusters = append(clusters, TwoGroups{FailuresB: l[0], AttemptsB: l[1]})
	}
	return clusters
}

// Design effects 1.232495 and 3.952861 as printed in the documentation of an R
// package for prevented fractions; 12 digits by mpmath 1.3.0. The limits follow
// from the variances of its table by arithmetic: 0.004792249907 + 0.000709941185
// and Student's t with 15 degrees of freedom, 2.131449546 (any table: 2.131).
func TestCompareClustersPublished(t *testing.T) {
	got, err := CompareClusters(litters(), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "treated", *got.DesignEffectA, 3.95286062596407, 1e-12)
	closeTo(t, "control", *got.DesignEffectB, 1.23249539430677, 1e-12)
	rounds(t, "treated", *got.DesignEffectA, 3.952861, 1e-6)
	rounds(t, "control", *got.DesignEffectB, 1.232495, 1e-6)
	vA, vB := 0.00479224990727401, 0.000709941185145845
	pA, pB := 112.0/145, 142.0/158
	half := 2.131449546 * math.Sqrt(vA+vB)
	closeTo(t, "lower", got.DifferenceInterval.Lower, pA-pB-half, 1e-8)
	closeTo(t, "upper", got.DifferenceInterval.Upper, pA-pB+half, 1e-8)
	factor := math.Exp(2.131449546 * math.Sqrt(vA/pA/pA+vB/pB/pB))
	ratioIs(t, "relative risk", got.RelativeRisk, pA/pB, pA/pB/factor, pA/pB*factor, 1e-8)
	if got.ClustersA != 16 || got.ClustersB != 16 {
		t.Errorf("%d and %d clusters", got.ClustersA, got.ClustersB)
	}
}

// Quantiles of Student's t for a tail of 2.5 %: any table, such as E. S.
// Pearson, H. O. Hartley, Biometrika Tables for Statisticians, volume 1, table
// 12, digits from memory.
func TestStudentQuantileTable(t *testing.T) {
	for _, c := range []struct{ freedom, want, place float64 }{
		{1, 12.706, 1e-3}, {2, 4.303, 1e-3}, {5, 2.571, 1e-3}, {10, 2.228, 1e-3}, {30, 2.042, 1e-3}, {120, 1.980, 1e-3},
	} {
		rounds(t, "t", studentUpperQuantile(0.025, c.freedom), c.want, c.place)
	}
}

// When the attempts of both groups share clusters that differ as a whole, the
// difference is known better than from separate ones; and clusters of one
// attempt are independent attempts, but for m/(m−1).
func TestCompareClustersShared(t *testing.T) {
	var shared, apart, single []TwoGroups
	for i := range int64(10) {
		g := TwoGroups{2 * i, 30, 2*i + i%3, 30}
		shared = append(shared, g)
		apart = append(apart, TwoGroups{g.FailuresA, g.AttemptsA, 0, 0}, TwoGroups{0, 0, g.FailuresB, g.AttemptsB})
		single = append(single, TwoGroups{i % 2, 1, 0, 0}, TwoGroups{0, 0, i % 3 / 2, 1})
	}
	of := func(clusters []TwoGroups) ClusteredComparison {
		c, err := CompareClusters(clusters, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	if s, a := of(shared), of(apart); *s.DesignEffect > *a.DesignEffect/10 || *a.DesignEffect < 2 {
		t.Errorf("shared %g, apart %g", *s.DesignEffect, *a.DesignEffect)
	}
	one := of(single)
	closeTo(t, "clusters of one", *one.DesignEffectA, 10.0/9, 1e-12)
	closeTo(t, "clusters of one", *one.DesignEffectB, 10.0/9, 1e-12)
}

func TestCompareClustersWithoutSpread(t *testing.T) {
	none := []TwoGroups{{0, 5, 1, 5}, {0, 6, 3, 7}}
	got, err := CompareClusters(none, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if got.DesignEffectA != nil || got.DesignEffectB == nil || got.DifferenceInterval != nil || got.DesignEffect != nil || *got.RelativeRisk.Estimate != 0 || !got.RelativeRisk.Vacuous() {
		t.Errorf("no failures in A: %+v", got)
	}
	same := []TwoGroups{{1, 2, 0, 0}, {2, 4, 0, 0}, {0, 0, 1, 4}, {0, 0, 2, 8}}
	if got, err = CompareClusters(same, 0.95); err != nil {
		t.Fatal(err)
	}
	if got.DifferenceInterval != nil || !got.RelativeRisk.Vacuous() {
		t.Errorf("all clusters alike: %+v; no variance is seen, so there is no interval", got)
	}
	_, err = CompareClusters([]TwoGroups{{1, 5, 1, 5}, {0, 0, 3, 7}}, 0.95)
	refused(t, err, "the number of clusters with attempts of A", "the number of clusters with attempts of A is 1, but must be at least 2")
	_, err = CompareClusters([]TwoGroups{{1, 5, 1, 5}, {3, 7, 0, 0}}, 0.95)
	refused(t, err, "the number of clusters with attempts of B", "the number of clusters with attempts of B is 1, but must be at least 2")
}
