package analysis

import (
	"fmt"
	"strconv"

	"jointledger/internal/stats"
)

// CompareClusterInput is a comparison from the counts of each joint, site or
// other cluster inside which attempts are not independent.
type CompareClusterInput struct {
	NameA, NameB string
	// Unit is what a cluster is called; "joint" when empty.
	Unit string
	// Clusters have one name each; a cluster may have attempts of both arms.
	Clusters []CompareStratum
}

// CompareClusterAnswer sets the interval that knows of the clusters beside the
// one that takes every attempt as independent.
type CompareClusterAnswer struct {
	Headline string
	A, B     CompareRate
	// ClustersA and ClustersB are how many clusters have attempts of each arm.
	ClustersA, ClustersB int
	// Robust is by cluster, Naive by Katz or, where that does not exist, by
	// Koopman.
	Robust, Naive stats.RatioInterval
	// RobustDifference and NaiveDifference are in failures per 1,000 attempts.
	RobustDifference, NaiveDifference CompareDifference
	// DesignEffect is how many times the variance of the difference is what
	// independent attempts would give; DesignEffectA and B the same of each rate.
	// Nil when nothing or everything failed.
	DesignEffect, DesignEffectA, DesignEffectB *float64
	Method, Assumption                         string
	Cautions                                   []string
}

// compareFewClusters is below how many in an arm a variance between clusters is poorly
// known: A. C. Cameron, J. B. Gelbach, D. L. Miller, Rev. Econ. Statist. 90
// (2008) 414-427, from memory.
const compareFewClusters = 30

// CompareByCluster answers a comparison of clusters. The error is a
// *stats.ArgumentError as [Compare] gives, and for an arm with fewer than two
// clusters. Of the options it uses the confidence and the verb.
func CompareByCluster(in CompareClusterInput, o CompareOptions) (CompareClusterAnswer, error) {
	o = compareDefaults(o)
	if in.Unit == "" {
		in.Unit = "joint"
	}
	// The grouping only says that each cluster has one name.
	whole := CompareInput{NameA: in.NameA, NameB: in.NameB, StratifiedBy: []Grouping{BySite}, Strata: in.Clusters}
	unknown, err := compareCheck(&whole)
	if err != nil {
		return CompareClusterAnswer{}, err
	}
	groups := make([]stats.TwoGroups, len(whole.Strata))
	for i, s := range whole.Strata {
		groups[i] = s.groups()
	}
	// Crude from here on: the clusters are no strata.
	whole.StratifiedBy = nil
	q := comparison{in: whole, o: o, groups: groups, all: compareSum(groups), unknown: unknown}
	if err := q.checkArms(); err != nil {
		return CompareClusterAnswer{}, err
	}
	if err := q.checkClusters(in.Unit); err != nil {
		return CompareClusterAnswer{}, err
	}
	robust, err := stats.CompareClusters(groups, o.Confidence)
	if err != nil {
		return CompareClusterAnswer{}, err
	}
	crude, err := q.crude()
	if err != nil {
		return CompareClusterAnswer{}, err
	}
	a := CompareClusterAnswer{
		ClustersA: robust.ClustersA, ClustersB: robust.ClustersB,
		Robust: robust.RelativeRisk, Naive: crude.RelativeRisk, NaiveDifference: crude.Difference,
		DesignEffect: robust.DesignEffect, DesignEffectA: robust.DesignEffectA, DesignEffectB: robust.DesignEffectB,
	}
	if a.A, a.B, err = compareRates(whole, q.all, o.Confidence); err != nil {
		return CompareClusterAnswer{}, err
	}
	if a.RobustDifference, err = compareDifference(robust.Difference, robust.DifferenceInterval); err != nil {
		return CompareClusterAnswer{}, err
	}
	q.describeClusters(&a, in.Unit)
	return a, nil
}

