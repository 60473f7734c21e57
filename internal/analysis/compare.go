package analysis

import (
	"slices"

	"jointledger/internal/stats"
)

// CompareArm is what one of two compared arms adds up to in a stratum.
type CompareArm struct {
	Failures, Attempts int64
	// DenominatorUnknown is set where no tightening stands beside the failures:
	// how many went well was not recorded. The arm is then left out.
	DenominatorUnknown bool
}

// CompareStratum is one site, lot or other stratum with the counts of both
// arms; attempts are 0 where an arm was not used.
type CompareStratum struct {
	// Names are in the order of the question's StratifiedBy.
	Names []string
	A, B  CompareArm
}

// CompareInput is a question of one thing against another, such as anti-seize
// against no treatment.
type CompareInput struct {
	// NameA and NameB are the arms as a reader knows them; they must differ. An
	// empty one is where the records name none.
	NameA, NameB string
	// StratifiedBy says what the strata are; when empty there is one of them.
	StratifiedBy []Grouping
	Strata       []CompareStratum
}

// CompareOptions says how the comparison is made.
type CompareOptions struct {
	// Confidence of the two-sided intervals, strictly between 0 and 1; 0.95 when 0.
	Confidence float64
	// Difference, RelativeRisk and OddsRatio are the methods of the crude
	// intervals; Newcombe's hybrid, Katz's and the exact one when 0. Where Katz's
	// does not exist, Koopman's score interval takes its place, and Method says so.
	Difference   stats.DifferenceMethod
	RelativeRisk stats.RelativeRiskMethod
	OddsRatio    stats.OddsRatioMethod
	// Uncorrected leaves out the Cochran-Mantel-Haenszel test's ½ for continuity.
	Uncorrected bool
	// Verb says what a failure is, such as "galls"; "fails" when empty.
	Verb string
}

// CompareAnswer is the answer to a comparison. A figure that does not exist is
// nil, and the cautions say why.
type CompareAnswer struct {
	// Headline says in one or two sentences what the data allow to be said, from
	// the stratified comparison where there is one.
	Headline string
	A, B     CompareRate
	// Crude sets all attempts of A against all of B, whatever the stratum.
	Crude CompareCrude
	// Stratified compares like with like; nil when not asked for, or when no
	// stratum has both arms.
	Stratified *CompareStratified
	// Strata are in the order of their names; empty when not stratified.
	Strata []CompareStratumAnswer
	// Disagreement says how crude and stratified differ; empty when they do not
	// in direction or materially.
	Disagreement string
	Method       string
	Assumption   string
	Cautions     []string
}

// CompareRate is the rate of one arm, per 1,000 attempts, with its Wilson
// interval.
type CompareRate struct {
	Name                                    string
	Failures, Attempts                      int64
	RatePer1000, LowerPer1000, UpperPer1000 float64
}

// CompareDifference is a difference of rates, A less B, in failures per 1,000
// attempts. The limits are nil where there is no standard error or, over strata,
// too few failures for one.
type CompareDifference struct {
	Per1000                    float64
	LowerPer1000, UpperPer1000 *float64
	// NumberNeeded is the inverse, in attempts, and NumberNeededText the same in
	// words; nil and empty without limits.
	NumberNeeded     *stats.NumberNeeded
	NumberNeededText string
}

// CompareCrude is the comparison of all attempts.
type CompareCrude struct {
	Difference   CompareDifference
	RelativeRisk stats.RatioInterval
	OddsRatio    stats.RatioInterval
	// FisherP is two-sided by the sum of small probabilities.
	FisherP   float64
	ChiSquare stats.ChiSquareTest
	// LeastExpected is the smallest count expected of equal rates; below five the
	// chi-square test rests on too little.
	LeastExpected float64
}

// CompareStratified is the comparison inside the strata, put together.
type CompareStratified struct {
	// Strata is how many there are with attempts, BothArms how many have both
	// arms, Informative how many of those have failures but not only failures.
	Strata, BothArms, Informative int
	// CMH is the Cochran-Mantel-Haenszel test.
	CMH stats.ChiSquareTest
	// The common measures of Mantel and Haenszel. Difference is nil without a
	// stratum with both arms.
	OddsRatio, RelativeRisk stats.RatioInterval
	Difference              *CompareDifference
	// Homogeneity asks whether the odds ratio is the same in all strata.
	Homogeneity stats.Homogeneity
}

// CompareStratumAnswer is one stratum by itself.
type CompareStratumAnswer struct {
	Names []string
	// A and B are nil where the stratum has no attempts of the arm.
	A, B *CompareRate
	// RelativeRisk has Koopman's score interval; nil with one arm only.
	RelativeRisk *stats.RatioInterval
	// Note says why a stratum adds nothing; empty when it does add.
	Note string
}

