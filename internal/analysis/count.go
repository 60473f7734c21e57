package analysis

import "jointledger/internal/ledger"

// CountQuery says which records are counted and how they are put together.
type CountQuery struct {
	// GroupBy has each grouping at most once; none for one count of everything.
	GroupBy []Grouping
	// Filters: values of the same grouping are alternatives, different groupings
	// must all match.
	Filters []GroupValue
	// StartDay and EndDay are the first and last day that count, `YYYY-MM-DD`, in
	// each site's time zone; empty for no limit.
	StartDay, EndDay string
}

// Count is what the records of one combination of groupings add up to.
type Count struct {
	// Values are in the order of the query's GroupBy.
	Values []string
	// Tightened is the number of fasteners brought to torque in a first pass.
	Tightened int64
	// Incidents is the number of fasteners in incidents, by ledger.IncidentKind.
	Incidents [16]int64
}

// Attempts is the number of fastener attempts: those that ended well and those
// that were lost to a thread failure of any kind.
func (c Count) Attempts() int64 { return c.Tightened + c.Failures(ledger.ThreadFailures()...) }

// Failures is the number of fasteners in incidents of the given kinds.
func (c Count) Failures(kinds ...ledger.IncidentKind) int64 {
	var n int64
	for _, k := range kinds {
		n += c.Incidents[k]
	}
	return n
}
