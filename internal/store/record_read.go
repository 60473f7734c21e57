package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"jointledger/ent/column"
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
}

// kindTable says where the content of a kind of record is kept.
type kindTable struct {
	table string
	// columns are read from the table, x, and what joins brings in.
	columns, joins string
	// unused are the references of a record that this kind leaves empty.
	unused []string
}

var kindTables = map[ledger.RecordKind]kindTable{
	ledger.KindTightening: {
		"tightenings",
		"sp.code, sv.revision, x.treatment, x.compound_batch, x.torque_nm, x.torque_as_typed, x.fasteners, x.pass, x.method",
		" JOIN specification_revisions sv ON sv.id = x.specification_revision_id JOIN specifications sp ON sp.id = sv.specification_id",
		nil,
	},
	ledger.KindIncident: {
		"incidents",
		"COALESCE(sp.code, ''), COALESCE(sv.revision, 0), x.kind, x.fasteners, x.treatment, x.method, x.noticed, x.action",
		" LEFT JOIN specification_revisions sv ON sv.id = x.specification_revision_id LEFT JOIN specifications sp ON sp.id = sv.specification_id",
		nil,
	},
	ledger.KindCalibration: {"calibrations", "x.laboratory, x.certificate, x.points", "", []string{"joint_id", "lot_id"}},
	ledger.KindLotMovement: {"lot_movements", "x.kind, x.quantity, x.reference, x.handled_by", "", []string{"joint_id", "tool_id"}},
}

const (
	recordColumns = `r.id, r.uid, s.code, COALESCE(t.tag, ''), COALESCE(c.tag, ''), COALESCE(j.tag, ''),
COALESCE(l.number, ''), COALESCE(tl.serial, ''), COALESCE(p.code, ''),
r.occur_time, r.offset_minutes, r.local_day, r.receive_time, r.device, r.note, r.link, `
	// The kind's number stands in the place of the verb.
	recordJoins = ` JOIN records r ON r.id = x.id AND r.kind = %d JOIN sites s ON s.id = r.site_id
LEFT JOIN joints j ON j.id = r.joint_id LEFT JOIN cells c ON c.id = j.cell_id LEFT JOIN towers t ON t.id = c.tower_id
LEFT JOIN lots l ON l.id = r.lot_id LEFT JOIN tools tl ON tl.id = r.tool_id LEFT JOIN people p ON p.id = r.person_id`
)

// keyed is a record with its key.
type keyed struct {
	ledger.Record
	id int64
}

// recordsWhere reads records of one kind, in the order of their keys.
func (t *tx) recordsWhere(ctx context.Context, kind ledger.RecordKind, c *clause, tail string, tailArgs ...any) ([]keyed, error) {
	own := kindTables[kind]
	var records []keyed
	err := t.query(ctx, func(rows *sql.Rows) error {
		r, err := scanRecord(rows, kind)
		records = append(records, r)
		return err
	}, "SELECT "+recordColumns+own.columns+" FROM "+own.table+" x"+own.joins+fmt.Sprintf(recordJoins, kind)+c.where()+tail, append(c.args, tailArgs...)...)
	return records, err
}

// common are the columns that all kinds share, as read.
type common struct {
	id                 int64
	uid, link          []byte
	site               string
	joint              ledger.Place
	lot, tool          string
	person             string
	occur, receive     int64
	offset, day        int
	device, note       string
	specificationCode  string
	specificationCount int
}

func (c *common) targets() []any {
	return []any{
		&c.id, &c.uid, &c.site, &c.joint.Tower, &c.joint.Cell, &c.joint.Joint,
		&c.lot, &c.tool, &c.person, &c.occur, &c.offset, &c.day, &c.receive, &c.device, &c.note, &c.link,
	}
}

// place is the joint, or no place when the record names none.
func (c *common) place() ledger.Place {
	p := c.joint
	if p.Joint == "" {
		return ledger.Place{}
	}
	p.Site = c.site
	return p
}

func (c *common) specification() ledger.SpecificationRef {
	return ledger.SpecificationRef{Code: c.specificationCode, Revision: c.specificationCount}
}

func (c *common) entry() ledger.Entry {
	e := ledger.Entry{
		OccurTime: fromMicro(c.occur), OffsetMinutes: c.offset, Person: c.person, Device: c.device, Note: c.note,
		ReceiveTime: fromMicro(c.receive), LocalDay: c.day, Sequence: c.id & (1<<sequenceBits - 1),
	}
	copy(e.ID[:], c.uid)
	copy(e.Link[:], c.link)
	return e
}

func scanRecord(rows *sql.Rows, kind ledger.RecordKind) (keyed, error) {
	var c common
	var r ledger.Record
	var err error
	switch kind {
	case ledger.KindTightening:
		v := &ledger.Tightening{}
		err = rows.Scan(append(c.targets(), &c.specificationCode, &c.specificationCount, &v.Treatment, &v.CompoundBatch,
			&v.TorqueNewtonMetres, &v.TorqueAsTyped, &v.Fasteners, &v.Pass, &v.Method)...)
		v.Entry, v.Joint, v.Lot, v.Tool, v.Specification = c.entry(), c.place(), c.lot, c.tool, c.specification()
		r = v
	case ledger.KindIncident:
		v := &ledger.Incident{}
		err = rows.Scan(append(c.targets(), &c.specificationCode, &c.specificationCount, &v.Kind, &v.Fasteners,
			&v.Treatment, &v.Method, &v.Noticed, &v.Action)...)
		v.Entry, v.Site, v.Joint, v.Lot, v.Tool, v.Specification = c.entry(), c.site, c.place(), c.lot, c.tool, c.specification()
		r = v
	case ledger.KindCalibration:
		v := &ledger.Calibration{}
		var points []byte
		err = rows.Scan(append(c.targets(), &v.Laboratory, &v.Certificate, &points)...)
		var columns []column.Point
		if err == nil {
			err = json.Unmarshal(points, &columns)
		}
		v.Entry, v.Site, v.Tool, v.Points = c.entry(), c.site, c.tool, pointsOf(columns)
		r = v
	case ledger.KindLotMovement:
		v := &ledger.LotMovement{}
		err = rows.Scan(append(c.targets(), &v.Kind, &v.Quantity, &v.Reference, &v.HandledBy)...)
		v.Entry, v.Site, v.Lot = c.entry(), c.site, c.lot
		r = v
	}
	return keyed{r, c.id}, err
}

// recordByKey reads the one record of a key.
func (t *tx) recordByKey(ctx context.Context, kind ledger.RecordKind, id int64) (ledger.Record, error) {
	var c clause
	c.add("x.id = ?", id)
	found, err := t.recordsWhere(ctx, kind, &c, "")
	if err != nil {
		return nil, err
	}
	if len(found) != 1 {
		return nil, sql.ErrNoRows
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
	case keys.cell != 0:
		c.add("j.cell_id = ?", keys.cell)
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
	}{{lotNoun, f.Lot, "r.lot_id"}, {toolNoun, f.Tool, "r.tool_id"}, {personNoun, f.Person, "r.person_id"}} {
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
	return c, nil
}
