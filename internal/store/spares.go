package store

import (
	"cmp"
	"context"
	"database/sql"
	"slices"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// Spares reads for each fastener and site what was installed, lost and is on hand,
// and, for the sites asked about, what remains to be installed. KindNotFound when
// a site is unknown.
func (s *Store) Spares(ctx context.Context, q analysis.SparesQuery) (records []analysis.SparesRecord, err error) {
	err = s.view(ctx, func(t *tx) error {
		b := sparesBook{at: map[sparesKey]int{}}
		var sites []any
		for _, code := range q.Sites {
			id, err := t.needNamed(ctx, siteNoun, code)
			if err != nil {
				return err
			}
			sites = append(sites, id)
		}
		for _, read := range []func() error{
			func() error { return t.sparesNames(ctx, &b) },
			func() error { return t.sparesInstalled(ctx, q, &b) },
			func() error { return t.sparesStock(ctx, &b) },
			func() error { return t.sparesRemaining(ctx, sites, &b) },
		} {
			if err := read(); err != nil {
				return err
			}
		}
		records = b.sorted()
		return nil
	})
	return records, err
}

type sparesKey struct {
	fastener ledger.Fastener
	site     int
}

// sparesBook gathers the records by fastener and site.
type sparesBook struct {
	sites     map[int]string
	lots      map[int]sparesLot
	revisions map[int]ledger.Fastener
	records   []analysis.SparesRecord
	at        map[sparesKey]int
}

type sparesLot struct {
	number   string
	fastener ledger.Fastener
	fit      bool // neither held nor quarantined nor used up
}

func (b *sparesBook) of(f ledger.Fastener, site int) *analysis.SparesRecord {
	k := sparesKey{f, site}
	i, ok := b.at[k]
	if !ok {
		i = len(b.records)
		b.at[k] = i
		b.records = append(b.records, analysis.SparesRecord{Fastener: f, Site: b.sites[site]})
	}
	return &b.records[i]
}

func (b *sparesBook) sorted() []analysis.SparesRecord {
	slices.SortFunc(b.records, func(x, y analysis.SparesRecord) int {
		return cmp.Or(cmp.Compare(x.Site, y.Site), cmp.Compare(analysis.FastenerName(x.Fastener), analysis.FastenerName(y.Fastener)))
	})
	for i := range b.records {
		slices.Sort(b.records[i].Overdrawn)
		slices.SortFunc(b.records[i].Remaining, func(x, y analysis.SparesRemaining) int { return cmp.Compare(x.PlannedFinish, y.PlannedFinish) })
	}
	return b.records
}

const fastenerColumns = "x.thread, x.length_mm, x.material, x.property_class, x.coating, x.head"

func fastenerTargets(f *ledger.Fastener) []any {
	return []any{&f.Thread, &f.LengthMillimetres, &f.Material, &f.PropertyClass, &f.Coating, &f.Head}
}

// sparesNames reads what sites, lots and revisions of specifications are.
func (t *tx) sparesNames(ctx context.Context, b *sparesBook) error {
	b.sites, b.lots, b.revisions = map[int]string{}, map[int]sparesLot{}, map[int]ledger.Fastener{}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var id int
		var code string
		err := rows.Scan(&id, &code)
		b.sites[id] = code
		return err
	}, "SELECT id, code FROM sites")
	if err != nil {
		return err
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var id int
		var l sparesLot
		var state ledger.LotState
		var held bool
		err := rows.Scan(append(fastenerTargets(&l.fastener), &id, &l.number, &state, &held)...)
		l.fit = state == ledger.LotReleased && !held
		b.lots[id] = l
		return err
	}, "SELECT "+fastenerColumns+", x.id, x.number, x.state, EXISTS (SELECT 1 FROM holds h WHERE h.lot_id = x.id AND h.action = 1 AND NOT EXISTS (SELECT 1 FROM holds e WHERE e.released_hold_id = h.id)) FROM lots x")
	if err != nil {
		return err
	}
	return t.query(ctx, func(rows *sql.Rows) error {
		var id int
		var f ledger.Fastener
		err := rows.Scan(append(fastenerTargets(&f), &id)...)
		b.revisions[id] = f
		return err
	}, "SELECT "+fastenerColumns+", x.id FROM specification_revisions x")
}

