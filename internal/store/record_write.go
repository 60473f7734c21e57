package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"jointledger/ent/column"
	"jointledger/internal/ledger"
)

// sequenceBits is the part of a record's key that holds the sequence in the
// chain of its site; the site's key stands above it.
const sequenceBits = 40

// staged is a record on its way into the database: with the keys of what it
// names, and its place in the chain.
type staged struct {
	ledger.Record
	keys     placeKeys
	lot      int
	tool     int
	person   int
	revision int // of the specification
	id       int64
}

// Record keeps records and answers for each: taken, already known, or refused
// with its reason. What is reported as taken is durable. An error means that
// none was kept, or that it is not known; sending again is safe.
func (s *Store) Record(ctx context.Context, records []ledger.Record, c Change) ([]Outcome, error) {
	outcomes := make([]Outcome, len(records))
	sound := make([]ledger.Record, 0, len(records))
	where := make([]int, 0, len(records))
	for i, r := range records {
		if err := ledger.Invalid(ledger.RecordKinds.Name(r.RecordKind()), r.Validate()); err != nil {
			outcomes[i] = refused(ledger.AsError(err))
			continue
		}
		sound, where = append(sound, r), append(where, i)
	}
	if len(sound) == 0 {
		return outcomes, nil
	}
	var answers []Outcome
	var err error
	if c.ValidateOnly {
		err = s.view(ctx, func(t *tx) error {
			answers, err = t.record(ctx, sound)
			return err
		})
	} else {
		j := &job{ctx: ctx, records: sound}
		if err = s.writer.submit(j); err == nil {
			answers = j.outcomes
		}
	}
	if err != nil {
		return nil, err
	}
	for k, i := range where {
		outcomes[i] = answers[k]
	}
	return outcomes, nil
}

// record takes in sound records within the transaction and answers for each.
// Everything is looked up and decided before the first row is written.
func (t *tx) record(ctx context.Context, records []ledger.Record) ([]Outcome, error) {
	outcomes := make([]Outcome, len(records))
	rows := make([]*staged, len(records))
	for i, r := range records {
		row, err := t.stage(ctx, r)
		if e, ok := refusal(err); ok {
			outcomes[i] = refused(e)
		} else if err != nil {
			return nil, err
		} else {
			rows[i] = row
		}
	}
	chains, err := t.lockChains(ctx, rows)
	if err != nil {
		return nil, err
	}
	if err := t.recognise(ctx, rows, outcomes); err != nil {
		return nil, err
	}
	fresh := slices.DeleteFunc(rows, func(r *staged) bool { return r == nil })
	if t.dry {
		return outcomes, nil
	}
	if err := t.assign(ctx, fresh, chains); err != nil {
		return nil, err
	}
	return outcomes, t.writeRows(ctx, fresh, chains)
}

// stage looks up what a record names.
func (t *tx) stage(ctx context.Context, r ledger.Record) (*staged, error) {
	row := &staged{Record: r}
	var place ledger.Place
	var lot, tool string
	switch r := r.(type) {
	case *ledger.Tightening:
		place, lot, tool = r.Joint, r.Lot, r.Tool
	case *ledger.Incident:
		place, lot, tool = r.Joint, r.Lot, r.Tool
		if place == (ledger.Place{}) {
			place = ledger.Place{Site: r.Site}
		}
	case *ledger.Calibration:
		tool = r.Tool
	case *ledger.LotMovement:
		place, lot = ledger.Place{Site: r.Site}, r.Lot
	}
	var err error
	if row.keys, err = t.place(ctx, place); err != nil {
		return nil, err
	}
	for _, n := range []struct {
		noun noun
		name string
		key  *int
	}{{lotNoun, lot, &row.lot}, {toolNoun, tool, &row.tool}, {personNoun, r.Head().Person, &row.person}} {
		if n.name == "" {
			continue
		}
		if *n.key, err = t.needNamed(ctx, n.noun, n.name); err != nil {
			return nil, err
		}
	}
	if c, ok := r.(*ledger.Calibration); ok {
		return row, t.calibrationSite(ctx, row, c)
	}
	return row, nil
}

// calibrationSite places a calibration in the chain of the tool's home site.
func (t *tx) calibrationSite(ctx context.Context, row *staged, c *ledger.Calibration) error {
	return t.sql.QueryRowContext(ctx, t.engine.bind("SELECT s.id, s.code FROM tools x JOIN sites s ON s.id = x.home_site_id WHERE x.id = ?"),
		row.tool).Scan(&row.keys.site, &c.Site)
}

// chainHead is the end of a site's chain.
type chainHead struct {
	sequence int64
	link     ledger.Link
	location *time.Location
	moved    bool
}