// checkClusters refuses an arm with one cluster: nothing shows how they spread.
func (q comparison) checkClusters(unit string) error {
	var a, b int
	for _, g := range q.groups {
		if g.AttemptsA > 0 {
			a++
		}
		if g.AttemptsB > 0 {
			b++
		}
	}
	for _, arm := range []struct {
		name     string
		clusters int
	}{{q.in.NameA, a}, {q.in.NameB, b}} {
		if arm.clusters < 2 {
			return &stats.ArgumentError{Argument: fmt.Sprintf("the number of %ss with %s", unit, arm.name), Value: strconv.Itoa(arm.clusters), Requirement: "must be at least 2, for the spread between them to be seen"}
		}
	}
	return nil
}

func (q comparison) describeClusters(a *CompareClusterAnswer, unit string) {
	a.Headline = q.clusterHeadline(a, unit)
	a.Method = fmt.Sprintf("Two-sided, confidence %s. By %s: ratio of totals with linearised variances between %ss (Rao and Scott 1992), the covariance where a %s has both, Student's t with one less than the smaller number of %ss. Beside it, as if independent: %s; %s.",
		comparePercent(q.o.Confidence), unit, unit, unit, unit, compareRiskWords[q.riskMethod()], compareDifferenceWords[q.o.Difference])
	a.Assumption = fmt.Sprintf("%ss are independent of one another, fasteners inside one need not be; every failure and every fastener that went well is on record.", compareCapital(unit))
	a.Cautions = []string{fmt.Sprintf("Fasteners of one joint are not independent of each other: they share lot, tool, hands and weather. The interval by %s allows for that as far as a %s holds what they share; a lot or a site that spans several does not come in.", unit, unit)}
	if c := q.unknownCaution(); c != "" {
		a.Cautions = append(a.Cautions, c)
	}
	if least := min(a.ClustersA, a.ClustersB); least < compareFewClusters {
		a.Cautions = append(a.Cautions, fmt.Sprintf("Few clusters: an arm has only %d %ss, fewer than %d, and the spread between them is poorly known (Cameron, Gelbach and Miller 2008); the interval may still be too narrow.", least, unit, compareFewClusters))
	}
	if a.Robust.Vacuous() {
		a.Cautions = append(a.Cautions, fmt.Sprintf("An arm has no failures, or all %ss the same rate: the spread between %ss cannot be seen, so there is no interval by %s.", unit, unit, unit))
	}
}

// clusterHeadline goes by the interval by cluster; without a test beside it,
// that interval alone decides.
func (q comparison) clusterHeadline(a *CompareClusterAnswer, unit string) string {
	if a.Robust.Vacuous() || a.Robust.Estimate == nil {
		return fmt.Sprintf("No difference can be shown between %s and %s by %s: %s failed in %d of %d attempts, %s in %d of %d, which leaves no spread between %ss to judge by.",
			q.in.NameA, q.in.NameB, unit, q.in.NameA, a.A.Failures, a.A.Attempts, q.in.NameB, a.B.Failures, a.B.Attempts, unit)
	}
	effect := ""
	if a.DesignEffect != nil {
		effect = fmt.Sprintf(" The spread between %ss makes the variance %s times that of independent fasteners.", unit, compareFigure(*a.DesignEffect))
	}
	text := fmt.Sprintf("%s %s %s times as often as %s; %s interval by %s %s.", q.in.NameA, q.o.Verb, compareFigure(*a.Robust.Estimate), q.in.NameB, comparePercent(q.o.Confidence), unit, compareRange(a.Robust))
	if a.Robust.Covers(1) {
		text = fmt.Sprintf("No difference can be shown between %s and %s: %s %s %s times as often, but the %s interval by %s, %s, covers 1.",
			q.in.NameA, q.in.NameB, q.in.NameA, q.o.Verb, compareFigure(*a.Robust.Estimate), comparePercent(q.o.Confidence), unit, compareRange(a.Robust))
	}
	return text + effect
}

// compareCapital begins a sentence.
func compareCapital(word string) string {
	if word == "" || word[0] < 'a' || word[0] > 'z' {
		return word
	}
	return string(word[0]-'a'+'A') + word[1:]
}
