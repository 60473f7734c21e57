package analysis

import (
	"cmp"
	"slices"

	"jointledger/internal/ledger"
	"jointledger/internal/stats"
)

// RateOptions says which rate is asked and how its interval is made.
type RateOptions struct {
	// Kinds are the incidents that count as failures; all thread failures when
	// empty. Attempts are the same whatever is chosen.
	Kinds []ledger.IncidentKind
	// Method of the interval; Wilson when 0.
	Method stats.ProportionMethod
	// Confidence of the two-sided interval, strictly between 0 and 1; 0.95 when 0.
	Confidence float64
}

// RateAnswer is the answer to a rate question.
type RateAnswer struct {
	// Groups are sorted by rate, highest first, then by their values; those
	// without a known denominator come last. Empty when nothing was grouped by.
	Groups []RateGroup
	// Total is everything that matched; groups without a known denominator are
	// left out of it.
	Total RateGroup
	// Method says in words how the figures were made.
	Method string
	// Assumption is what must hold for them to mean what they say.
	Assumption string
	// Cautions are what a reader must know before acting on them.
	Cautions []string
}

// RateGroup is the rate of one group. A figure that is not known is nil.
type RateGroup struct {
	Values   []string
	Failures int64
	Attempts int64
	// DenominatorKnown is false when no tightening stands beside the incidents:
	// what went well was not recorded, so there is no rate.
	DenominatorKnown bool
	// RatePer1000 and the interval's limits are failures per 1,000 attempts. The
	// limits are nil when more failures than attempts are on record, which only
	// kinds that are no attempts can bring about.
	RatePer1000, LowerPer1000, UpperPer1000 *float64
	// PValue is Fisher's exact test, two-sided, of this group against all others
	// together; PAdjusted is after Benjamini and Hochberg over the groups.
	PValue, PAdjusted *float64
}

// comparable says whether the group can take part in a comparison of
// proportions.
func (g *RateGroup) comparable() bool { return g.DenominatorKnown && g.Failures <= g.Attempts }

// Rates answers a rate question from the counts, one for each combination of
// groupings. The error is a *stats.ArgumentError, for an unknown method, a
// confidence out of range or counts beyond stats.MaxCount.
func Rates(counts []Count, o RateOptions) (RateAnswer, error) {
	if len(o.Kinds) == 0 {
		o.Kinds = ledger.ThreadFailures()
	}
	if o.Method == 0 {
		o.Method = stats.Wilson
	}
	if o.Confidence == 0 {
		o.Confidence = 0.95
	}
	// Checked here so that the answer to a bad question does not depend on
	// whether anything is on record.
	if _, err := stats.Proportion(0, 1, o.Method, o.Confidence); err != nil {
		return RateAnswer{}, err
	}
	var a RateAnswer
	for _, c := range counts {
		g, err := newRateGroup(c, o)
		if err != nil {
			return RateAnswer{}, err
		}
		if g.Failures != 0 || g.Attempts != 0 {
			a.Groups = append(a.Groups, g)
		}
	}
	var err error
	if a.Total, err = total(counts, o); err != nil {
		return RateAnswer{}, err
	}
	if len(counts) > 0 && len(counts[0].Values) == 0 {
		a.Groups = nil
	}
	if err := compare(a.Groups); err != nil {
		return RateAnswer{}, err
	}
	slices.SortFunc(a.Groups, byRate)
	describe(&a, o)
	return a, nil
}

func newRateGroup(c Count, o RateOptions) (RateGroup, error) {
	g := RateGroup{
		Values:           c.Values,
		Failures:         c.Failures(o.Kinds...),
		Attempts:         c.Attempts(),
		DenominatorKnown: c.Tightened > 0,
	}
	if !g.DenominatorKnown {
		return g, nil
	}
	rate := 1000 * float64(g.Failures) / float64(g.Attempts)
	g.RatePer1000 = &rate
	if g.Failures > g.Attempts {
		return g, nil
	}
	i, err := stats.Proportion(g.Failures, g.Attempts, o.Method, o.Confidence)
	if err != nil {
		return RateGroup{}, err
	}
	lower, upper := 1000*i.Lower, 1000*i.Upper
	g.LowerPer1000, g.UpperPer1000 = &lower, &upper
	return g, nil
}

// total adds up what has a denominator. When nothing was grouped by, it is the
// only count as it stands.
func total(counts []Count, o RateOptions) (RateGroup, error) {
	var sum Count
	for _, c := range counts {
		if c.Tightened == 0 && len(c.Values) > 0 {
			continue
		}
		sum.Tightened += c.Tightened
		for k, n := range c.Incidents {
			sum.Incidents[k] += n
		}
	}
	return newRateGroup(sum, o)
}

// compare sets the p-values of each group against all the others together.
func compare(groups []RateGroup) error {
	var family []int
	var failures, attempts int64
	for i := range groups {
		if groups[i].comparable() {
			family = append(family, i)
			failures += groups[i].Failures
			attempts += groups[i].Attempts
		}
	}
	if len(family) < 2 {
		return nil
	}
	p := make([]float64, len(family))
	for k, i := range family {
		g := &groups[i]
		restFailures, restAttempts := failures-g.Failures, attempts-g.Attempts
		var err error
		if p[k], err = stats.FisherExact(g.Failures, g.Attempts-g.Failures, restFailures, restAttempts-restFailures); err != nil {
			return err
		}
	}
	adjusted, err := stats.BenjaminiHochberg(p)
	if err != nil {
		return err
	}
	for k, i := range family {
		groups[i].PValue, groups[i].PAdjusted = &p[k], &adjusted[k]
	}
	return nil
}

func byRate(a, b RateGroup) int {
	if a.DenominatorKnown != b.DenominatorKnown {
		if a.DenominatorKnown {
			return -1
		}
		return 1
	}
	if a.DenominatorKnown {
		if c := cmp.Compare(*b.RatePer1000, *a.RatePer1000); c != 0 {
			return c
		}
	}
	return slices.Compare(a.Values, b.Values)
}
