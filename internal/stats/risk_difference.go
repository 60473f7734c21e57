package stats

import (
	"math"
	"strconv"
)

// DifferenceMethod names a way to make an interval for the difference of two
// independent proportions.
type DifferenceMethod int

const (
	// NewcombeHybrid puts the Wilson limits of the two proportions together: R.
	// G. Newcombe, "Interval estimation for the difference between independent
	// proportions: comparison of eleven methods", Statist. Med. 17 (1998)
	// 873-890, method 10, without continuity correction.
	NewcombeHybrid DifferenceMethod = iota + 1
	// Mee inverts the score test of a stated difference: R. W. Mee, Biometrics
	// 40 (1984) 1175-1176; Newcombe's method 5.
	Mee
	// MiettinenNurminen is Mee's with the variance times N/(N−1), where N is
	// the sum of the attempts: O. Miettinen, M. Nurminen, "Comparative analysis
	// of two rates", Statist. Med. 4 (1985) 213-226; Newcombe's method 6.
	MiettinenNurminen
)

const differenceMethodNames = "newcombe, mee or miettinen-nurminen"

// String gives "newcombe", "mee" or "miettinen-nurminen".
func (m DifferenceMethod) String() string {
	switch m {
	case NewcombeHybrid:
		return "newcombe"
	case Mee:
		return "mee"
	case MiettinenNurminen:
		return "miettinen-nurminen"
	}
	return "DifferenceMethod(" + strconv.Itoa(int(m)) + ")"
}

// ParseDifferenceMethod reads what [DifferenceMethod.String] writes. Anything
// else is an [*ArgumentError] that lists the names.
func ParseDifferenceMethod(text string) (DifferenceMethod, error) {
	for _, m := range []DifferenceMethod{NewcombeHybrid, Mee, MiettinenNurminen} {
		if m.String() == text {
			return m, nil
		}
	}
	return 0, &ArgumentError{Argument: "method", Value: strconv.Quote(text), Requirement: "must be " + differenceMethodNames}
}

// RiskDifference gives the two-sided interval for the probability of failure of
// A less that of B. It lies in [−1, 1] and contains the difference of the
// observed proportions; zero cells need no special care.
//
// An [*ArgumentError] is returned for a group with no attempts, failures beyond
// attempts, a confidence not strictly between 0 and 1, or an unknown method.
func RiskDifference(g TwoGroups, method DifferenceMethod, confidence float64) (Interval, error) {
	if err := g.check(1); err != nil {
		return Interval{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return Interval{}, err
	}
	switch method {
	case NewcombeHybrid:
		return newcombeHybrid(g, confidence), nil
	case Mee, MiettinenNurminen:
		z := normalUpperQuantile((1 - confidence) / 2)
		if method == MiettinenNurminen {
			z *= math.Sqrt(scoreInflation(g))
		}
		lower := -differenceScoreUpper(g.Swapped(), z)
		return Interval{Lower: lower, Upper: differenceScoreUpper(g, z)}, nil
	}
	return Interval{}, unknownMethod(method, differenceMethodNames)
}

// scoreInflation is Miettinen and Nurminen's N/(N−1).
func scoreInflation(g TwoGroups) float64 {
	n := float64(g.AttemptsA + g.AttemptsB)
	return n / (n - 1)
}

func newcombeHybrid(g TwoGroups, confidence float64) Interval {
	a, b, c, d := g.cells()
	pA, pB := a/(a+b), c/(c+d)
	wA := wilsonLimits(a, a+b).twoSided(confidence)
	wB := wilsonLimits(c, c+d).twoSided(confidence)
	difference := pA - pB
	return Interval{
		Lower: within(difference-math.Hypot(pA-wA.Lower, wB.Upper-pB), -1, difference),
		Upper: within(difference+math.Hypot(wA.Upper-pA, pB-wB.Lower), difference, 1),
	}
}
