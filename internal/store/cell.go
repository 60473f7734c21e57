package store

import (
	"context"

	"jointledger/ent"
	"jointledger/ent/cell"
	"jointledger/internal/ledger"
)

var cells = thing[ledger.Cell, ledger.Place]{
	noun:     cellNoun,
	find:     placed(cellNoun),
	resource: func(c ledger.Cell) string { return c.Place.Resource() },
	key:      func(c ledger.Cell) ledger.Place { return c.Place },
	validate: ledger.Cell.Validate,
	revision: func(c *ledger.Cell) *ledger.Revision { return &c.Revision },
	same: func(a, b ledger.Cell) bool {
		a.Revision, b.Revision = ledger.Revision{}, ledger.Revision{}
		return a == b
	},
	load: func(ctx context.Context, t *tx, p ledger.Place) (ledger.Cell, error) {
		keys, err := t.placeOf(ctx, cellNoun, p, 3)
		if err != nil {
			return ledger.Cell{}, err
		}
		row, err := t.ent().Cell.Get(ctx, keys.cell)
		if err != nil {
			return ledger.Cell{}, err
		}
		return cellOf(p, row), nil
	},
	insert: func(ctx context.Context, t *tx, v ledger.Cell) error {
		keys, err := t.place(ctx, v.Place.Parent())
		if err != nil || t.dry {
			return err
		}
		return t.ent().Cell.Create().SetTowerID(keys.tower).SetTag(v.Place.Cell).SetDescription(v.Description).
			SetVersion(v.Version).SetCreateTime(micro(v.CreateTime)).SetUpdateTime(micro(v.UpdateTime)).Exec(ctx)
	},
	update: func(ctx context.Context, t *tx, v ledger.Cell) error {
		keys, err := t.place(ctx, v.Place)
		if err != nil || t.dry {
			return err
		}
		return t.ent().Cell.UpdateOneID(keys.cell).SetDescription(v.Description).
			SetVersion(v.Version).SetUpdateTime(micro(v.UpdateTime)).Exec(ctx)
	},
}

func cellOf(p ledger.Place, r *ent.Cell) ledger.Cell {
	return ledger.Cell{Place: p, Description: r.Description, Revision: revisionOf(r.Version, r.CreateTime, r.UpdateTime)}
}

// RegisterCells takes in cells and answers for each.
func (s *Store) RegisterCells(ctx context.Context, items []ledger.Cell, c Change) ([]Outcome, error) {
	return register(ctx, s, cells, items, c)
}

// Cell reads one cell; KindNotFound when there is none.
func (s *Store) Cell(ctx context.Context, p ledger.Place) (ledger.Cell, error) {
	return get(ctx, s, cells, p)
}

// UpdateCell changes one cell; errors as UpdateSite.
func (s *Store) UpdateCell(ctx context.Context, p ledger.Place, version int, c Change, apply func(*ledger.Cell) error) (ledger.Cell, error) {
	return change(ctx, s, cells, p, version, c, apply)
}

// Cells lists cells in the order of their names. KindNotFound when the place
// does not exist.
func (s *Store) Cells(ctx context.Context, f PlaceFilter, p Page) (items []ledger.Cell, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		places, keys, n, err := t.listPlaces(ctx, "c.id, s.code, t.tag, c.tag, ''",
			"cells c JOIN towers t ON t.id = c.tower_id JOIN sites s ON s.id = t.site_id", 3, f.Within, nil, p)
		if err != nil {
			return err
		}
		rows, err := t.ent().Cell.Query().Where(cell.IDIn(keys...)).All(ctx)
		if err != nil {
			return err
		}
		byID := map[int]*ent.Cell{}
		for _, r := range rows {
			byID[r.ID] = r
		}
		for i, k := range keys {
			items = append(items, cellOf(places[i], byID[k]))
		}
		next = n
		return nil
	})
	return items, next, err
}
