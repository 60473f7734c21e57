package stats

import (
	"errors"
	"fmt"
)

// TwoGroups are the failures and attempts of two groups, A and B, that are
// compared; as one of many they are a stratum or a cluster. Differences are of
// A less B, ratios are of A over B.
type TwoGroups struct {
	FailuresA, AttemptsA int64
	FailuresB, AttemptsB int64
}

// Swapped names the groups the other way round.
func (g TwoGroups) Swapped() TwoGroups {
	return TwoGroups{g.FailuresB, g.AttemptsB, g.FailuresA, g.AttemptsA}
}

// BothArms says whether there are attempts in both groups: without, there is
// nothing to compare.
func (g TwoGroups) BothArms() bool { return g.AttemptsA > 0 && g.AttemptsB > 0 }

// Informative says whether the groups can differ given their margins: both have
// attempts, and something but not everything failed. A stratum that is not
// informative adds nothing to an odds ratio or a test.
func (g TwoGroups) Informative() bool {
	failures := g.FailuresA + g.FailuresB
	return g.BothArms() && failures > 0 && failures < g.AttemptsA+g.AttemptsB
}

// check refuses counts that are no counts of failures among attempts. Attempts
// may be 0 in a stratum, where one group was not used.
func (g TwoGroups) check(least int64) error {
	for _, arm := range []struct {
		name               string
		failures, attempts int64
	}{{"A", g.FailuresA, g.AttemptsA}, {"B", g.FailuresB, g.AttemptsB}} {
		attempts, failures := "attempts of "+arm.name, "failures of "+arm.name
		switch {
		case arm.attempts < least:
			return badCount(attempts, arm.attempts, fmt.Sprintf("must be at least %d", least))
		case arm.attempts > MaxCount/2:
			return badCount(attempts, arm.attempts, fmt.Sprintf("must be at most %d", int64(MaxCount/2)))
		case arm.failures < 0:
			return badCount(failures, arm.failures, "must be at least 0")
		case arm.failures > arm.attempts:
			return badCount(failures, arm.failures, fmt.Sprintf("must be at most the number of attempts, %d", arm.attempts))
		}
	}
	return nil
}

// checkStrata refuses a list of strata with bad counts, naming the stratum by
// its place, from 1, and strata that add up to more than [MaxCount].
func checkStrata(strata []TwoGroups) error {
	var attempts int64
	for i, g := range strata {
		if err := g.check(0); err != nil {
			if bad, ok := errors.AsType[*ArgumentError](err); ok {
				bad.Argument = fmt.Sprintf("stratum %d: %s", i+1, bad.Argument)
			}
			return err
		}
		if attempts += g.AttemptsA + g.AttemptsB; attempts > MaxCount {
			return badCount("the sum of the attempts", attempts, fmt.Sprintf("must be at most %d", int64(MaxCount)))
		}
	}
	return nil
}

// cells gives the counts of the 2×2 table as floats: failures and successes of
// A, then of B.
func (g TwoGroups) cells() (a, b, c, d float64) {
	return float64(g.FailuresA), float64(g.AttemptsA - g.FailuresA), float64(g.FailuresB), float64(g.AttemptsB - g.FailuresB)
}
