package store

import (
	"context"
	"database/sql"
	"fmt"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// notCorrected is the condition that no correction withdrew or replaced the
// record r: every figure has it.
const notCorrected = "NOT EXISTS (SELECT 1 FROM corrections k WHERE k.corrected_id = r.id)"

// notReleased is the condition that the placed hold x is open.
const notReleased = "x.action = 1 AND NOT EXISTS (SELECT 1 FROM holds e WHERE e.released_hold_id = x.id)"

// automaticHolds makes a hold for each finding that asks for one, on the joint
// of the record, unless the joint is on hold for the same rule already.
func (t *tx) automaticHolds(ctx context.Context, rows []*staged) ([]*staged, error) {
	asked := keysOf(rows, func(r *staged) int {
		for _, f := range r.findings {
			if f.Severity == rules.Hold {
				return r.keys.joint
			}
		}
		return 0
	})
	if len(asked) == 0 {
		return nil, nil
	}
	type jointRule struct {
		joint int
		rule  string
	}
	held := map[jointRule]bool{}
	err := inChunks(asked, 1, func(part []any) error {
		return t.query(ctx, func(rows *sql.Rows) error {
			var k jointRule
			err := rows.Scan(&k.joint, &k.rule)
			held[k] = true
			return err
		}, "SELECT x.joint_id, x.rule FROM holds x WHERE x.joint_id IN "+marks(1, len(part))+" AND "+notReleased, part...)
	})
	if err != nil {
		return nil, err
	}
	var holds []*staged
	for _, r := range rows {
		for _, f := range r.findings {
			k := jointRule{r.keys.joint, f.Rule}
			if f.Severity != rules.Hold || r.keys.joint == 0 || held[k] {
				continue
			}
			held[k] = true
			hold, err := t.automaticHold(r, f)
			if err != nil {
				return nil, err
			}
			holds = append(holds, hold)
		}
	}
	return holds, nil
}

func (t *tx) automaticHold(r *staged, f rules.Finding) (*staged, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return nil, err
	}
	place := namesOf(r.Record).place
	hold := &ledger.Hold{
		Entry:  ledger.Entry{ID: id, OccurTime: t.now},
		Action: ledger.HoldPlaced, Place: place, Site: place.Site, Reason: f.Message, Rule: f.Rule,
	}
	if fields := hold.Validate(); len(fields) > 0 {
		return nil, fmt.Errorf("the hold for rule %s is not sound: %v", f.Rule, fields)
	}
	return &staged{Record: hold, keys: r.keys, cause: r}, nil
}

// HoldFilter narrows a list of open holds.
type HoldFilter struct {
	// Place is what holds are on or in; for a joint, those on its cell count too.
	Place           ledger.Place
	Lot, Tool, Site string
}

// OpenHolds lists holds that were placed and not released, oldest first by site.
// KindNotFound when the filter names something unknown.
func (s *Store) OpenHolds(ctx context.Context, f HoldFilter) (holds []*ledger.Hold, err error) {
	err = s.view(ctx, func(t *tx) error {
		holds, err = t.openHolds(ctx, f)
		return err
	})
	return holds, err
}

func (t *tx) openHolds(ctx context.Context, f HoldFilter) ([]*ledger.Hold, error) {
	place := f.Place
	if place == (ledger.Place{}) {
		place = ledger.Place{Site: f.Site}
	}
	keys, err := t.place(ctx, place)
	if err != nil {
		return nil, err
	}
	var c clause
	c.add(notReleased)
	switch {
	case keys.joint != 0:
		c.add("(x.joint_id = ? OR x.cell_id = ?)", keys.joint, keys.cell)
	case keys.cell != 0:
		c.add("(x.cell_id = ? OR j.cell_id = ?)", keys.cell, keys.cell)
	case keys.tower != 0:
		c.add("(hc.tower_id = ? OR c.tower_id = ?)", keys.tower, keys.tower)
	case keys.site != 0:
		c.add("r.site_id = ?", keys.site)
	}
	for _, n := range []struct {
		noun         noun
		name, column string
	}{{lotNoun, f.Lot, "x.lot_id"}, {toolNoun, f.Tool, "x.tool_id"}} {
		if n.name == "" {
			continue
		}
		key, err := t.needNamed(ctx, n.noun, n.name)
		if err != nil {
			return nil, err
		}
		c.add(n.column+" = ?", key)
	}
	found, err := t.recordsWhere(ctx, ledger.KindHold, &c, " ORDER BY x.id")
	holds := make([]*ledger.Hold, len(found))
	for i, k := range found {
		holds[i] = k.Record.(*ledger.Hold)
	}
	return holds, err
}
