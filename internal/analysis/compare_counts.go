package analysis

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"jointledger/internal/ledger"
)

// ComparisonQuery is a comparison of two values of one grouping.
type ComparisonQuery struct {
	A GroupValue
	// B is of the same grouping; nil for all others together.
	B          *GroupValue
	StratifyBy []Grouping
	// Filters and days are as in CountQuery; no filter is of the arms' grouping.
	Filters          []GroupValue
	StartDay, EndDay string
	// ByJoint asks for the joints besides.
	ByJoint bool
}

// Arms are the values that are named.
func (q ComparisonQuery) Arms() []GroupValue {
	arms := []GroupValue{q.A}
	if q.B != nil {
		arms = append(arms, *q.B)
	}
	return arms
}

// Counts is what to count: by the arms' grouping first, then by the strata.
func (q ComparisonQuery) Counts() CountQuery {
	c := CountQuery{
		GroupBy:  append([]Grouping{q.A.Grouping}, q.StratifyBy...),
		Filters:  slices.Clone(q.Filters),
		StartDay: q.StartDay, EndDay: q.EndDay,
	}
	if q.B != nil {
		c.Filters = append(c.Filters, q.A, *q.B)
	}
	return c
}

// ComparisonCounts is what the record has on a comparison.
type ComparisonCounts struct {
	Counts []Count
	// Joints are the same told apart by joint.
	Joints []CountRow
	// TooManyRecords says that the joints were asked for, but not read.
	TooManyRecords bool
}

// ComparisonAnswer is a comparison of what is on record.
type ComparisonAnswer struct {
	CompareAnswer
	// ByJoint is nil when it was not asked for or not possible; then a caution says
	// why.
	ByJoint *CompareClusterAnswer
}

// theOthers is what all other values together are called.
const theOthers = "the others"

// CompareCounts answers a comparison from what is on record. Kinds are the
// incidents that count as failures; all thread failures when empty. Errors are
// those of Compare.
func CompareCounts(q ComparisonQuery, found ComparisonCounts, kinds []ledger.IncidentKind, o CompareOptions) (ComparisonAnswer, error) {
	if len(kinds) == 0 {
		kinds = ledger.ThreadFailures()
	}
	if o.Verb == "" {
		o.Verb = FailureVerb(kinds)
	}
	arms := comparisonArms{q: q, kinds: kinds, at: map[string]int{}}
	for _, c := range found.Counts {
		arms.add(c)
	}
	in := CompareInput{NameA: compareName(q.A.Value), NameB: theOthers, StratifiedBy: q.StratifyBy, Strata: arms.strata}
	if q.B != nil {
		in.NameB = compareName(q.B.Value)
	}
	var a ComparisonAnswer
	var err error
	if a.CompareAnswer, err = Compare(in, o); err != nil {
		return ComparisonAnswer{}, err
	}
	if c := arms.leftOutCaution(); c != "" {
		a.Cautions = append([]string{c}, a.Cautions...)
	}
	if q.ByJoint {
		a.byJoint(q, found, in, kinds, o)
	}
	return a, nil
}

// comparisonArms puts counts into the arms of their strata.
type comparisonArms struct {
	q      ComparisonQuery
	kinds  []ledger.IncidentKind
	strata []CompareStratum
	at     map[string]int
	// leftOut are cells of the others of which it is not known how many went well.
	leftOut  []string
	failures int64
}

func (a *comparisonArms) stratum(names []string) *CompareStratum {
	key := strings.Join(names, "\x00")
	i, ok := a.at[key]
	if !ok {
		i = len(a.strata)
		a.at[key] = i
		a.strata = append(a.strata, CompareStratum{Names: names})
	}
	return &a.strata[i]
}

func (a *comparisonArms) add(c Count) {
	s := a.stratum(c.Values[1:])
	failures := c.Failures(a.kinds...)
	arm, named := &s.B, a.q.B != nil
	if c.Values[0] == a.q.A.Value {
		arm, named = &s.A, true
	}
	switch {
	case c.Tightened > 0:
		arm.Failures += failures
		arm.Attempts += c.Attempts()
	case failures == 0:
	case named:
		arm.Failures, arm.DenominatorUnknown = failures, true
	default:
		a.leftOut = append(a.leftOut, compareName(c.Values[0])+compareWhere(c.Values[1:]))
		a.failures += failures
	}
}

