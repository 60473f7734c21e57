package stats

import (
	"errors"
	"math"
)

// ClusteredComparison compares two groups whose attempts come in clusters that
// are not independent inside, such as the fasteners of a joint.
type ClusteredComparison struct {
	// ClustersA and ClustersB are how many clusters have attempts of each group;
	// one may have both.
	ClustersA, ClustersB int
	// DesignEffectA and DesignEffectB are how many times the variance of the
	// group's rate is what independent attempts would give: J. N. K. Rao, A. J.
	// Scott, "A simple method for the analysis of clustered binary data",
	// Biometrics 48 (1992) 577-585. Nil when nothing or everything failed.
	DesignEffectA, DesignEffectB *float64
	// RelativeRisk has an interval symmetric about the logarithm; it is the
	// whole range when a group had no failures, both nothing else, or all
	// clusters the same rate, which leaves no variance to be seen.
	RelativeRisk RatioInterval
	// Difference is of A less B; DifferenceInterval is nil when nothing or
	// everything failed in either group, or all clusters had the same rate.
	Difference         float64
	DifferenceInterval *Interval
	// DesignEffect is that of the difference, which attempts of both groups in
	// one cluster make smaller; nil as DifferenceInterval is.
	DesignEffect *float64
}

// CompareClusters compares two groups from their counts by cluster. The
// variances are those of ratios of totals by linearisation, each group with
// Rao and Scott's m/(m−1) for its m clusters and with the covariance of the two
// where clusters have both. The quantile is Student's with one less than the
// smaller number of clusters, the least that B. L. Welch's approximation
// (Biometrika 29 (1938) 350-362) allows.
//
// An [*ArgumentError] is returned for bad counts, naming the cluster by its
// place from 1, fewer than two clusters in a group, and a confidence not
// strictly between 0 and 1.
func CompareClusters(clusters []TwoGroups, confidence float64) (ClusteredComparison, error) {
	if err := checkClusters(clusters); err != nil {
		return ClusteredComparison{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return ClusteredComparison{}, err
	}
	s := sumClusters(clusters)
	if s.mA < 2 {
		return ClusteredComparison{}, badCount("the number of clusters with attempts of A", s.mA, "must be at least 2")
	}
	if s.mB < 2 {
		return ClusteredComparison{}, badCount("the number of clusters with attempts of B", s.mB, "must be at least 2")
	}
	a, b, c, d := s.sum.cells()
	nA, nB := a+b, c+d
	pA, pB := a/nA, c/nB
	out := ClusteredComparison{
		ClustersA: int(s.mA), ClustersB: int(s.mB),
		RelativeRisk: estimatedRatio(a*nB, c*nA), Difference: pA - pB,
	}
	vA, vB, cov := s.variances(clusters, pA, pB)
	naiveA, naiveB := pA*(b/nA)/nA, pB*(d/nB)/nB
	out.DesignEffectA, out.DesignEffectB = ratioOf(vA, naiveA), ratioOf(vB, naiveB)
	t := studentUpperQuantile((1-confidence)/2, float64(min(s.mA, s.mB)-1))
	if variance := vA + vB - 2*cov; naiveA > 0 && naiveB > 0 && variance > 0 {
		half := t * math.Sqrt(variance)
		out.DifferenceInterval = &Interval{Lower: within(out.Difference-half, -1, out.Difference), Upper: within(out.Difference+half, out.Difference, 1)}
		out.DesignEffect = ratioOf(variance, naiveA+naiveB)
	}
	if logVariance := vA/pA/pA + vB/pB/pB - 2*cov/pA/pB; a > 0 && c > 0 && logVariance > 0 {
		// logNormal multiplies by the normal quantile; the ratio makes it t.
		z := normalUpperQuantile((1 - confidence) / 2)
		out.RelativeRisk = out.RelativeRisk.logNormal(math.Sqrt(logVariance)*t/z, confidence)
	}
	return out, nil
}

func checkClusters(clusters []TwoGroups) error {
	err := checkStrata(clusters)
	if bad, ok := errors.AsType[*ArgumentError](err); ok && len(bad.Argument) > 7 && bad.Argument[:7] == "stratum" {
		bad.Argument = "cluster" + bad.Argument[7:]
	}
	return err
}

type clusterSums struct {
	sum    TwoGroups
	mA, mB int64
}

func sumClusters(clusters []TwoGroups) clusterSums {
	var s clusterSums
	for _, g := range clusters {
		s.sum.FailuresA += g.FailuresA
		s.sum.AttemptsA += g.AttemptsA
		s.sum.FailuresB += g.FailuresB
		s.sum.AttemptsB += g.AttemptsB
		if g.AttemptsA > 0 {
			s.mA++
		}
		if g.AttemptsB > 0 {
			s.mB++
		}
	}
	return s
}

// variances gives those of the two rates and their covariance.
func (s clusterSums) variances(clusters []TwoGroups, pA, pB float64) (vA, vB, cov float64) {
	nA, nB := float64(s.sum.AttemptsA), float64(s.sum.AttemptsB)
	for _, g := range clusters {
		rA := (float64(g.FailuresA) - pA*float64(g.AttemptsA)) / nA
		rB := (float64(g.FailuresB) - pB*float64(g.AttemptsB)) / nB
		vA, vB, cov = vA+rA*rA, vB+rB*rB, cov+rA*rB
	}
	fA, fB := float64(s.mA)/float64(s.mA-1), float64(s.mB)/float64(s.mB-1)
	return vA * fA, vB * fB, cov * math.Sqrt(fA*fB)
}
