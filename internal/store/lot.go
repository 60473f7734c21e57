package store

import (
	"context"

	"jointledger/ent"
	"jointledger/ent/lot"
	"jointledger/internal/ledger"
)

// LotFilter narrows a list of lots.
type LotFilter struct {
	Supplier, Thread string
	State            ledger.LotState
}

var lots = thing[ledger.Lot, string]{
	noun:     lotNoun,
	exists:   named(lotNoun),
	resource: func(l ledger.Lot) string { return "lots/" + l.Number },
	key:      func(l ledger.Lot) string { return l.Number },
	validate: ledger.Lot.Validate,
	revision: func(l *ledger.Lot) *ledger.Revision { return &l.Revision },
	same: func(a, b ledger.Lot) bool {
		a.Revision, b.Revision = ledger.Revision{}, ledger.Revision{}
		return a == b
	},
	load: func(ctx context.Context, t *tx, number string) (ledger.Lot, error) {
		row, err := t.ent().Lot.Query().Where(lot.Number(askable(number))).Only(ctx)
		if ent.IsNotFound(err) {
			return ledger.Lot{}, t.notFound(ctx, lotNoun, 0, number, "lots/"+number)
		}
		if err != nil {
			return ledger.Lot{}, err
		}
		return lotOf(row), nil
	},
	insert: func(ctx context.Context, t *tx, l ledger.Lot) error {
		if t.dry {
			return nil
		}
		return t.ent().Lot.Create().SetNumber(l.Number).SetSupplier(l.Supplier).SetHeat(l.Heat).SetDescription(l.Description).
			SetState(uint8(l.State)).SetThread(l.Fastener.Thread).SetLengthMm(l.Fastener.LengthMillimetres).
			SetMaterial(uint8(l.Fastener.Material)).SetPropertyClass(l.Fastener.PropertyClass).
			SetCoating(l.Fastener.Coating).SetHead(l.Fastener.Head).
			SetVersion(l.Version).SetCreateTime(micro(l.CreateTime)).SetUpdateTime(micro(l.UpdateTime)).Exec(ctx)
	},
	update: func(ctx context.Context, t *tx, l ledger.Lot) error {
		if t.dry {
			return nil
		}
		return t.ent().Lot.Update().Where(lot.Number(l.Number)).SetSupplier(l.Supplier).SetHeat(l.Heat).SetDescription(l.Description).
			SetState(uint8(l.State)).SetThread(l.Fastener.Thread).SetLengthMm(l.Fastener.LengthMillimetres).
			SetMaterial(uint8(l.Fastener.Material)).SetPropertyClass(l.Fastener.PropertyClass).
			SetCoating(l.Fastener.Coating).SetHead(l.Fastener.Head).
			SetVersion(l.Version).SetUpdateTime(micro(l.UpdateTime)).Exec(ctx)
	},
}

func lotOf(r *ent.Lot) ledger.Lot {
	return ledger.Lot{
		Number: r.Number, Supplier: r.Supplier, Heat: r.Heat, Description: r.Description, State: ledger.LotState(r.State),
		Fastener: ledger.Fastener{
			Thread: r.Thread, LengthMillimetres: r.LengthMm, Material: ledger.Material(r.Material),
			PropertyClass: r.PropertyClass, Coating: r.Coating, Head: r.Head,
		},
		Revision: revisionOf(r.Version, r.CreateTime, r.UpdateTime),
	}
}

// RegisterLots takes in lots and answers for each.
func (s *Store) RegisterLots(ctx context.Context, items []ledger.Lot, c Change) ([]Outcome, error) {
	return register(ctx, s, lots, items, c)
}

// Lot reads one lot; KindNotFound when there is none.
func (s *Store) Lot(ctx context.Context, number string) (ledger.Lot, error) {
	return get(ctx, s, lots, number)
}

// UpdateLot changes one lot; errors as UpdateSite.
func (s *Store) UpdateLot(ctx context.Context, number string, version int, c Change, apply func(*ledger.Lot) error) (ledger.Lot, error) {
	return change(ctx, s, lots, number, version, c, apply)
}

// Lots lists lots in the order of their numbers.
func (s *Store) Lots(ctx context.Context, f LotFilter, p Page) (items []ledger.Lot, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		q := t.ent().Lot.Query().Where(lot.NumberGT(p.After)).Order(lot.ByNumber()).Limit(p.Size + 1)
		if f.Supplier != "" {
			q.Where(lot.Supplier(askable(f.Supplier)))
		}
		if f.Thread != "" {
			q.Where(lot.Thread(askable(f.Thread)))
		}
		if f.State != 0 {
			q.Where(lot.State(uint8(f.State)))
		}
		rows, err := q.All(ctx)
		for _, r := range rows {
			items = append(items, lotOf(r))
		}
		items, next = cut(items, p, func(l ledger.Lot) string { return l.Number })
		return err
	})
	return items, next, err
}
