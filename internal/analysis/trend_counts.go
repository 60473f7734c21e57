package analysis

import (
	"cmp"
	"fmt"
	"slices"

	"jointledger/internal/ledger"
	"jointledger/internal/stats"
)

// TrendUncounted begins the caution on failures that are left out because no
// tightening stands beside them.
const TrendUncounted = "No tightening stands beside the failures of "

// TrendOfCounts charts counts that were taken by month, week or day. Kinds are the
// incidents that count as failures; all thread failures when empty. Periods with
// failures but no tightening are left out and named. It gives the rows besides.
// Errors are those of Trend; when nothing is left, one that says so.
func TrendOfCounts(counts []Count, period Grouping, kinds []ledger.IncidentKind, o TrendOptions) (TrendAnswer, []TrendRow, error) {
	if len(kinds) == 0 {
		kinds = ledger.ThreadFailures()
	}
	var rows []TrendRow
	var unknown []string
	var failures int64
	for _, c := range counts {
		label := c.Values[0]
		day, err := PeriodStart(period, label)
		if err != nil {
			return TrendAnswer{}, nil, &stats.ArgumentError{Argument: "period", Value: label, Requirement: "must be a " + Groupings.Name(period)}
		}
		n := c.Failures(kinds...)
		switch {
		case c.Tightened > 0:
			rows = append(rows, TrendRow{Label: label, At: int64(day), Failures: n, Attempts: c.Attempts()})
		case n > 0:
			unknown = append(unknown, label)
			failures += n
		}
	}
	slices.SortFunc(rows, func(a, b TrendRow) int { return cmp.Compare(a.At, b.At) })
	slices.Sort(unknown)
	caution := ""
	if len(unknown) > 0 {
		caution = fmt.Sprintf(TrendUncounted+"%s: how many fasteners went well is not known, so the %s there are left out.", list(unknown), trendCounted(failures, "failure"))
	}
	if len(rows) == 0 {
		requirement := "there must be one at least with fasteners tightened"
		if caution != "" {
			requirement += ". " + caution
		}
		return TrendAnswer{}, nil, &stats.ArgumentError{Argument: "the number of periods on record", Value: "0", Requirement: requirement}
	}
	a, err := Trend(rows, o)
	if caution != "" {
		a.Cautions = append([]string{caution}, a.Cautions...)
	}
	return a, rows, err
}
