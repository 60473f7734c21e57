package stats

import (
	"math"
	"strconv"
)

// RelativeRiskMethod names a way to make an interval for the ratio of two
// independent proportions.
type RelativeRiskMethod int

const (
	// Katz is symmetric about the logarithm of the ratio: D. Katz, J. Baptista,
	// S. P. Azen, M. C. Pike, "Obtaining confidence intervals for the risk ratio
	// in cohort studies", Biometrics 34 (1978) 469-474. Without failures in a
	// group, or with nothing but failures in both, it has no standard error;
	// the interval is then the whole range, and no 0.5 is added to a cell.
	Katz RelativeRiskMethod = iota + 1
	// Koopman inverts the score test of a stated ratio: P. A. R. Koopman,
	// "Confidence intervals for the ratio of two binomial proportions",
	// Biometrics 40 (1984) 513-517. It needs failures in one group only.
	Koopman
	// MiettinenNurminenRatio is Koopman's with the variance times N/(N−1),
	// where N is the sum of the attempts: O. Miettinen, M. Nurminen, Statist.
	// Med. 4 (1985) 213-226.
	MiettinenNurminenRatio
)

const relativeRiskMethodNames = "katz, koopman or miettinen-nurminen"

// String gives "katz", "koopman" or "miettinen-nurminen".
func (m RelativeRiskMethod) String() string {
	switch m {
	case Katz:
		return "katz"
	case Koopman:
		return "koopman"
	case MiettinenNurminenRatio:
		return "miettinen-nurminen"
	}
	return "RelativeRiskMethod(" + strconv.Itoa(int(m)) + ")"
}

// ParseRelativeRiskMethod reads what [RelativeRiskMethod.String] writes.
// Anything else is an [*ArgumentError] that lists the names.
func ParseRelativeRiskMethod(text string) (RelativeRiskMethod, error) {
	for _, m := range []RelativeRiskMethod{Katz, Koopman, MiettinenNurminenRatio} {
		if m.String() == text {
			return m, nil
		}
	}
	return 0, &ArgumentError{Argument: "method", Value: strconv.Quote(text), Requirement: "must be " + relativeRiskMethodNames}
}

// RelativeRisk gives the ratio of the probability of failure of A to that of B
// with its two-sided interval. An [*ArgumentError] is returned as by
// [RiskDifference].
func RelativeRisk(g TwoGroups, method RelativeRiskMethod, confidence float64) (RatioInterval, error) {
	if err := g.check(1); err != nil {
		return RatioInterval{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return RatioInterval{}, err
	}
	a, b, c, d := g.cells()
	ratio := estimatedRatio(a*(c+d), c*(a+b))
	switch method {
	case Katz:
		variance := b/a/(a+b) + d/c/(c+d)
		if a == 0 || c == 0 || variance == 0 {
			return ratio, nil
		}
		return ratio.logNormal(math.Sqrt(variance), confidence), nil
	case Koopman, MiettinenNurminenRatio:
		z := normalUpperQuantile((1 - confidence) / 2)
		if method == MiettinenNurminenRatio {
			z *= math.Sqrt(scoreInflation(g))
		}
		if c > 0 {
			ratio.Upper = new(float64)
			*ratio.Upper = ratioScoreUpper(g, z)
		}
		if a > 0 {
			ratio.Lower = 1 / ratioScoreUpper(g.Swapped(), z)
		}
		return ratio, nil
	}
	return RatioInterval{}, unknownMethod(method, relativeRiskMethodNames)
}

// ratioScoreUpper gives the ratio r above the observed one at which the score
// statistic (pA − r·pB)/s(r) is −z, for failures in B. Its standard error is
// taken at the probabilities most likely among those with that ratio.
func ratioScoreUpper(g TwoGroups, z float64) float64 {
	a, b, c, d := g.cells()
	nA, nB := a+b, c+d
	excess := func(logRatio float64) float64 {
		r := math.Exp(logRatio)
		// The smaller root of N·r·p² − half·p + (a+c) = 0, written without a
		// difference.
		half := nA*r + a + nB + c*r
		root := math.Sqrt(math.Max(0, half*half-4*(nA+nB)*r*(a+c)))
		pB := math.Min(2*(a+c)/(half+root), math.Min(1, 1/r))
		pA := r * pB
		variance := pA*math.Max(0, 1-pA)/nA + r*r*pB*(1-pB)/nB
		return r*c/nB - a/nA - z*math.Sqrt(variance)
	}
	observed := math.Log(math.Max(a, 0.5) / nA * nB / c)
	// Below the limit the excess is negative, down to 0 at the observed ratio
	// where everything failed in both groups, and again for r towards 0 where
	// nothing failed in A.
	low := observed
	if a == nA && c == nB {
		low += 1e-6 * z * z / (nA + nB + z*z)
	}
	for step := 0.5; excess(low) > 0; step *= 2 {
		low -= step
	}
	high := low + 1
	for step := 1.0; excess(high) < 0; step *= 2 {
		low, high = high, high+step
	}
	return math.Exp(bracketedRoot(excess, low, high))
}
