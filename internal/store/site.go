package store

import (
	"context"

	"jointledger/ent"
	"jointledger/ent/site"
	"jointledger/internal/ledger"
)

// SiteFilter narrows a list of sites.
type SiteFilter struct{ Region string }

var sites = thing[ledger.Site, string]{
	noun:     siteNoun,
	find:     named(siteNoun),
	resource: func(s ledger.Site) string { return "sites/" + s.Code },
	key:      func(s ledger.Site) string { return s.Code },
	validate: ledger.Site.Validate,
	revision: func(s *ledger.Site) *ledger.Revision { return &s.Revision },
	same: func(a, b ledger.Site) bool {
		a.Revision, b.Revision = ledger.Revision{}, ledger.Revision{}
		return a == b
	},
	load: func(ctx context.Context, t *tx, code string) (ledger.Site, error) {
		row, err := t.ent().Site.Query().Where(site.Code(askable(code))).Only(ctx)
		if ent.IsNotFound(err) || err == nil && !t.sees(row.ID) {
			return ledger.Site{}, t.notFound(ctx, siteNoun, 0, code, "sites/"+code)
		}
		if err != nil {
			return ledger.Site{}, err
		}
		return siteOf(row), nil
	},
	insert: func(ctx context.Context, t *tx, s ledger.Site) error {
		if t.dry {
			return nil
		}
		row, err := t.ent().Site.Create().SetCode(s.Code).SetName(s.Name).SetRegion(s.Region).SetTimeZone(s.TimeZone).
			SetStatus(uint8(s.Status)).SetUnits(uint8(s.Units)).
			SetVersion(s.Version).SetCreateTime(micro(s.CreateTime)).SetUpdateTime(micro(s.UpdateTime)).Save(ctx)
		if err != nil {
			return err
		}
		first := ledger.FirstLink(s.Code)
		return t.ent().Chain.Create().SetID(row.ID).SetSequence(0).SetLink(first[:]).Exec(ctx)
	},
	update: func(ctx context.Context, t *tx, s ledger.Site) error {
		if t.dry {
			return nil
		}
		return t.ent().Site.Update().Where(site.Code(s.Code)).SetName(s.Name).SetRegion(s.Region).SetTimeZone(s.TimeZone).
			SetStatus(uint8(s.Status)).SetUnits(uint8(s.Units)).
			SetVersion(s.Version).SetUpdateTime(micro(s.UpdateTime)).Exec(ctx)
	},
}

func siteOf(r *ent.Site) ledger.Site {
	return ledger.Site{
		Code: r.Code, Name: r.Name, Region: r.Region, TimeZone: r.TimeZone,
		Status: ledger.SiteStatus(r.Status), Units: ledger.UnitPreference(r.Units),
		Revision: revisionOf(r.Version, r.CreateTime, r.UpdateTime),
	}
}

func revisionOf(version int, created, updated int64) ledger.Revision {
	return ledger.Revision{Version: version, CreateTime: fromMicro(created), UpdateTime: fromMicro(updated)}
}

// RegisterSites takes in sites and answers for each.
func (s *Store) RegisterSites(ctx context.Context, items []ledger.Site, c Change) ([]Outcome, error) {
	return register(ctx, s, sites, items, c)
}

// Site reads one site; KindNotFound when there is none of this code.
func (s *Store) Site(ctx context.Context, code string) (ledger.Site, error) {
	return get(ctx, s, sites, code)
}

// UpdateSite changes one site. Errors: KindNotFound; KindConflict when version
// is not 0 and not the current one; KindInvalid.
func (s *Store) UpdateSite(ctx context.Context, code string, version int, c Change, apply func(*ledger.Site) error) (ledger.Site, error) {
	return change(ctx, s, sites, code, version, c, apply)
}

// Sites lists sites in the order of their codes.
func (s *Store) Sites(ctx context.Context, f SiteFilter, p Page) (items []ledger.Site, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		q := t.ent().Site.Query().Where(site.CodeGT(p.After)).Order(site.ByCode()).Limit(p.Size + 1)
		if t.visible != nil {
			q.Where(site.IDIn(t.visible.keys...))
		}
		if f.Region != "" {
			q.Where(site.Region(askable(f.Region)))
		}
		rows, err := q.All(ctx)
		for _, r := range rows {
			items = append(items, siteOf(r))
		}
		items, next = cut(items, p, func(s ledger.Site) string { return s.Code })
		return err
	})
	return items, next, err
}
