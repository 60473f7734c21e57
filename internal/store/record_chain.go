package store

import (
	"context"
	"fmt"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// chainHead is the end of a site's chain.
type chainHead struct {
	sequence int64
	link     ledger.Link
	location *time.Location
	moved    bool
}

// lockChains reads the heads of the chains that the rows will join and, where
// servers compete, keeps others from them until the commit. It comes before
// recognise: what another server kept under the lock is seen then. The questions are
// asked along with it, under the lock.
func (t *tx) lockChains(ctx context.Context, rows []*staged, along ...question) (map[int]*chainHead, error) {
	heads := map[int]*chainHead{}
	var sites []any
	for _, r := range allRows(rows) {
		if _, ok := heads[r.keys.site]; !ok {
			heads[r.keys.site] = nil
			sites = append(sites, r.keys.site)
		}
	}
	if len(sites) == 0 {
		return heads, nil
	}
	lock := ""
	if !t.dry {
		lock = t.engine.lockRows("c")
	}
	heading := func(r row) error {
		var site int
		var head chainHead
		var link []byte
		var zone string
		if err := r.Scan(&site, &head.sequence, &link, &zone); err != nil {
			return err
		}
		copy(head.link[:], link)
		var err error
		head.location, err = t.names.zone(zone)
		heads[site] = &head
		return err
	}
	locking := question{"SELECT c.id, c.sequence, c.link, s.time_zone FROM chains c JOIN sites s ON s.id = c.id WHERE c.id IN " + marks(1, len(sites)) + " ORDER BY c.id" + lock, sites, heading}
	if err := t.ask(ctx, append([]question{locking}, along...)...); err != nil {
		return nil, err
	}
	for site, head := range heads {
		if head == nil {
			return nil, fmt.Errorf("site %d has no chain", site)
		}
	}
	return heads, nil
}

// assign gives each row its place in the chain and its link.
func (t *tx) assign(rows []*staged, chains map[int]*chainHead) {
	for _, r := range rows {
		if r.cause != nil {
			// The hold names the record whose finding places it.
			r.Record.(*ledger.Hold).Cause = r.cause.Head().ID
		}
		chain, head := chains[r.keys.site], r.Head()
		chain.sequence++
		chain.moved = true
		head.Sequence, head.ReceiveTime = chain.sequence, t.now
		head.LocalDay = localDay(head.OccurTime, chain.location)
		head.FindingsSum = rules.Sum(r.findings)
		chain.link = ledger.NextLink(chain.link, r.Record)
		head.FindingsSum = ledger.Link{} // it is kept as the findings themselves
		head.Link = chain.link
		r.id = int64(r.keys.site)<<sequenceBits | chain.sequence
	}
}

// localDay counts days since 1970-01-01 in the site's calendar.
func localDay(at time.Time, location *time.Location) int {
	y, m, d := at.In(location).Date()
	return int(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}
