package regression

import (
	"math"
	"testing"
)

// With one factor the model has a proportion for each level, and the sandwich is
// by hand: on the logit scale the variance of level l is G/(G−1)·Σ(y−np)² over its
// clusters / (Σn·p(1−p))², and variances of two levels with no cluster in common
// add up.
func TestClusterRobustByHand(t *testing.T) {
	d := Data{Family: Binomial,
		Events: []int64{1, 4, 0, 3, 2, 6, 5, 1}, Trials: []int64{8, 8, 4, 9, 8, 10, 8, 4},
		Terms: []Term{factor("lot", []string{"A", "A", "A", "A", "B", "B", "B", "B"})}}
	cluster := []int{10, 10, 20, 30, 40, 50, 60, 40} // rows 1 and 2, 5 and 8 share a joint
	m := fit(t, d, Options{})
	r, err := m.ClusterRobust(cluster)
	if err != nil {
		t.Fatal(err)
	}
	logit := func(p, n float64, sums ...[2]float64) (robust, naive float64) {
		total := 0.0
		for _, s := range sums {
			total += (s[0] - s[1]*p) * (s[0] - s[1]*p)
		}
		return 6.0 / 5 * total / math.Pow(n*p*(1-p), 2), 1 / (n * p * (1 - p))
	}
	a, naiveA := logit(8.0/29, 29, [2]float64{5, 16}, [2]float64{0, 4}, [2]float64{3, 9})
	b, naiveB := logit(14.0/30, 30, [2]float64{3, 12}, [2]float64{6, 10}, [2]float64{5, 8})
	near(t, "standard error of the intercept", r.Coefficients[0].StandardError, math.Sqrt(a), 1e-9)
	near(t, "standard error of B", r.Coefficients[1].StandardError, math.Sqrt(a+b), 1e-9)
	near(t, "design effect of B", r.DesignEffect[1], (a+b)/(naiveA+naiveB), 1e-9)
	near(t, "factor", r.Factor, 6.0/5, 1e-15)
	if r.Clusters != 6 || r.LevelClusters[0][0] != 3 || r.LevelClusters[0][1] != 3 {
		t.Errorf("%d clusters, by level %v; want 6, 3 and 3", r.Clusters, r.LevelClusters)
	}
	// One coefficient: F is the square of t.
	test, ok := m.RobustTerm(r, 0)
	if !ok || test.DegreesOfFreedom != 1 {
		t.Fatalf("%+v, %v", test, ok)
	}
	near(t, "F", test.Statistic, math.Pow(m.Coefficients[1].Estimate, 2)/(a+b), 1e-9)
	near(t, "its p", test.PValue, r.Coefficients[1].PValue, 1e-9)
	// Student's t with 5 degrees of freedom: 2.570582 (tables, from memory).
	near(t, "limit", r.Coefficients[1].Wald.Upper-r.Coefficients[1].Estimate, 2.570582*math.Sqrt(a+b), 1e-6)

	for level, c := range []struct{ p, robust, naive float64 }{{8.0 / 29, a, naiveA}, {14.0 / 30, b, naiveB}} {
		margin, ok := m.LevelMargin(0, level, r)
		if !ok || margin.Robust == nil {
			t.Fatalf("level %d: %v", level, ok)
		}
		near(t, "rate", margin.Rate, c.p, 1e-9)
		near(t, "lower", margin.Interval.Lower, Binomial.Rate(math.Log(c.p/(1-c.p))-1.959963984540054*math.Sqrt(c.naive)), 1e-8)
		near(t, "robust upper", margin.Robust.Upper, Binomial.Rate(math.Log(c.p/(1-c.p))+2.570582*math.Sqrt(c.robust)), 1e-6)
	}
}

// A row for each cluster, but as two halves of it: the same scores, the same
// sandwich.
func TestClustersAreSummed(t *testing.T) {
	d := lots(120, 4, 3)
	whole := make([]int, 120)
	halves, twice := picked(d, nil), []int{}
	for i := range 120 {
		whole[i] = i
		a, b := picked(d, []int{i}), picked(d, []int{i})
		a.Trials[0], a.Events[0] = d.Trials[i]/2, d.Events[i]/3
		b.Trials[0], b.Events[0] = d.Trials[i]-a.Trials[0], d.Events[i]-a.Events[0]
		if i == 0 {
			halves = appended(a, b)
		} else {
			halves = appended(appended(halves, a), b)
		}
		twice = append(twice, i, i)
	}
	for _, penalty := range []Penalty{WhenSeparated, Always} {
		a, err := fit(t, d, Options{Penalty: penalty}).ClusterRobust(whole)
		if err != nil {
			t.Fatal(err)
		}
		b, err := fit(t, halves, Options{Penalty: penalty}).ClusterRobust(twice)
		if err != nil {
			t.Fatal(err)
		}
		for c := range a.Coefficients {
			near(t, "standard error", b.Coefficients[c].StandardError, a.Coefficients[c].StandardError, 1e-8)
		}
	}
}

// The joint test of a term's coefficients is the same whatever level they are
// taken against.
func TestRobustTermDoesNotKnowTheReference(t *testing.T) {
	d := lots(120, 4, 3)
	cluster := make([]int, 120)
	for i := range cluster {
		cluster[i] = i / 3
	}
	var statistic [2]float64
	for k := range statistic {
		d.Terms[0].Reference = 2 * k
		m := fit(t, d, Options{})
		r, err := m.ClusterRobust(cluster)
		if err != nil {
			t.Fatal(err)
		}
		test, ok := m.RobustTerm(r, 0)
		if !ok || test.DegreesOfFreedom != 3 {
			t.Fatalf("%+v, %v", test, ok)
		}
		statistic[k] = test.Statistic
	}
	near(t, "F", statistic[1], statistic[0], 1e-8)
}

func TestClusterArguments(t *testing.T) {
	m := fit(t, lots(20, 2), Options{})
	_, err := m.ClusterRobust(make([]int, 3))
	refused(t, err, "length of cluster is 3, but must be the number of rows, 20")
	_, err = m.ClusterRobust(make([]int, 20))
	refused(t, err, "clusters is 1, but must be at least 2")
}
