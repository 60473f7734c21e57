package known

import (
	"cmp"
	"slices"
	"time"

	"jointledger/internal/ledger"
)

// stockChange is what one record changes of the stock of a lot at a site.
type stockChange struct {
	at    time.Time
	delta int64
	// counted says that delta is what was there.
	counted bool
}

// changeOf is what a record changes of the stock of a lot; false for nothing.
func changeOf(r ledger.Record, lot, site string) (stockChange, bool) {
	if _, of, _ := subjectsOf(r); of != lot || r.SiteCode() != site {
		return stockChange{}, false
	}
	c := stockChange{at: r.Head().OccurTime, delta: -UsedUp(r)}
	m, moved := r.(*ledger.LotMovement)
	if moved {
		c.delta = -m.Quantity
		if m.Kind == ledger.MovementReceived || m.Kind == ledger.MovementCounted {
			c.delta = m.Quantity
		}
		c.counted = m.Kind == ledger.MovementCounted
	}
	return c, moved || c.delta != 0
}

// lot adds to a lot's holds and its stock at the site what waits, and takes back what
// was corrected. What happened at the moment of a count is in it. Of a count that was
// corrected and that the source knows, the stock before is not known, so that it
// stays.
func (w *waiting) lot(past LotPast) LotPast {
	number := past.Lot.Number
	past.Holds = w.holds(past.Holds, func(h *ledger.Hold) bool { return h.Lot == number })
	for _, r := range w.old {
		if c, ok := changeOf(r, number, w.site); ok && !c.counted && past.countsFrom(c.at) {
			past.OnHand -= c.delta
		}
	}
	var changes []stockChange
	for _, r := range w.live {
		if m, ok := r.(*ledger.LotMovement); ok && m.Lot == number {
			past.MovedAnywhere = true
			past.Received = past.Received || m.Site == w.site && (m.Kind == ledger.MovementReceived || m.Kind == ledger.MovementCounted)
		}
		if c, ok := changeOf(r, number, w.site); ok {
			changes = append(changes, c)
		}
	}
	slices.SortStableFunc(changes, func(a, b stockChange) int {
		return cmp.Or(a.at.Compare(b.at), cmp.Compare(countedLast(a.counted), countedLast(b.counted)))
	})
	for _, c := range changes {
		switch {
		case c.counted && !c.at.Before(past.CountTime):
			past.OnHand, past.CountTime = c.delta, c.at
		case !c.counted && past.countsFrom(c.at):
			past.OnHand += c.delta
		}
	}
	return past
}

// countsFrom says whether what happened at a moment changes the stock since it was
// last counted.
func (p *LotPast) countsFrom(at time.Time) bool { return p.CountTime.IsZero() || at.After(p.CountTime) }

// countedLast sorts what was counted after what happened at the same moment.
func countedLast(counted bool) int {
	if counted {
		return 1
	}
	return 0
}
