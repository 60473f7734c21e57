package store

import (
	"context"
	"database/sql"

	"jointledger/ent"
	"jointledger/ent/tower"
	"jointledger/internal/ledger"
)

var towers = thing[ledger.Tower, ledger.Place]{
	noun:     towerNoun,
	find:     placed(towerNoun),
	resource: func(t ledger.Tower) string { return t.Place.Resource() },
	key:      func(t ledger.Tower) ledger.Place { return t.Place },
	validate: ledger.Tower.Validate,
	revision: func(t *ledger.Tower) *ledger.Revision { return &t.Revision },
	same: func(a, b ledger.Tower) bool {
		a.Revision, b.Revision = ledger.Revision{}, ledger.Revision{}
		return a == b
	},
	load: func(ctx context.Context, t *tx, p ledger.Place) (ledger.Tower, error) {
		keys, err := t.placeOf(ctx, towerNoun, p, 2)
		if err != nil {
			return ledger.Tower{}, err
		}
		row, err := t.ent().Tower.Get(ctx, keys.tower)
		if err != nil {
			return ledger.Tower{}, err
		}
		return towerOf(p, row), nil
	},
	insert: func(ctx context.Context, t *tx, v ledger.Tower) error {
		keys, err := t.place(ctx, v.Place.Parent())
		if err != nil || t.dry {
			return err
		}
		return t.ent().Tower.Create().SetSiteID(keys.site).SetTag(v.Place.Tower).SetMaterial(uint8(v.Material)).
			SetDrawing(v.Drawing).SetPlannedStart(v.PlannedStart).SetPlannedFinish(v.PlannedFinish).
			SetVersion(v.Version).SetCreateTime(micro(v.CreateTime)).SetUpdateTime(micro(v.UpdateTime)).Exec(ctx)
	},
	update: func(ctx context.Context, t *tx, v ledger.Tower) error {
		keys, err := t.place(ctx, v.Place)
		if err != nil || t.dry {
			return err
		}
		return t.ent().Tower.UpdateOneID(keys.tower).SetMaterial(uint8(v.Material)).
			SetDrawing(v.Drawing).SetPlannedStart(v.PlannedStart).SetPlannedFinish(v.PlannedFinish).
			SetVersion(v.Version).SetUpdateTime(micro(v.UpdateTime)).Exec(ctx)
	},
}

func towerOf(p ledger.Place, r *ent.Tower) ledger.Tower {
	return ledger.Tower{
		Place: p, Material: ledger.Material(r.Material), Drawing: r.Drawing,
		PlannedStart: r.PlannedStart, PlannedFinish: r.PlannedFinish,
		Revision: revisionOf(r.Version, r.CreateTime, r.UpdateTime),
	}
}

// RegisterTowers takes in towers and answers for each.
func (s *Store) RegisterTowers(ctx context.Context, items []ledger.Tower, c Change) ([]Outcome, error) {
	return register(ctx, s, towers, items, c)
}

// Tower reads one tower; KindNotFound when there is none.
func (s *Store) Tower(ctx context.Context, p ledger.Place) (ledger.Tower, error) {
	return get(ctx, s, towers, p)
}

// UpdateTower changes one tower; errors as UpdateSite.
func (s *Store) UpdateTower(ctx context.Context, p ledger.Place, version int, c Change, apply func(*ledger.Tower) error) (ledger.Tower, error) {
	return change(ctx, s, towers, p, version, c, apply)
}

// Towers lists towers in the order of their names. KindNotFound when the place
// does not exist.
func (s *Store) Towers(ctx context.Context, f PlaceFilter, p Page) (items []ledger.Tower, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		places, keys, n, err := t.listPlaces(ctx, "t.id, s.code, t.tag, '', ''", "towers t JOIN sites s ON s.id = t.site_id", 2, f.Within, nil, p)
		if err != nil {
			return err
		}
		rows, err := t.ent().Tower.Query().Where(tower.IDIn(keys...)).All(ctx)
		if err != nil {
			return err
		}
		byID := map[int]*ent.Tower{}
		for _, r := range rows {
			byID[r.ID] = r
		}
		for i, k := range keys {
			items = append(items, towerOf(places[i], byID[k]))
		}
		next = n
		return nil
	})
	return items, next, err
}

// listPlaces reads one page of places of a depth, in the order of their names,
// with their keys. columns are the key and the four parts of the name.
func (t *tx) listPlaces(ctx context.Context, columns, from string, depth int, within ledger.Place, more *clause, p Page) (places []ledger.Place, keys []int, next string, err error) {
	if _, err := t.place(ctx, concrete(within)); err != nil {
		return nil, nil, "", err
	}
	c := &clause{}
	if more != nil {
		c = more
	}
	c.within(within, depth)
	t.addVisible(c, "s.id")
	c.afterPlace(p.After, depth)
	order := [...]string{"", "s.code", "s.code, t.tag", "s.code, t.tag, c.tag", "s.code, t.tag, c.tag, j.tag"}[depth]
	err = t.query(ctx, func(rows *sql.Rows) error {
		var id int
		var place ledger.Place
		if err := rows.Scan(&id, &place.Site, &place.Tower, &place.Cell, &place.Joint); err != nil {
			return err
		}
		places, keys = append(places, place), append(keys, id)
		return nil
	}, "SELECT "+columns+" FROM "+from+c.where()+" ORDER BY "+order+" LIMIT ?", append(c.args, p.Size+1)...)
	places, next = cut(places, p, ledger.Place.String)
	return places, keys[:len(places)], next, err
}
