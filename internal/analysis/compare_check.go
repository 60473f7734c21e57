package analysis

import (
	"fmt"
	"strconv"
	"strings"

	"jointledger/internal/stats"
)

// compareCheck refuses a bad question and leaves out arms whose denominator is
// not known and strata without attempts; it names the former.
func compareCheck(in *CompareInput) (unknown []string, err error) {
	if in.NameA == in.NameB {
		return nil, &stats.ArgumentError{Argument: "B", Value: strconv.Quote(in.NameB), Requirement: "must differ from A: a thing is not compared with itself"}
	}
	in.NameA, in.NameB = compareName(in.NameA), compareName(in.NameB)
	if in.NameA == in.NameB {
		return nil, &stats.ArgumentError{Argument: "B", Value: strconv.Quote(in.NameB), Requirement: "must differ from A, which is shown as the same"}
	}
	for i, g := range in.StratifiedBy {
		if !Groupings.Known(g) {
			return nil, &stats.ArgumentError{Argument: "the grouping of the strata", Value: strconv.Itoa(int(g)), Requirement: "must be one of " + strings.Join(Groupings.All(), ", ")}
		}
		for _, earlier := range in.StratifiedBy[:i] {
			if g == earlier {
				return nil, &stats.ArgumentError{Argument: "the grouping of the strata", Value: Groupings.Name(g), Requirement: "must be given once only"}
			}
		}
	}
	var kept []CompareStratum
	var attempts int64
	seen := map[string]bool{}
	for _, s := range in.Strata {
		if err := compareCheckStratum(*in, s); err != nil {
			return nil, err
		}
		key := strings.Join(s.Names, "\x00")
		if seen[key] {
			return nil, &stats.ArgumentError{Argument: "the stratum " + compareStratumName(s.Names), Value: "given twice", Requirement: "must be given once, with the counts of both arms"}
		}
		seen[key] = true
		for _, arm := range []struct {
			name string
			arm  *CompareArm
		}{{in.NameA, &s.A}, {in.NameB, &s.B}} {
			if arm.arm.DenominatorUnknown {
				unknown = append(unknown, fmt.Sprintf("%s%s with %s", arm.name, compareWhere(s.Names), compareCount(arm.arm.Failures, "failure")))
				*arm.arm = CompareArm{}
			}
		}
		if attempts += s.A.Attempts + s.B.Attempts; attempts > stats.MaxCount/2 {
			return nil, &stats.ArgumentError{Argument: "the sum of the attempts", Value: strconv.FormatInt(attempts, 10), Requirement: fmt.Sprintf("must be at most %d", int64(stats.MaxCount/2))}
		}
		if s.A.Attempts+s.B.Attempts > 0 {
			kept = append(kept, s)
		}
	}
	in.Strata = kept
	return unknown, nil
}

func compareCheckStratum(in CompareInput, s CompareStratum) error {
	if len(s.Names) != len(in.StratifiedBy) {
		return &stats.ArgumentError{Argument: "the stratum " + compareStratumName(s.Names), Value: "named by " + compareCount(int64(len(s.Names)), "value"), Requirement: fmt.Sprintf("must have one for each of the %d groupings", len(in.StratifiedBy))}
	}
	for _, arm := range []struct {
		name string
		arm  CompareArm
	}{{in.NameA, s.A}, {in.NameB, s.B}} {
		where := arm.name + compareWhere(s.Names)
		bad := func(what string, value int64, requirement string) error {
			return &stats.ArgumentError{Argument: what + " of " + where, Value: strconv.FormatInt(value, 10), Requirement: requirement}
		}
		failures, attempts := arm.arm.Failures, arm.arm.Attempts
		switch {
		case failures < 0:
			return bad("failures", failures, "must be at least 0")
		case arm.arm.DenominatorUnknown:
		case attempts < 0:
			return bad("attempts", attempts, "must be at least 0")
		case attempts > stats.MaxCount/2:
			return bad("attempts", attempts, fmt.Sprintf("must be at most %d", int64(stats.MaxCount/2)))
		case failures > attempts:
			return bad("failures", failures, fmt.Sprintf("must be at most the number of attempts, %d", attempts))
		}
	}
	return nil
}

// checkArms refuses a comparison that one arm is missing from altogether.
func (q comparison) checkArms() error {
	for _, arm := range []struct {
		name     string
		attempts int64
	}{{q.in.NameA, q.all.AttemptsA}, {q.in.NameB, q.all.AttemptsB}} {
		if arm.attempts > 0 {
			continue
		}
		requirement := "must be at least 1: there is nothing to compare"
		if len(q.unknown) > 0 {
			requirement += ". Left out, for how many went well is not on record: " + list(q.unknown)
		}
		return &stats.ArgumentError{Argument: "attempts of " + arm.name, Value: "0", Requirement: requirement}
	}
	return nil
}

// compareName is how an arm or a stratum's value is shown.
func compareName(name string) string {
	if name == "" {
		return "(none)"
	}
	return name
}

func compareStratumName(names []string) string {
	if len(names) == 0 {
		return "(unnamed)"
	}
	shown := make([]string, len(names))
	for i, n := range names {
		shown[i] = compareName(n)
	}
	return strings.Join(shown, " / ")
}

// compareWhere is a stratum after the name of an arm, such as " (RVB)"; empty
// when nothing is stratified.
func compareWhere(names []string) string {
	if len(names) == 0 {
		return ""
	}
	return " (" + compareStratumName(names) + ")"
}

// compareCount is a count with its noun.
func compareCount(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.FormatInt(n, 10) + " " + noun + "s"
}
