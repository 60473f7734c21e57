package stats

import (
	"math"
	"testing"
)

// FuzzTwoGroups holds, for any counts, that they are refused or give intervals
// in order that hold their estimates, whatever cells are empty and however many
// attempts there are; and that naming the groups the other way round turns the
// difference and the ratios round.
func FuzzTwoGroups(f *testing.F) {
	f.Add(int64(0), int64(30), int64(5), int64(40), 0.95)
	f.Add(int64(30), int64(30), int64(40), int64(40), 0.95)
	f.Add(int64(0), int64(1), int64(0), int64(1), 0.5)
	f.Add(int64(20), int64(2000), int64(50_000), int64(10_000_000), 0.999)
	f.Add(int64(3), int64(2), int64(-1), int64(0), math.NaN())
	f.Add(int64(1), int64(MaxCount), int64(7), int64(9), 1e-12)
	f.Add(int64(1), int64(17), int64(16), int64(17), 1-0x1p-40)
	f.Fuzz(func(t *testing.T, failuresA, attemptsA, failuresB, attemptsB int64, confidence float64) {
		g := TwoGroups{failuresA, attemptsA, failuresB, attemptsB}
		_, err := RiskDifference(g, NewcombeHybrid, confidence)
		arm := func(failures, attempts int64) bool {
			return attempts >= 1 && attempts <= MaxCount/2 && failures >= 0 && failures <= attempts
		}
		valid := arm(failuresA, attemptsA) && arm(failuresB, attemptsB) && confidence > 0 && confidence < 1
		if valid != (err == nil) {
			t.Fatalf("%v at %g: error %v", g, confidence, err)
		}
		confidence = within(foldConfidence(confidence), 1e-6, 1-1e-12)
		for _, largest := range []int64{6, 1e5, 1e8} {
			nA, nB := 1+fold(attemptsA, largest-1), 1+fold(attemptsB, largest-1)
			twoGroupsPromises(t, TwoGroups{fold(failuresA, nA), nA, fold(failuresB, nB), nB}, confidence)
			// Failures are rare beside attempts.
			twoGroupsPromises(t, TwoGroups{fold(failuresA, min(nA, 9)), nA, fold(failuresB, min(nB, 90)), nB}, confidence)
		}
	})
}

func twoGroupsPromises(t *testing.T, g TwoGroups, confidence float64) {
	difference := float64(g.FailuresA)/float64(g.AttemptsA) - float64(g.FailuresB)/float64(g.AttemptsB)
	for _, method := range []DifferenceMethod{NewcombeHybrid, Mee, MiettinenNurminen} {
		i, err := RiskDifference(g, method, confidence)
		if err != nil || !(-1 <= i.Lower && i.Lower <= difference && difference <= i.Upper && i.Upper <= 1) {
			t.Errorf("%v %s at %g: %v, %v", g, method, confidence, i, err)
		}
		if n, err := NumberNeededFrom(difference, i); err != nil || n.Estimate != nil && !(*n.Estimate >= 1) {
			t.Errorf("%v %s at %g: number needed %+v, %v", g, method, confidence, n, err)
		}
	}
	for name, ratio := range map[string]func(TwoGroups) (RatioInterval, error){
		"Katz":    func(g TwoGroups) (RatioInterval, error) { return RelativeRisk(g, Katz, confidence) },
		"Koopman": func(g TwoGroups) (RatioInterval, error) { return RelativeRisk(g, Koopman, confidence) },
		"exact":   func(g TwoGroups) (RatioInterval, error) { return OddsRatio(g, ConditionalExact, confidence) },
		"Woolf":   func(g TwoGroups) (RatioInterval, error) { return OddsRatio(g, WoolfLog, confidence) },
		"common":  func(g TwoGroups) (RatioInterval, error) { return CommonOddsRatio([]TwoGroups{g, g}, confidence) },
		"risk":    func(g TwoGroups) (RatioInterval, error) { return CommonRelativeRisk([]TwoGroups{g, g}, confidence) },
	} {
		one, err := ratio(g)
		if err != nil {
			t.Fatalf("%v %s at %g: %v", g, name, confidence, err)
		}
		other, err := ratio(g.Swapped())
		if err != nil {
			t.Fatalf("%v %s at %g: %v", g, name, confidence, err)
		}
		sound(t, name, one)
		inverse(t, name, one, other, 1e-6)
		if t.Failed() {
			t.Fatalf("%v at %g", g, confidence)
		}
	}
}