// lockChains reads the heads of the chains that the rows will join and, where
// servers compete, keeps others from them until the commit. It comes before
// recognise: what another server kept under the lock is seen then.
func (t *tx) lockChains(ctx context.Context, rows []*staged) (map[int]*chainHead, error) {
	heads := map[int]*chainHead{}
	var sites []any
	for _, r := range rows {
		if r == nil {
			continue
		}
		if _, ok := heads[r.keys.site]; !ok {
			heads[r.keys.site] = nil
			sites = append(sites, r.keys.site)
		}
	}
	if len(sites) == 0 {
		return heads, nil
	}
	lock := ""
	if !t.dry {
		lock = t.engine.lockRows("c")
	}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var site int
		var head chainHead
		var link []byte
		var zone string
		if err := rows.Scan(&site, &head.sequence, &link, &zone); err != nil {
			return err
		}
		copy(head.link[:], link)
		var err error
		head.location, err = t.names.zone(zone)
		heads[site] = &head
		return err
	}, "SELECT c.id, c.sequence, c.link, s.time_zone FROM chains c JOIN sites s ON s.id = c.id WHERE c.id IN "+marks(1, len(sites))+" ORDER BY c.id"+lock, sites...)
	if err != nil {
		return nil, err
	}
	for site, head := range heads {
		if head == nil {
			return nil, fmt.Errorf("site %d has no chain", site)
		}
	}
	return heads, nil
}

// recognise answers for records that are there already, in the database or
// earlier in the batch, and takes them out of rows; the others are taken.
func (t *tx) recognise(ctx context.Context, rows []*staged, outcomes []Outcome) error {
	known, err := t.knownIDs(ctx, rows)
	if err != nil {
		return err
	}
	first := map[uuid.UUID]ledger.Record{}
	for i, r := range rows {
		if r == nil {
			continue
		}
		uid := r.Head().ID
		earlier, ok := first[uid]
		if key, kept := known[uid]; !ok && kept {
			if earlier, err = t.recordByKey(ctx, key.kind, key.id); err != nil {
				return err
			}
			first[uid], ok = earlier, true
		}
		switch {
		case !ok:
			first[uid] = r.Record
			outcomes[i] = Outcome{State: Taken}
			continue
		case ledger.SameContent(earlier, r.Record):
			outcomes[i] = Outcome{State: AlreadyKnown}
		default:
			outcomes[i] = refused(ledger.RecordIDReused(ledger.RecordResource(r.Record)))
		}
		rows[i] = nil
	}
	return nil
}

type recordKey struct {
	id   int64
	kind ledger.RecordKind
}

// knownIDs looks up which of the rows' ids are kept already.
func (t *tx) knownIDs(ctx context.Context, rows []*staged) (map[uuid.UUID]recordKey, error) {
	known := map[uuid.UUID]recordKey{}
	var uids []any
	for _, r := range rows {
		if r != nil {
			uid := r.Head().ID
			uids = append(uids, uid[:])
		}
	}
	err := inChunks(uids, 1, func(part []any) error {
		return t.query(ctx, func(rows *sql.Rows) error {
			var uid []byte
			var k recordKey
			if err := rows.Scan(&uid, &k.id, &k.kind); err != nil {
				return err
			}
			known[uuid.UUID(uid)] = k
			return nil
		}, "SELECT uid, id, kind FROM records WHERE uid IN "+marks(1, len(part)), part...)
	})
	return known, err
}

// assign gives each row its specification, its place in the chain and its link.
func (t *tx) assign(ctx context.Context, rows []*staged, chains map[int]*chainHead) error {
	revisions, err := t.currentRevisions(ctx, rows)
	if err != nil {
		return err
	}
	for _, r := range rows {
		chain, head := chains[r.keys.site], r.Head()
		if v, ok := revisions[r.keys.joint]; ok {
			r.revision = v.id
			switch rec := r.Record.(type) {
			case *ledger.Tightening:
				rec.Specification = v.ref
			case *ledger.Incident:
				rec.Specification = v.ref
			}
		}
		chain.sequence++
		chain.moved = true
		head.Sequence, head.ReceiveTime = chain.sequence, t.now
		head.LocalDay = localDay(head.OccurTime, chain.location)
		chain.link = ledger.NextLink(chain.link, r.Record)
		head.Link = chain.link
		r.id = int64(r.keys.site)<<sequenceBits | chain.sequence
	}
	return nil
}

