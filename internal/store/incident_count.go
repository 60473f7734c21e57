package store

import (
	"context"
	"database/sql"

	"jointledger/internal/ledger"
)

// IncidentCountQuery narrows a count of incidents.
type IncidentCountQuery struct {
	// Sites by their codes; all when empty.
	Sites []string
	// StartDay and EndDay are the first and last day that count, YYYY-MM-DD at each
	// site; empty for no limit.
	StartDay, EndDay string
}

// IncidentCount is how often a kind of incident is on record.
type IncidentCount struct {
	Kind                 ledger.IncidentKind
	Incidents, Fasteners int64
}

// IncidentCounts counts incidents by kind from the records: the tallies know of
// fasteners only, and an incident may name none. Corrected ones count once. KindNotFound
// when a site is unknown.
func (s *Store) IncidentCounts(ctx context.Context, q IncidentCountQuery) (counts []IncidentCount, err error) {
	err = s.viewFigures(ctx, func(t *tx) error {
		counts = nil
		var c clause
		c.add(notCorrected)
		if len(q.Sites) > 0 {
			keys, err := t.siteKeys(ctx, q.Sites)
			if err != nil {
				return err
			}
			c.add("r.site_id IN "+marks(1, len(keys)), keys...)
		}
		t.addVisible(&c, "r.site_id")
		if err := c.addDays("r.local_day", q.StartDay, q.EndDay); err != nil {
			return err
		}
		return t.query(ctx, func(rows *sql.Rows) error {
			var n IncidentCount
			err := rows.Scan(&n.Kind, &n.Incidents, &n.Fasteners)
			counts = append(counts, n)
			return err
		}, "SELECT x.kind, COUNT(*), SUM(x.fasteners) FROM incidents x JOIN records r ON r.id = x.id"+c.where()+" GROUP BY x.kind ORDER BY x.kind", c.args...)
	})
	return counts, err
}

// siteKeys finds the keys of sites; KindNotFound when one is unknown.
func (t *tx) siteKeys(ctx context.Context, codes []string) (keys []any, err error) {
	for _, code := range codes {
		key, err := t.needNamed(ctx, siteNoun, code)
		if err != nil {
			return nil, err
		}
		keys = append(keys, key)
	}
	return keys, nil
}

// ChainHead is the end of a site's chain.
type ChainHead struct {
	Site     string
	Sequence int64
	Link     ledger.Link
}

// ChainHeads reads the ends of the chains of sites by their codes, of all when none is
// named, from one state of the database. KindNotFound when a site is unknown.
func (s *Store) ChainHeads(ctx context.Context, sites []string) (heads []ChainHead, err error) {
	err = s.view(ctx, func(t *tx) error {
		var c clause
		if len(sites) > 0 {
			keys, err := t.siteKeys(ctx, sites)
			if err != nil {
				return err
			}
			c.add("s.id IN "+marks(1, len(keys)), keys...)
		}
		t.addVisible(&c, "s.id")
		return t.query(ctx, func(rows *sql.Rows) error {
			var h ChainHead
			var link []byte
			err := rows.Scan(&h.Site, &h.Sequence, &link)
			copy(h.Link[:], link)
			heads = append(heads, h)
			return err
		}, "SELECT s.code, n.sequence, n.link FROM chains n JOIN sites s ON s.id = n.id"+c.where()+" ORDER BY s.code", c.args...)
	})
	return heads, err
}
