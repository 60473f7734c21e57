package store

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// Spares reads for each fastener and site what was installed, lost and is on hand,
// and, for the sites asked about, what remains to be installed. KindNotFound when
// a site is unknown.
func (s *Store) Spares(ctx context.Context, q analysis.SparesQuery) (records []analysis.SparesRecord, err error) {
	var left map[leftToInstall]int64
	var uses map[sparesUse]struct{ all, recent int64 }
	err = s.withBoth(ctx, func(t *tx, tallies *tallyMemory) error {
		uses = tallies.sparesUses(q.AsOf, t.sees)
		return nil
	}, func(t *tx, m *workMemory) error {
		var sites []any
		for _, code := range q.Sites {
			id, err := t.needNamed(ctx, siteNoun, code)
			if err != nil {
				return err
			}
			sites = append(sites, id)
		}
		finishes, err := t.plannedFinishes(ctx)
		if err != nil {
			return err
		}
		revisions, err := t.revisionsNow(ctx)
		if err == nil {
			left, err = t.remainingFasteners(ctx, m, sites, finishes, revisions)
		}
		return err
	}, func(t *tx) error {
		b := sparesBook{at: map[sparesKey]int{}}
		for _, read := range []func() error{
			func() error { return t.sparesNames(ctx, &b) },
			func() error { return t.sparesStock(ctx, &b) },
		} {
			if err := read(); err != nil {
				return err
			}
		}
		b.installed(uses)
		b.remaining(left)
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
	// Held lots are few: they are read by themselves, not asked for once a lot.
	held := map[int]bool{}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var lot int
		err := rows.Scan(&lot)
		held[lot] = true
		return err
	}, "SELECT x.lot_id FROM holds x WHERE x.lot_id IS NOT NULL AND "+notReleased)
	if err != nil {
		return err
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var id int
		var l sparesLot
		var state ledger.LotState
		err := rows.Scan(append(fastenerTargets(&l.fastener), &id, &l.number, &state)...)
		l.fit = state == ledger.LotReleased && !held[id]
		b.lots[id] = l
		return err
	}, "SELECT "+fastenerColumns+", x.id, x.number, x.state FROM lots x")
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

// sparesUse is what was installed or lost at a site of a lot under a revision.
type sparesUse struct {
	site, lot, revision int
	outcome             ledger.IncidentKind
}

// sparesUses adds the tallies of the sites that are seen up by what spares are reckoned from; recent is as much of
// it as was installed in the last days before the moment looked from.
func (m *tallyMemory) sparesUses(asOf time.Time, sees func(site int) bool) map[sparesUse]struct{ all, recent int64 } {
	today := int32(asOf.UTC().Unix() / 86400)
	uses := map[sparesUse]struct{ all, recent int64 }{}
	from := today - analysis.SparesRecent + 1
	for site, groups := range m.groups {
		if !sees(site) {
			continue
		}
		for i := range groups {
			g := &groups[i]
			k := sparesUse{site, int(g.lot), int(g.revision), ledger.IncidentKind(g.outcome)}
			n := uses[k]
			n.all += g.sum
			switch {
			case g.last < from || g.first > today:
			case g.first >= from && g.last <= today:
				n.recent += g.sum
			default:
				g.each(func(day int32, fasteners int64) {
					if day >= from && day <= today {
						n.recent += fasteners
					}
				})
			}
			uses[k] = n
		}
	}
	return uses
}

// installed puts in what was installed and lost. Where no lot is named, the fastener is
// the specification's.
func (b *sparesBook) installed(uses map[sparesUse]struct{ all, recent int64 }) {
	for k, n := range uses {
		fastener, known := b.revisions[k.revision], k.revision != 0
		if l, ok := b.lots[k.lot]; ok {
			fastener, known = l.fastener, true
		}
		switch {
		case !known:
		case k.outcome == outcomeTightened:
			r := b.of(fastener, k.site)
			r.Tightened, r.Recent = r.Tightened+n.all, r.Recent+n.recent
		case k.outcome.ThreadFailure():
			b.of(fastener, k.site).Lost += n.all
		}
	}
}

func (t *tx) sparesStock(ctx context.Context, b *sparesBook) error {
	var c clause
	t.addVisible(&c, "site_id")
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
	}, "SELECT site_id, lot_id, on_hand FROM lot_sums"+c.where())
}

// plannedFinishes reads the day by which each tower is to be finished, empty for none.
func (t *tx) plannedFinishes(ctx context.Context) (map[int]string, error) {
	finishes := map[int]string{}
	err := t.query(ctx, func(rows *sql.Rows) error {
		var tower int
		var finish string
		err := rows.Scan(&tower, &finish)
		finishes[tower] = finish
		return err
	}, "SELECT id, planned_finish FROM towers")
	return finishes, err
}

// remaining puts in what is left to install.
func (b *sparesBook) remaining(left map[leftToInstall]int64) {
	for k, fasteners := range left {
		r := b.of(b.revisions[k.revision], k.site)
		i := slices.IndexFunc(r.Remaining, func(p analysis.SparesRemaining) bool { return p.PlannedFinish == k.finish })
		if i < 0 { // several specifications may have one fastener
			i = len(r.Remaining)
			r.Remaining = append(r.Remaining, analysis.SparesRemaining{PlannedFinish: k.finish})
		}
		r.Remaining[i].Fasteners += fasteners
	}
}
