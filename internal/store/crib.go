package store

import (
	"context"
	"database/sql"

	"jointledger/internal/analysis"
)

// CribInput reads what the morning page of in.Site as of in.AsOf is made from,
// but for the gaps: the tools that belong to the site or are there. KindNotFound
// when the site is unknown.
func (s *Store) CribInput(ctx context.Context, in *analysis.CribInput) error {
	return s.view(ctx, func(t *tx) error {
		key, err := t.needNamed(ctx, siteNoun, in.Site)
		if err != nil {
			return err
		}
		err = t.query(ctx, func(rows *sql.Rows) error {
			var zone string
			if err := rows.Scan(&zone); err != nil {
				return err
			}
			in.Location, err = t.names.zone(zone)
			return err
		}, "SELECT time_zone FROM sites WHERE id = ?", key)
		if err != nil {
			return err
		}
		in.Tools, err = t.trackedTools(ctx, analysis.TrackedQuery{AsOf: in.AsOf, Sites: []string{in.Site}, Visiting: true})
		return err
	})
}
