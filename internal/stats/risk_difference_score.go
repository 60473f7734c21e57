package stats

import "math"

// differenceScoreUpper gives the difference d above the observed one at which
// the score statistic (observed − d)/s(d) is −z. Its standard error s(d) is
// taken at the probabilities most likely among those that differ by d.
func differenceScoreUpper(g TwoGroups, z float64) float64 {
	a, b, c, d := g.cells()
	nA, nB := a+b, c+d
	observed := a/nA - c/nB
	if observed == 1 {
		return 1
	}
	excess := func(difference float64) float64 {
		pA, qA, pB, qB := likeliestWithDifference(g, difference)
		return difference - observed - z*math.Sqrt(pA*qA/nA+pB*qB/nB)
	}
	// Where nothing or everything failed in each group the standard error is 0
	// at the observed difference, which is then a root, but not the one that is
	// looked for; that one is not below z²/(n+z²), Wilson's limit for no
	// failures in n.
	least := 1e-6 * z * z / (nA + nB + z*z) * (1 - observed)
	return within(bracketedRoot(excess, observed+least, 1), observed, 1)
}

// likeliestWithDifference gives the probabilities pA = pB + difference that
// maximise the likelihood, with their complements.
//
// The textbook solution of the cubic loses digits when failures are rare, so
// the derivative of the log-likelihood, which falls as pB rises, is searched
// for its zero. It is multiplied by those of pA, qA, pB, qB that it is divided
// by, which keeps it finite at the ends.
func likeliestWithDifference(g TwoGroups, difference float64) (pA, qA, pB, qB float64) {
	if difference < 0 {
		pB, qB, pA, qA = likeliestWithDifference(g.Swapped(), -difference)
		return pA, qA, pB, qB
	}
	a, b, c, d := g.cells()
	if difference == 0 {
		n := a + b + c + d
		return (a + c) / n, (b + d) / n, (a + c) / n, (b + d) / n
	}
	top := 1 - difference
	slope := func(p float64) float64 {
		terms := []struct{ count, probability float64 }{{a, p + difference}, {c, p}, {-b, top - p}, {-d, 1 - p}}
		sum := 0.0
		for i, t := range terms {
			if t.count == 0 {
				continue
			}
			product := t.count
			for j, u := range terms {
				if j != i && u.count != 0 {
					product *= u.probability
				}
			}
			sum -= product
		}
		return sum
	}
	pB = bracketedRoot(slope, 0, top)
	return pB + difference, top - pB, pB, 1 - pB
}