func (a *comparisonArms) leftOutCaution() string {
	if len(a.leftOut) == 0 {
		return ""
	}
	return fmt.Sprintf("Left out of the others, for no tightening stands beside the failures and how many went well is not known: %s, with %s.", list(a.leftOut), compareCount(a.failures, "failure"))
}

// byJoint sets the comparison by joint beside, or says why there is none.
func (a *ComparisonAnswer) byJoint(q ComparisonQuery, found ComparisonCounts, in CompareInput, kinds []ledger.IncidentKind, o CompareOptions) {
	if found.TooManyRecords {
		a.Cautions = append(a.Cautions, fmt.Sprintf("Not compared by joint: more than %s records match. Narrow the question by site, lot or time.", trendThousands(MostRecordRows)))
		return
	}
	known := knownCells(found.Joints)
	byJoint := map[int]*CompareStratum{}
	var clusters []*CompareStratum
	var homeless int64
	for _, r := range found.Joints {
		switch {
		case !known[cellKey(r.Count)]:
			continue
		case r.Joint == 0:
			homeless += r.Attempts()
			continue
		}
		s := byJoint[r.Joint]
		if s == nil {
			s = &CompareStratum{Names: []string{strconv.Itoa(r.Joint)}}
			byJoint[r.Joint] = s
			clusters = append(clusters, s)
		}
		arm := &s.B
		if r.Values[0] == q.A.Value {
			arm = &s.A
		}
		arm.Failures += r.Failures(kinds...)
		arm.Attempts += r.Attempts()
	}
	c := CompareClusterInput{NameA: in.NameA, NameB: in.NameB}
	for _, s := range clusters {
		c.Clusters = append(c.Clusters, *s)
	}
	// The order of the record's rows is the database's; figures must not hang on it.
	slices.SortFunc(c.Clusters, func(x, y CompareStratum) int { return strings.Compare(x.Names[0], y.Names[0]) })
	answer, err := CompareByCluster(c, o)
	if err != nil {
		a.Cautions = append(a.Cautions, fmt.Sprintf("Not compared by joint: %v.", err))
		return
	}
	if homeless > 0 {
		answer.Cautions = append(answer.Cautions, fmt.Sprintf("%s name no joint and are left out by joint.", compareCount(homeless, "attempt")))
	}
	if len(q.StratifyBy) > 0 {
		answer.Cautions = append([]string{"By joint all attempts are compared together, whatever the stratum: where the stratified comparison differs from the crude one, a model of what was stratified by, with the joint as cluster, allows for both."}, answer.Cautions...)
	}
	a.ByJoint = &answer
}

func cellKey(c Count) string { return strings.Join(c.Values, "\x00") }

// knownCells says of which combinations of groupings a tightening is on record.
// One joint may have lost a fastener before any went well; that a whole
// combination has is not believed.
func knownCells(rows []CountRow) map[string]bool {
	known := map[string]bool{}
	for _, r := range rows {
		if r.Tightened > 0 {
			known[cellKey(r.Count)] = true
		}
	}
	return known
}

// FailureVerb says what a failure of the kinds is, in the third person.
func FailureVerb(kinds []ledger.IncidentKind) string {
	verb := ""
	for _, k := range kinds {
		v, ok := failureVerbs[k]
		if !ok || verb != "" && v != verb {
			return "fails"
		}
		verb = v
	}
	if verb == "" {
		return "fails"
	}
	return verb
}

var failureVerbs = map[ledger.IncidentKind]string{
	ledger.Galling: "galls", ledger.Seized: "seizes", ledger.StrippedTappingScrew: "strips", ledger.StrippedThread: "strips",
	ledger.CrossedThread: "crosses threads", ledger.BrokenFastener: "breaks", ledger.Leak: "leaks",
}
