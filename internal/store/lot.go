package store

import (
	"context"
	"database/sql"

	entsql "entgo.io/ent/dialect/sql"

	"jointledger/ent"
	"jointledger/ent/lot"
	"jointledger/internal/ledger"
)

// LotFilter narrows a list of lots.
type LotFilter struct {
	Supplier, Thread string
	State            ledger.LotState // as it is read
}

// lotRow is a lot with what its state is made of. Quarantine is one thing only,
// a hold on the lot: a lot reads as quarantined while one is open, and in the
// state that is kept otherwise. Older programs kept quarantined too; that stands
// until the state is changed.
type lotRow struct {
	ledger.Lot
	// kept is the state in the database; 0 for a lot that is to be registered.
	kept ledger.LotState
	held bool
}

// toKeep is the state for the database: what was asked for, save that quarantine
// is none of it.
func (r lotRow) toKeep() ledger.LotState {
	if r.State == ledger.LotQuarantined {
		return r.kept
	}
	return r.State
}

// asRead gives the lot in the state in which it is read.
func (r lotRow) asRead() ledger.Lot {
	if r.State = r.toKeep(); r.held {
		r.State = ledger.LotQuarantined
	}
	return r.Lot
}

const howToQuarantine = "a lot is quarantined by a hold on it: trackctl hold place --lot …, and released by releasing that hold"

// validate refuses what only a hold, or its release, can bring about. A lot that
// is to be registered may be known already, so its state is looked at by insert.
func (r lotRow) validate() []ledger.FieldError {
	fields := r.Lot.Validate()
	quarantined := r.held || r.kept == ledger.LotQuarantined
	if r.kept != 0 && (r.State == ledger.LotQuarantined && !quarantined || r.State == ledger.LotReleased && r.held) {
		fields = append(fields, ledger.FieldError{Field: "state", Description: howToQuarantine})
	}
	return fields
}

// openHold is the condition that a hold on the lot in the column is open.
func openHold(column string) string {
	return "EXISTS (SELECT 1 FROM holds x WHERE x.lot_id = " + column + " AND " + notReleased + ")"
}

// heldLots are those of the keys on which a hold is open.
func (t *tx) heldLots(ctx context.Context, keys []any) (map[int]bool, error) {
	held := map[int]bool{}
	err := t.queryIn(ctx, func(rows *sql.Rows) error {
		var key int
		err := rows.Scan(&key)
		held[key] = true
		return err
	}, "SELECT DISTINCT x.lot_id FROM holds x WHERE "+notReleased+" AND x.lot_id", keys, "")
	return held, err
}

// lotRows reads what the states of lots are made of.
func (t *tx) lotRows(ctx context.Context, rows []*ent.Lot) ([]lotRow, error) {
	keys := make([]any, len(rows))
	for i, r := range rows {
		keys[i] = r.ID
	}
	held, err := t.heldLots(ctx, keys)
	read := make([]lotRow, len(rows))
	for i, r := range rows {
		read[i] = lotRow{lotOf(r), ledger.LotState(r.State), held[r.ID]}
		read[i].Lot = read[i].asRead()
	}
	return read, err
}

var lots = thing[lotRow, string]{
	noun:     lotNoun,
	find:     named(lotNoun),
	resource: func(l lotRow) string { return "lots/" + l.Number },
	key:      func(l lotRow) string { return l.Number },
	validate: lotRow.validate,
	revision: func(l *lotRow) *ledger.Revision { return &l.Revision },
	same: func(a, b lotRow) bool {
		state := a.State == b.State || a.toKeep() == b.toKeep()
		a.Revision, b.Revision = ledger.Revision{}, ledger.Revision{}
		a.State, b.State = 0, 0
		return state && a.Lot == b.Lot
	},
	load: func(ctx context.Context, t *tx, number string) (lotRow, error) {
		row, err := t.ent().Lot.Query().Where(lot.Number(askable(number))).Only(ctx)
		if ent.IsNotFound(err) {
			return lotRow{}, t.notFound(ctx, lotNoun, 0, number, "lots/"+number)
		}
		if err != nil {
			return lotRow{}, err
		}
		rows, err := t.lotRows(ctx, []*ent.Lot{row})
		if err != nil {
			return lotRow{}, err
		}
		return rows[0], nil
	},
	insert: func(ctx context.Context, t *tx, l lotRow) error {
		if l.State == ledger.LotQuarantined {
			return ledger.InvalidField(lotNoun.what, "state", howToQuarantine)
		}
		if t.dry {
			return nil
		}
		return t.ent().Lot.Create().SetNumber(l.Number).SetSupplier(l.Supplier).SetHeat(l.Heat).SetDescription(l.Description).
			SetState(uint8(l.toKeep())).SetThread(l.Fastener.Thread).SetLengthMm(l.Fastener.LengthMillimetres).
			SetMaterial(uint8(l.Fastener.Material)).SetPropertyClass(l.Fastener.PropertyClass).
			SetCoating(l.Fastener.Coating).SetHead(l.Fastener.Head).
			SetVersion(l.Version).SetCreateTime(micro(l.CreateTime)).SetUpdateTime(micro(l.UpdateTime)).Exec(ctx)
	},
	update: func(ctx context.Context, t *tx, l lotRow) error {
		if t.dry {
			return nil
		}
		return t.ent().Lot.Update().Where(lot.Number(l.Number)).SetSupplier(l.Supplier).SetHeat(l.Heat).SetDescription(l.Description).
			SetState(uint8(l.toKeep())).SetThread(l.Fastener.Thread).SetLengthMm(l.Fastener.LengthMillimetres).
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

// RegisterLots takes in lots and answers for each. A new lot is not quarantined
// by saying so: that member is refused with KindInvalid.
func (s *Store) RegisterLots(ctx context.Context, items []ledger.Lot, c Change) ([]Outcome, error) {
	rows := make([]lotRow, len(items))
	for i, l := range items {
		rows[i].Lot = l
	}
	return register(ctx, s, lots, rows, c)
}

// Lot reads one lot; KindNotFound when there is none.
func (s *Store) Lot(ctx context.Context, number string) (ledger.Lot, error) {
	row, err := get(ctx, s, lots, number)
	return row.Lot, err
}

// UpdateLot changes one lot; errors as UpdateSite. The state may stay quarantined
// and does not become so; while a hold is open it does not become released, and
// one that becomes used up reads as quarantined still.
func (s *Store) UpdateLot(ctx context.Context, number string, version int, c Change, apply func(*ledger.Lot) error) (ledger.Lot, error) {
	row, err := change(ctx, s, lots, number, version, c, func(r *lotRow) error { return apply(&r.Lot) })
	return row.asRead(), err
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
			q.Where(func(s *entsql.Selector) {
				kept, held := entsql.EQ(s.C(lot.FieldState), uint8(f.State)), entsql.ExprP(openHold(s.C(lot.FieldID)))
				if f.State == ledger.LotQuarantined {
					s.Where(entsql.Or(kept, held))
				} else {
					s.Where(entsql.And(kept, entsql.Not(held)))
				}
			})
		}
		found, err := q.All(ctx)
		if err != nil {
			return err
		}
		rows, err := t.lotRows(ctx, found)
		for _, r := range rows {
			items = append(items, r.Lot)
		}
		items, next = cut(items, p, func(l ledger.Lot) string { return l.Number })
		return err
	})
	return items, next, err
}
