package known

import (
	"slices"
	"time"

	"jointledger/internal/ledger"
)

// Judged says whether rules look at more than the time of a record.
func Judged(r ledger.Record) bool {
	switch r := r.(type) {
	case *ledger.Tightening, *ledger.Incident, *ledger.Sealing, *ledger.Inspection:
		return true
	case *ledger.Custody:
		return r.Kind == ledger.CustodyIssued || r.Kind == ledger.CustodyReceived || r.Kind == ledger.CustodyReturned
	}
	return false
}

// BatchOf is the number of the batch of a consumable that a record names; empty for
// none.
func BatchOf(r ledger.Record) string {
	switch r := r.(type) {
	case *ledger.Tightening:
		return r.CompoundBatch
	case *ledger.Sealing:
		return r.Batch
	}
	return ""
}

// UsedUp is how many fasteners of its lot a record used up: those of a first pass,
// and those that a thread failure cost.
func UsedUp(r ledger.Record) int64 {
	switch r := r.(type) {
	case *ledger.Tightening:
		if r.Pass == ledger.PassFirst {
			return int64(r.Fasteners)
		}
	case *ledger.Incident:
		if r.Kind.ThreadFailure() {
			return int64(r.Fasteners)
		}
	}
	return 0
}

// Befalls says whether a change of custody puts the tool in doubt: it was dropped,
// overloaded or repaired.
func Befalls(k ledger.CustodyKind) bool { return k >= ledger.CustodyDropped }

// LastBy is the index of the last item at or before a moment, of items in order of
// time; -1 for none. Calibrations count from their own moment.
func LastBy[T any](items []T, at time.Time, when func(*T) time.Time) int {
	for i := len(items) - 1; i >= 0; i-- {
		if !when(&items[i]).After(at) {
			return i
		}
	}
	return -1
}

// InForce is the index of the newest of several revisions that was registered when
// something happened: a record that comes late keeps the one it was made under. What
// happened before the first was registered falls under the first. The revisions are
// to be oldest first; -1 for none.
func InForce[T any](revisions []T, at time.Time, created func(*T) time.Time) int {
	if i := LastBy(revisions, at, created); i >= 0 || len(revisions) == 0 {
		return i
	}
	return 0
}

// openAt says whether one of the spans covers the moment.
func openAt(spans []Span, at time.Time) bool {
	return slices.ContainsFunc(spans, func(s Span) bool { return s.Open(at) })
}

// inQuarantine says of a lot, in the state that is kept, that an older program had
// put it into quarantine by a time: its last change is the latest at which that can
// have happened.
func inQuarantine(l *ledger.Lot, at time.Time) bool {
	return l != nil && l.State == ledger.LotQuarantined && !l.UpdateTime.After(at)
}
