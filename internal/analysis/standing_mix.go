package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"jointledger/internal/stats"
)

// standingMix is the cells added up, and what the words need to know of them.
type standingMix struct {
	units              []StandingUnit // by name
	failures, attempts int64
	// ownStrata are strata that only one unit has attempts in; own is for each
	// unit the expected failures from these.
	ownStrata []string
	own       map[string]float64
	// alone are units that share no stratum with any other.
	alone []string
	// allFailed are cells in which nothing went well.
	allFailed []string
	// empty are units without a single attempt on record.
	empty   []string
	unknown standingOmitted // denominator unknown
	excess  standingOmitted // more failures than attempts
}

// standingOmitted is what was left out.
type standingOmitted struct {
	cells    []string
	failures int64
}

func (l *standingOmitted) add(c StandingCell) {
	l.cells = append(l.cells, standingCellName(c))
	l.failures += c.Failures
}

func standingCellName(c StandingCell) string {
	name := standingName(c.Unit)
	if len(c.Stratum) > 0 {
		name += " in " + standingStratumName(c.Stratum)
	}
	return name
}

func standingStratumName(values []string) string {
	parts := make([]string, len(values))
	for i, v := range values {
		parts[i] = standingName(v)
	}
	return strings.Join(parts, " / ")
}

func standingName(name string) string { return cmp.Or(name, "(none)") }

// standingSum adds up the cells of one unit and stratum. What is left out is
// named.
func standingSum(cells []StandingCell, m *standingMix) ([]StandingCell, error) {
	sorted := slices.Clone(cells)
	slices.SortStableFunc(sorted, func(a, b StandingCell) int {
		return cmp.Or(cmp.Compare(a.Unit, b.Unit), slices.Compare(a.Stratum, b.Stratum))
	})
	var sums []StandingCell
	for _, c := range sorted {
		for _, n := range []struct {
			name  string
			value int64
		}{{"failures", c.Failures}, {"attempts", c.Attempts}} {
			if n.value < 0 || n.value > stats.MaxCount {
				return nil, &stats.ArgumentError{
					Argument: fmt.Sprintf("%s of %s", n.name, standingCellName(c)), Value: strconv.FormatInt(n.value, 10),
					Requirement: fmt.Sprintf("must be at least 0 and at most %d", int64(stats.MaxCount)),
				}
			}
		}
		switch {
		case c.DenominatorUnknown && c.Failures > 0:
			m.unknown.add(c)
		case c.Failures > c.Attempts:
			m.excess.add(c)
		case c.DenominatorUnknown || c.Attempts == 0:
		case len(sums) > 0 && sums[len(sums)-1].Unit == c.Unit && slices.Equal(sums[len(sums)-1].Stratum, c.Stratum):
			last := &sums[len(sums)-1]
			last.Failures, last.Attempts = last.Failures+c.Failures, last.Attempts+c.Attempts
		default:
			sums = append(sums, c)
		}
	}
	return sums, nil
}

// standingMixOf standardises the cells.
func standingMixOf(cells []StandingCell) (standingMix, error) {
	m := standingMix{own: map[string]float64{}}
	sums, err := standingSum(cells, &m)
	if err != nil {
		return standingMix{}, err
	}
	strata := map[string]int{}
	var counts []stats.StratumCount
	var unitsOf []int // by stratum, how many units have attempts in it
	for _, c := range sums {
		if len(m.units) == 0 || m.units[len(m.units)-1].Unit != c.Unit {
			m.units = append(m.units, StandingUnit{Unit: c.Unit})
		}
		u := &m.units[len(m.units)-1]
		u.Failures, u.Attempts = u.Failures+c.Failures, u.Attempts+c.Attempts
		m.failures, m.attempts = m.failures+c.Failures, m.attempts+c.Attempts
		if c.Failures == c.Attempts {
			m.allFailed = append(m.allFailed, standingCellName(c))
		}
		key := strings.Join(c.Stratum, "\x00")
		s, known := strata[key]
		if !known {
			s = len(unitsOf)
			strata[key], unitsOf = s, append(unitsOf, 0)
		}
		unitsOf[s]++
		counts = append(counts, stats.StratumCount{Unit: len(m.units) - 1, Stratum: s, Failures: c.Failures, Attempts: c.Attempts})
	}
	m.findEmpty(cells)
	expected, err := stats.ExpectedFailures(counts, len(m.units), len(unitsOf))
	if err != nil {
		return standingMix{}, err
	}
	m.findOwnStrata(sums, counts, unitsOf)
	for i := range m.units {
		m.units[i].Expected = expected[i]
	}
	return m, nil
}

// findEmpty finds the units whose cells all have no attempts and no failures.
func (m *standingMix) findEmpty(cells []StandingCell) {
	known := map[string]bool{}
	for _, u := range m.units {
		known[u.Unit] = true
	}
	for _, c := range cells {
		if c.Failures > 0 {
			known[c.Unit] = true // named as left out for another reason
		}
	}
	for _, c := range cells {
		if !known[c.Unit] {
			known[c.Unit] = true
			m.empty = append(m.empty, standingName(c.Unit))
		}
	}
	slices.Sort(m.empty)
}

// findOwnStrata finds what no comparison can be made in: in a stratum that one
// unit has to itself its failures are just what is expected of it.
func (m *standingMix) findOwnStrata(sums []StandingCell, counts []stats.StratumCount, unitsOf []int) {
	shares := make([]bool, len(m.units))
	for i, c := range counts {
		if unitsOf[c.Stratum] > 1 {
			shares[c.Unit] = true
			continue
		}
		m.ownStrata = append(m.ownStrata, standingCellName(sums[i]))
		m.own[sums[i].Unit] += float64(c.Failures)
	}
	for i, u := range m.units {
		if !shares[i] {
			m.alone = append(m.alone, u.Unit)
			m.units[i].StandardisedRank = standingAlone
		}
	}
}

// standingAlone marks, until ranks are given, a unit that no other shares a
// stratum with.
const standingAlone = -1
