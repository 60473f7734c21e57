package store

import (
	"context"
	"database/sql"
	"slices"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// CoverageInput reads, from one state of the database, what coverage is reckoned
// from: the joints of every site that are not tightened as of a moment, by tower,
// torque and tolerance, and all torque tools. KindNotFound when one of the sites
// asked for is unknown.
func (s *Store) CoverageInput(ctx context.Context, asOf time.Time, sites []string) (in analysis.CoverageInput, err error) {
	var remaining map[int][]analysis.RemainingJoints
	err = s.withWork(ctx, func(t *tx, m *workMemory) error {
		revisions, err := t.revisionsNow(ctx)
		if err == nil {
			remaining, err = t.remainingJoints(ctx, m, asOf, revisions)
		}
		return err
	}, func(t *tx) (err error) {
		for _, code := range sites {
			if _, err := t.needNamed(ctx, siteNoun, code); err != nil {
				return err
			}
		}
		if in.Sites, err = t.coverageSites(ctx, remaining); err != nil {
			return err
		}
		in.Tools, err = t.trackedTools(ctx, analysis.TrackedQuery{AsOf: asOf, Kinds: analysis.TorqueToolKinds()})
		return err
	})
	return in, err
}

// coverageSites reads all sites and towers that are seen, with the joints that remain.
func (t *tx) coverageSites(ctx context.Context, remaining map[int][]analysis.RemainingJoints) (sites []analysis.CoverageSite, err error) {
	at := map[int]int{} // site key to its index
	var ofSites, ofTowers clause
	t.addVisible(&ofSites, "id")
	t.addVisible(&ofTowers, "site_id")
	err = t.query(ctx, func(rows *sql.Rows) error {
		var key int
		var zone string
		var site analysis.CoverageSite
		if err := rows.Scan(&key, &site.Code, &zone); err != nil {
			return err
		}
		site.Location, err = t.names.zone(zone)
		at[key] = len(sites)
		sites = append(sites, site)
		return err
	}, "SELECT id, code, time_zone FROM sites"+ofSites.where()+" ORDER BY code")
	if err != nil {
		return nil, err
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var key, site int
		var tower analysis.CoverageTower
		if err := rows.Scan(&key, &site, &tower.Tower, &tower.PlannedStart, &tower.PlannedFinish); err != nil {
			return err
		}
		tower.Remaining = remaining[key]
		of := &sites[at[site]]
		of.Towers = append(of.Towers, tower)
		return nil
	}, "SELECT id, site_id, tag, planned_start, planned_finish FROM towers"+ofTowers.where()+" ORDER BY site_id, tag")
	return sites, err
}

// ReadyInput is what readiness at a place is reckoned from.
type ReadyInput struct {
	// Location is the time zone of the site.
	Location *time.Location
	// PlannedFinish is that of the tower or, for a site, the last of its towers';
	// YYYY-MM-DD or empty.
	PlannedFinish string
	// Tools are those of the kinds asked for that are at the site or belong there.
	Tools []analysis.TrackedTool
}

// ReadyInput reads, from one state of the database, what readiness at a site,
// tower or cell is reckoned from. KindNotFound when the place does not exist.
func (s *Store) ReadyInput(ctx context.Context, place ledger.Place, kinds []ledger.ToolKind, asOf time.Time) (in ReadyInput, err error) {
	err = s.view(ctx, func(t *tx) error {
		keys, err := t.place(ctx, place)
		if err != nil {
			return err
		}
		var zone string
		err = t.query(ctx, func(rows *sql.Rows) error { return rows.Scan(&zone) }, "SELECT time_zone FROM sites WHERE id = ?", keys.site)
		if err != nil {
			return err
		}
		if in.Location, err = t.names.zone(zone); err != nil {
			return err
		}
		if in.PlannedFinish, err = t.plannedFinish(ctx, keys); err != nil {
			return err
		}
		kinds = slices.Clone(kinds)
		slices.Sort(kinds)
		in.Tools, err = t.trackedTools(ctx, analysis.TrackedQuery{AsOf: asOf, Sites: []string{place.Site}, Visiting: true, Kinds: slices.Compact(kinds)})
		return err
	})
	return in, err
}
