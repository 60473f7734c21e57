package store

import (
	"context"
	"database/sql"
	"slices"
	"time"

	"jointledger/ent/cell"
	"jointledger/ent/tower"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// CarriedSite is what a device needs to work at a site without the server: the
// plan, and all that the rules read about a record. Every list is in the order of
// the names in it.
type CarriedSite struct {
	// ReadTime is when it was read.
	ReadTime       time.Time
	Site           ledger.Site
	Towers         []ledger.Tower
	Cells          []known.CellPast
	Specifications []known.SpecificationPast
	Lots           []known.LotPast
	Tools          []known.ToolPast
	People         []ledger.Person
	Batches        []ledger.Batch
}

// How far back carried data reach. A record that is made on a device is seldom
// days old, so that what was so months ago is of no use there and would only weigh;
// the server judges the record again from everything.
const (
	// usedLately is how long ago a tool or person may last have been on record at the
	// site.
	usedLately = 365 * 24 * time.Hour
	// carriedPast is how far back the custody, checks and holds of a tool go, besides
	// the last of each before.
	carriedPast = 90 * 24 * time.Hour
)

// CarriedSite reads what a device carries of a site, from one state of the
// database. KindNotFound when there is no such site.
func (s *Store) CarriedSite(ctx context.Context, code string) (carried CarriedSite, err error) {
	// A large site takes a while to read, which must not keep everybody else waiting.
	err = s.viewLong(ctx, func(t *tx) error {
		keys, err := t.place(ctx, ledger.Place{Site: code})
		if err != nil {
			return err
		}
		c := carriedReader{tx: t, site: keys.site, out: &carried}
		carried.ReadTime = t.now
		if carried.Site, err = sites.load(ctx, t, code); err != nil {
			return err
		}
		for _, read := range []func(context.Context) error{c.plan, c.work, c.specifications, c.lots, c.tools, c.people, c.batches} {
			if err := read(ctx); err != nil {
				return err
			}
		}
		return nil
	})
	return carried, err
}

// carriedReader reads the parts of carried data in one transaction.
type carriedReader struct {
	*tx
	site int
	out  *CarriedSite
	// cells are the places in out.Cells by key.
	cells map[int]int
	// holders are the people who have the tools that are carried.
	holders map[string]bool
}

// chain is the range of the primary keys of the site's records.
func (c *carriedReader) chain() []any {
	return []any{int64(c.site) << sequenceBits, int64(c.site+1) << sequenceBits}
}

// plan reads the towers and cells.
func (c *carriedReader) plan(ctx context.Context) error {
	rows, err := c.ent().Tower.Query().Where(tower.SiteID(c.site)).Order(tower.ByTag()).All(ctx)
	if err != nil {
		return err
	}
	c.cells = map[int]int{}
	for _, r := range rows {
		place := ledger.Place{Site: c.out.Site.Code, Tower: r.Tag}
		c.out.Towers = append(c.out.Towers, towerOf(place, r))
		cells, err := c.ent().Cell.Query().Where(cell.TowerID(r.ID)).Order(cell.ByTag()).All(ctx)
		if err != nil {
			return err
		}
		for _, r := range cells {
			place.Cell = r.Tag
			c.cells[r.ID] = len(c.out.Cells)
			c.out.Cells = append(c.out.Cells, known.CellPast{Cell: cellOf(place, r)})
		}
	}
	return nil
}

// work reads the joints, their state, their holds and their tightenings.
func (c *carriedReader) work(ctx context.Context) error {
	joints, err := c.jointsAt(ctx, placeKeys{site: c.site}, "", 0)
	if err != nil {
		return err
	}
	if err := c.readWork(ctx, joints); err != nil {
		return err
	}
	holds, err := c.holdsOf(ctx, joints)
	if err != nil {
		return err
	}
	tightened, err := c.tightened(ctx)
	if err != nil {
		return err
	}
	for _, j := range joints {
		at := &c.out.Cells[c.cells[j.cell]]
		at.Joints = append(at.Joints, known.JointWork{JointPast: known.JointPast{Joint: j.Joint, Tightenings: tightened[j.id]}, Work: j.work})
		for _, key := range j.holds {
			if h := holds[key]; !slices.Contains(at.Holds, h) {
				at.Holds = append(at.Holds, h)
			}
		}
	}
	for i := range c.out.Cells {
		slices.SortFunc(c.out.Cells[i].Holds, earlier[*ledger.Hold])
	}
	return nil
}

// tightened reads the tightenings of the site that count, by joint.
func (c *carriedReader) tightened(ctx context.Context) (map[int][]known.Tightened, error) {
	tightened := map[int][]known.Tightened{}
	return tightened, c.query(ctx, func(rows *sql.Rows) error {
		var joint int
		var uid []byte
		var at int64
		var one known.Tightened
		var pass ledger.Pass
		if err := rows.Scan(&joint, &uid, &at, &one.Treatment, &one.Driven, &pass, &one.Lot, &one.Tool); err != nil {
			return err
		}
		one.ID, one.At, one.Fasteners = idOf(uid), fromMicro(at), one.Driven
		if pass != ledger.PassFirst {
			one.Fasteners = 0
		}
		tightened[joint] = append(tightened[joint], one)
		return nil
	}, `SELECT r.joint_id, r.uid, r.occur_time, x.treatment, x.fasteners, x.pass, COALESCE(l.number, ''), COALESCE(t.serial, '')
FROM tightenings x JOIN records r ON r.id = x.id LEFT JOIN lots l ON l.id = r.lot_id LEFT JOIN tools t ON t.id = r.tool_id
WHERE x.id >= ? AND x.id < ? AND `+notCorrected+" ORDER BY r.joint_id, r.occur_time, r.id", c.chain()...)
}