// Compare answers a comparison. The error is a *stats.ArgumentError that names
// the arm and stratum: for counts that are none, an arm without attempts, an arm
// compared with itself, a stratum given twice, or a bad option.
func Compare(in CompareInput, o CompareOptions) (CompareAnswer, error) {
	o = compareDefaults(o)
	empty := compareEmpty(in)
	unknown, err := compareCheck(&in)
	if err != nil {
		return CompareAnswer{}, err
	}
	groups := make([]stats.TwoGroups, len(in.Strata))
	for i, s := range in.Strata {
		groups[i] = s.groups()
	}
	all := compareSum(groups)
	q := comparison{in: in, o: o, groups: groups, all: all, unknown: unknown, empty: empty}
	if err := q.checkArms(); err != nil {
		return CompareAnswer{}, err
	}
	var a CompareAnswer
	if a.A, a.B, err = compareRates(in, all, o.Confidence); err != nil {
		return CompareAnswer{}, err
	}
	if a.Crude, err = q.crude(); err != nil {
		return CompareAnswer{}, err
	}
	if q.stratified() {
		if a.Strata, err = q.eachStratum(); err != nil {
			return CompareAnswer{}, err
		}
		if a.Stratified, err = q.acrossStrata(); err != nil {
			return CompareAnswer{}, err
		}
	}
	a.Headline = q.headline(&a)
	a.Disagreement = q.disagreement(&a)
	a.Method = q.method(&a)
	a.Assumption = q.assumption(&a)
	a.Cautions = q.cautions(&a)
	return a, nil
}

// comparison is a question under way.
type comparison struct {
	in     CompareInput
	o      CompareOptions
	groups []stats.TwoGroups
	all    stats.TwoGroups
	// unknown names the arms that were left out for want of a denominator.
	unknown []string
	// empty names the strata in which neither arm has anything on record.
	empty []string
}

func compareDefaults(o CompareOptions) CompareOptions {
	if o.Confidence == 0 {
		o.Confidence = 0.95
	}
	if o.Difference == 0 {
		o.Difference = stats.NewcombeHybrid
	}
	if o.RelativeRisk == 0 {
		o.RelativeRisk = stats.Katz
	}
	if o.OddsRatio == 0 {
		o.OddsRatio = stats.ConditionalExact
	}
	if o.Verb == "" {
		o.Verb = "fails"
	}
	return o
}

func (q comparison) stratified() bool { return len(q.in.StratifiedBy) > 0 }

func (s CompareStratum) groups() stats.TwoGroups {
	return stats.TwoGroups{FailuresA: s.A.Failures, AttemptsA: s.A.Attempts, FailuresB: s.B.Failures, AttemptsB: s.B.Attempts}
}

func compareSum(groups []stats.TwoGroups) stats.TwoGroups {
	var sum stats.TwoGroups
	for _, g := range groups {
		sum.FailuresA += g.FailuresA
		sum.AttemptsA += g.AttemptsA
		sum.FailuresB += g.FailuresB
		sum.AttemptsB += g.AttemptsB
	}
	return sum
}

// compareRates gives the rates of both arms, which have attempts.
func compareRates(in CompareInput, g stats.TwoGroups, confidence float64) (a, b CompareRate, err error) {
	if a, err = compareRate(in.NameA, g.FailuresA, g.AttemptsA, confidence); err != nil {
		return a, b, err
	}
	b, err = compareRate(in.NameB, g.FailuresB, g.AttemptsB, confidence)
	return a, b, err
}

func compareRate(name string, failures, attempts int64, confidence float64) (CompareRate, error) {
	i, err := stats.Proportion(failures, attempts, stats.Wilson, confidence)
	if err != nil {
		return CompareRate{}, err
	}
	return CompareRate{
		Name: name, Failures: failures, Attempts: attempts,
		RatePer1000:  1000 * float64(failures) / float64(attempts),
		LowerPer1000: 1000 * i.Lower, UpperPer1000: 1000 * i.Upper,
	}, nil
}

// eachStratum gives every stratum by itself, in the order of the names.
func (q comparison) eachStratum() ([]CompareStratumAnswer, error) {
	var answers []CompareStratumAnswer
	for i, s := range q.in.Strata {
		g := q.groups[i]
		one := CompareStratumAnswer{Names: s.Names, Note: q.stratumNote(g)}
		for _, arm := range []struct {
			name               string
			failures, attempts int64
			rate               **CompareRate
		}{{q.in.NameA, g.FailuresA, g.AttemptsA, &one.A}, {q.in.NameB, g.FailuresB, g.AttemptsB, &one.B}} {
			if arm.attempts == 0 {
				continue
			}
			rate, err := compareRate(arm.name, arm.failures, arm.attempts, q.o.Confidence)
			if err != nil {
				return nil, err
			}
			*arm.rate = &rate
		}
		if g.BothArms() {
			ratio, err := stats.RelativeRisk(g, stats.Koopman, q.o.Confidence)
			if err != nil {
				return nil, err
			}
			one.RelativeRisk = &ratio
		}
		answers = append(answers, one)
	}
	slices.SortStableFunc(answers, func(a, b CompareStratumAnswer) int { return slices.Compare(a.Names, b.Names) })
	return answers, nil
}