// localDay counts days since 1970-01-01 in the site's calendar.
func localDay(at time.Time, location *time.Location) int {
	y, m, d := at.In(location).Date()
	return int(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

type currentRevision struct {
	id  int
	ref ledger.SpecificationRef
}

// currentRevisions reads the specification that holds for each row's joint now.
func (t *tx) currentRevisions(ctx context.Context, rows []*staged) (map[int]currentRevision, error) {
	found := map[int]currentRevision{}
	var keys []any
	for _, r := range rows {
		if _, seen := found[r.keys.joint]; r.keys.joint != 0 && !seen {
			found[r.keys.joint] = currentRevision{}
			keys = append(keys, r.keys.joint)
		}
	}
	err := inChunks(keys, 1, func(part []any) error {
		return t.query(ctx, func(rows *sql.Rows) error {
			var joint int
			var v currentRevision
			err := rows.Scan(&joint, &v.id, &v.ref.Code, &v.ref.Revision)
			found[joint] = v
			return err
		}, `SELECT j.id, v.id, s.code, v.revision FROM joints j JOIN specifications s ON s.id = j.specification_id
JOIN specification_revisions v ON v.specification_id = s.id AND v.revision = s.version WHERE j.id IN `+marks(1, len(part)), part...)
	})
	return found, err
}

// writeRows writes the rows, what they add to the tallies, and the chains' heads.
func (t *tx) writeRows(ctx context.Context, rows []*staged, chains map[int]*chainHead) error {
	values := map[string][]any{}
	for _, r := range rows {
		if err := r.appendTo(values); err != nil {
			return err
		}
	}
	for _, table := range []insertTable{recordsTable, tighteningsTable, incidentsTable, calibrationsTable, movementsTable} {
		if err := t.insertRows(ctx, table, values[table.name]); err != nil {
			return err
		}
	}
	if err := t.addTallies(ctx, rows); err != nil {
		return err
	}
	for site, head := range chains {
		if head == nil || !head.moved {
			continue
		}
		if err := t.exec(ctx, "UPDATE chains SET sequence = ?, link = ? WHERE id = ?", head.sequence, head.link[:], site); err != nil {
			return err
		}
	}
	return nil
}

// appendTo appends the row's values to those of its tables.
func (r *staged) appendTo(values map[string][]any) error {
	e := r.Head()
	uid := e.ID
	values[recordsTable.name] = append(values[recordsTable.name],
		r.id, uid[:], uint8(r.RecordKind()), r.keys.site, nullable(r.keys.joint), nullable(r.lot), nullable(r.tool), nullable(r.person),
		micro(e.OccurTime), e.OffsetMinutes, e.LocalDay, micro(e.ReceiveTime), e.Device, e.Note, e.Link[:])
	switch rec := r.Record.(type) {
	case *ledger.Tightening:
		var torque any
		if rec.TorqueNewtonMetres != nil {
			torque = *rec.TorqueNewtonMetres
		}
		values[tighteningsTable.name] = append(values[tighteningsTable.name],
			r.id, r.revision, uint8(rec.Treatment), rec.CompoundBatch, torque, rec.TorqueAsTyped, rec.Fasteners, uint8(rec.Pass), uint8(rec.Method))
	case *ledger.Incident:
		values[incidentsTable.name] = append(values[incidentsTable.name],
			r.id, nullable(r.revision), uint8(rec.Kind), rec.Fasteners, uint8(rec.Treatment), uint8(rec.Method), rec.Noticed, rec.Action)
	case *ledger.Calibration:
		points, err := json.Marshal(pointColumns(rec.Points))
		if err != nil {
			return err
		}
		values[calibrationsTable.name] = append(values[calibrationsTable.name], r.id, rec.Laboratory, rec.Certificate, string(points))
	case *ledger.LotMovement:
		values[movementsTable.name] = append(values[movementsTable.name], r.id, uint8(rec.Kind), rec.Quantity, rec.Reference, rec.HandledBy)
	}
	return nil
}

func nullable(key int) any {
	if key == 0 {
		return nil
	}
	return key
}

func pointColumns(points []ledger.CalibrationPoint) []column.Point {
	columns := make([]column.Point, len(points))
	for i, p := range points {
		columns[i] = column.Point{
			Phase: uint8(p.Phase), Target: p.TargetNewtonMetres, Readings: p.ReadingsNewtonMetres,
			ExpandedUncertainty: p.ExpandedUncertaintyNewtonMetres, CoverageFactor: p.CoverageFactor,
		}
	}
	return columns
}

func pointsOf(columns []column.Point) []ledger.CalibrationPoint {
	points := make([]ledger.CalibrationPoint, len(columns))
	for i, p := range columns {
		points[i] = ledger.CalibrationPoint{
			Phase: ledger.CalibrationPhase(p.Phase), TargetNewtonMetres: p.Target, ReadingsNewtonMetres: p.Readings,
			ExpandedUncertaintyNewtonMetres: p.ExpandedUncertainty, CoverageFactor: p.CoverageFactor,
		}
	}
	return points
}