// sparesInstalled reads from the tallies what was installed and lost. Where no lot
// is named, the fastener is the specification's.
func (t *tx) sparesInstalled(ctx context.Context, q analysis.SparesQuery, b *sparesBook) error {
	today := int(q.AsOf.UTC().Unix() / 86400)
	return t.query(ctx, func(rows *sql.Rows) error {
		var site, lot, revision int
		var outcome ledger.IncidentKind
		var fasteners, recent int64
		if err := rows.Scan(&site, &lot, &revision, &outcome, &fasteners, &recent); err != nil {
			return err
		}
		fastener, known := b.revisions[revision], revision != 0
		if l, ok := b.lots[lot]; ok {
			fastener, known = l.fastener, true
		}
		switch {
		case !known:
		case outcome == outcomeTightened:
			r := b.of(fastener, site)
			r.Tightened, r.Recent = r.Tightened+fasteners, r.Recent+recent
		case outcome.ThreadFailure():
			b.of(fastener, site).Lost += fasteners
		}
		return nil
	}, `SELECT site_id, lot_id, specification_revision_id, outcome, SUM(fasteners), SUM(CASE WHEN day > ? AND day <= ? THEN fasteners ELSE 0 END)
FROM tallies GROUP BY site_id, lot_id, specification_revision_id, outcome`, today-analysis.SparesRecent, today)
}

func (t *tx) sparesStock(ctx context.Context, b *sparesBook) error {
	return t.query(ctx, func(rows *sql.Rows) error {
		var site, lot int
		var onHand int64
		if err := rows.Scan(&site, &lot, &onHand); err != nil {
			return err
		}
		l := b.lots[lot]
		r := b.of(l.fastener, site)
		switch {
		case onHand < 0:
			r.Overdrawn = append(r.Overdrawn, l.number)
		case l.fit:
			r.OnHand += onHand
		default:
			r.HeldBack += onHand
		}
		return nil
	}, "SELECT site_id, lot_id, on_hand FROM lot_sums")
}

// sparesRemaining reads what is left to install: the fasteners of each joint less
// those that reached torque in a first pass, as joint states have it. A joint with
// more than it has fasteners makes up for no other.
func (t *tx) sparesRemaining(ctx context.Context, sites []any, b *sparesBook) error {
	var done, at clause
	done.add("x.pass = 1")
	done.add(notCorrected)
	done.add("r.joint_id IS NOT NULL")
	if len(sites) > 0 {
		done.add("r.site_id IN "+marks(1, len(sites)), sites...)
		at.add("t.site_id IN "+marks(1, len(sites)), sites...)
	}
	return t.query(ctx, func(rows *sql.Rows) error {
		var site, revision int
		var p analysis.SparesRemaining
		if err := rows.Scan(&site, &p.PlannedFinish, &revision, &p.Fasteners); err != nil || p.Fasteners == 0 {
			return err
		}
		r := b.of(b.revisions[revision], site)
		for i := range r.Remaining { // several specifications may have one fastener
			if r.Remaining[i].PlannedFinish == p.PlannedFinish {
				r.Remaining[i].Fasteners += p.Fasteners
				return nil
			}
		}
		r.Remaining = append(r.Remaining, p)
		return nil
	}, `SELECT t.site_id, t.planned_finish, sv.id, SUM(CASE WHEN j.fasteners > COALESCE(d.done, 0) THEN j.fasteners - COALESCE(d.done, 0) ELSE 0 END)
FROM joints j JOIN cells c ON c.id = j.cell_id JOIN towers t ON t.id = c.tower_id
JOIN specifications sp ON sp.id = j.specification_id
JOIN specification_revisions sv ON sv.specification_id = sp.id AND sv.revision = sp.version
LEFT JOIN (SELECT r.joint_id, SUM(x.fasteners) AS done FROM tightenings x JOIN records r ON r.id = x.id`+done.where()+` GROUP BY r.joint_id) d ON d.joint_id = j.id`+
		at.where()+" GROUP BY t.site_id, t.planned_finish, sv.id", append(done.args, at.args...)...)
}
