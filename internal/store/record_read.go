package store

import (
	"context"
	"database/sql"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

// RecordFilter narrows a list of records of one kind.
type RecordFilter struct {
	Kind ledger.RecordKind
	// Place is a site, tower, cell or joint at or below which it happened.
	Place             ledger.Place
	Lot, Tool, Person string
	// Start is the first moment that counts, End the first that does not; zero
	// for no limit.
	Start, End time.Time
	// Incident is the kind of incident, for incidents.
	Incident ledger.IncidentKind
	// AlarmRule is the code of the rule that raised it, for alarms.
	AlarmRule string
	// OpenOnly leaves out, of holds, releases and what is released or withdrawn.
	OpenOnly bool
}

// keyed is a record with its key.
type keyed struct {
	ledger.Record
	id int64
}

// recordsWhere reads records of one kind, in the order of their keys; of those, the
// ones that the transaction sees.
func (t *tx) recordsWhere(ctx context.Context, kind ledger.RecordKind, c *clause, tail string, tailArgs ...any) ([]keyed, error) {
	own := kindTables[kind]
	c = t.narrowed(c, kind)
	var records []keyed
	err := t.query(ctx, func(rows *sql.Rows) error {
		r, err := scanRecord(rows, kind)
		records = append(records, r)
		return err
	}, "SELECT "+recordColumns+own.columns+" FROM "+own.table+" x"+own.joins+fmt.Sprintf(recordJoins, kind)+c.where()+tail, append(c.args, tailArgs...)...)
	return records, err
}

// recordByKey reads the one record of a key.
func (t *tx) recordByKey(ctx context.Context, kind ledger.RecordKind, id int64) (ledger.Record, error) {
	var c clause
	c.add("x.id = ?", id)
	found, err := t.recordsWhere(ctx, kind, &c, "")
	if err == nil && len(found) != 1 {
		err = fmt.Errorf("the content of %s %d is missing", ledger.RecordKinds.Name(kind), id)
	}
	if err != nil {
		return nil, err
	}
	return found[0].Record, nil
}

// FindRecord reads one record; KindNotFound when there is none of this kind and
// id.
func (s *Store) FindRecord(ctx context.Context, kind ledger.RecordKind, id uuid.UUID) (found ledger.Record, err error) {
	err = s.view(ctx, func(t *tx) error {
		var c clause
		c.add("r.uid = ?", id[:])
		records, err := t.recordsWhere(ctx, kind, &c, "")
		if err != nil {
			return err
		}
		if len(records) == 0 {
			return ledger.NotFound(strings.ReplaceAll(ledger.RecordKinds.Name(kind), "-", " "), ledger.RecordName(kind, id), "")
		}
		found = records[0].Record
		return nil
	})
	return found, err
}

// Records lists records of one kind, by site and in each site in the order in
// which they were taken in. KindNotFound when the filter names something
// unknown.
func (s *Store) Records(ctx context.Context, f RecordFilter, p Page) (items []ledger.Record, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		c, err := t.recordClause(ctx, f)
		if err != nil {
			return err
		}
		if after, err := strconv.ParseInt(p.After, 10, 64); err == nil {
			c.add("x.id > ?", after)
		}
		found, err := t.recordsWhere(ctx, f.Kind, c, " ORDER BY x.id LIMIT ?", p.Size+1)
		if err != nil {
			return err
		}
		found, next = cut(found, p, func(k keyed) string { return strconv.FormatInt(k.id, 10) })
		for _, k := range found {
			items = append(items, k.Record)
		}
		return nil
	})
	return items, next, err
}

// recordClause gives the conditions of a filter; what it names must exist.
func (t *tx) recordClause(ctx context.Context, f RecordFilter) (*clause, error) {
	c := &clause{}
	keys, err := t.place(ctx, f.Place)
	if err != nil {
		return nil, err
	}
	switch {
	case keys.joint != 0:
		c.add("r.joint_id = ?", keys.joint)
	case keys.cell != 0 && (f.Kind == ledger.KindHold || f.Kind == ledger.KindSignOff):
		// They may be about the cell or tower itself, which stands with them.
		c.add("(j.cell_id = ? OR x.cell_id = ?)", keys.cell, keys.cell)
	case keys.cell != 0:
		c.add("j.cell_id = ?", keys.cell)
	case keys.tower != 0 && f.Kind == ledger.KindHold:
		c.add("(c.tower_id = ? OR hc.tower_id = ?)", keys.tower, keys.tower)
	case keys.tower != 0 && f.Kind == ledger.KindSignOff:
		c.add("(c.tower_id = ? OR hc.tower_id = ? OR x.tower_id = ?)", keys.tower, keys.tower, keys.tower)
	case keys.tower != 0:
		c.add("c.tower_id = ?", keys.tower)
	case keys.site != 0:
		// A site's records are one range of the key.
		c.add("x.id >= ?", int64(keys.site)<<sequenceBits)
		c.add("x.id < ?", int64(keys.site+1)<<sequenceBits)
	}
	for _, n := range []struct {
		noun         noun
		name, column string
	}{{lotNoun, f.Lot, "r.lot_id"}, {toolNoun, f.Tool, "r.tool_id"}, {personNoun, f.Person, "r.person_id"}, {alarmRuleNoun, f.AlarmRule, "x.rule_id"}} {
		if n.name == "" {
			continue
		}
		key, err := t.needNamed(ctx, n.noun, n.name)
		if err != nil {
			return nil, err
		}
		c.add(n.column+" = ?", key)
	}
	if !f.Start.IsZero() {
		c.add("r.occur_time >= ?", micro(f.Start))
	}
	if !f.End.IsZero() {
		c.add("r.occur_time < ?", micro(f.End))
	}
	if f.Incident != 0 && f.Kind == ledger.KindIncident {
		c.add("x.kind = ?", uint8(f.Incident))
	}
	if f.OpenOnly && f.Kind == ledger.KindHold {
		c.add(notReleased)
		c.add(notCorrected)
	}
	return c, nil
}
