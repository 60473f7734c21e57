package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"

	"jointledger/internal/ledger"
	"jointledger/internal/visible"
)

// visibleSites are the sites whose places and records a transaction reads. To
// everybody who may read only some, the others are not there: their names are
// unknown, and no figure counts them. What belongs to no site is everybody's: lots,
// tools with their calibrations, custody and checks, people, specifications.
// What is told of a tool or lot as such is told whole, though the work was done
// elsewhere: the use of a tool that its due dates and intervals are reckoned from,
// whether a lot is counted in anywhere at all, the counters of an alarm on a lot.
type visibleSites struct {
	keys  []int
	has   map[int]bool
	codes map[string]bool
}

// see narrows what the transaction reads.
func (t *tx) see(ctx context.Context, s visible.Sites) error {
	t.visible = nil
	if !s.Restricted {
		return nil
	}
	v := &visibleSites{has: map[int]bool{}, codes: map[string]bool{}}
	args := make([]any, len(s.Codes))
	for i, c := range s.Codes {
		args[i] = askable(c)
	}
	err := inKeys(args, func(part []any) error {
		return t.query(ctx, func(rows *sql.Rows) error {
			var id int
			var code string
			if err := rows.Scan(&id, &code); err != nil {
				return err
			}
			if !v.has[id] {
				v.keys = append(v.keys, id)
			}
			v.has[id], v.codes[code] = true, true
			return nil
		}, "SELECT id, code FROM sites WHERE code IN "+marks(1, len(part)), part...)
	})
	slices.Sort(v.keys)
	t.visible = v
	return err
}

// sees says whether the transaction reads a site, by its key.
func (t *tx) sees(site int) bool { return t.visible == nil || t.visible.has[site] }

// onlyVisible is the condition that a column of sites' keys is one that the
// transaction reads; empty for all. The keys are integers of the database's own, so
// they stand in the text: it can be put into any query, whatever its parameters.
func (t *tx) onlyVisible(column string) string {
	switch {
	case t.visible == nil:
		return ""
	case len(t.visible.keys) == 0:
		return "1 = 0"
	}
	b := []byte(column + " IN (")
	for i, k := range t.visible.keys {
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendInt(b, int64(k), 10)
	}
	return string(append(b, ')'))
}

// andVisible is onlyVisible after other conditions.
func (t *tx) andVisible(column string) string {
	if only := t.onlyVisible(column); only != "" {
		return " AND " + only
	}
	return ""
}

// addVisible adds it to the conditions of a query.
func (t *tx) addVisible(c *clause, column string) {
	if only := t.onlyVisible(column); only != "" {
		c.add(only)
	}
}

// shows says whether a site of this code may be named to the caller: in the writer's
// transactions, which see everything, the caller is still the one of the call.
func (t *tx) shows(ctx context.Context, code string) bool {
	return (t.visible == nil || t.visible.codes[code]) && visible.From(ctx).Of(code)
}

// everybodys says whether a record belongs to no site, although it stands in the chain
// of one: what is known of a tool, and a hold on a tool or a lot, holds wherever it goes.
func everybodys(kind ledger.RecordKind, onThing bool) bool {
	switch kind {
	case ledger.KindCalibration, ledger.KindCustody, ledger.KindToolCheck:
		return true
	case ledger.KindHold:
		return onThing
	default: // the others go on below
	}
	return false
}

// visibleRecords is the condition that the record r, of a kind or, for 0, of any, is one
// that the transaction reads; empty for all. A correction is read by whoever reads what
// it corrects, which stands in the same chain.
func (t *tx) visibleRecords(kind ledger.RecordKind) string {
	only := t.onlyVisible("r.site_id")
	if only == "" || everybodys(kind, false) {
		return ""
	}
	ofTools := fmt.Sprintf("kind IN (%d, %d, %d)", ledger.KindCalibration, ledger.KindCustody, ledger.KindToolCheck)
	onThing := "(r.lot_id IS NOT NULL OR r.tool_id IS NOT NULL)"
	correcting := "EXISTS (SELECT 1 FROM corrections v JOIN records w ON w.id = v.corrected_id WHERE v.id = r.id AND w." + ofTools + ")"
	switch kind {
	case 0:
		return fmt.Sprintf("(%s OR r.%s OR r.kind = %d AND %s OR r.kind = %d AND %s)", only, ofTools, ledger.KindHold, onThing, ledger.KindCorrection, correcting)
	case ledger.KindHold:
		return "(" + only + " OR " + onThing + ")"
	case ledger.KindCorrection:
		return "(" + only + " OR " + correcting + ")"
	default: // the others go on below
	}
	return only
}

// addVisibleRecords adds it to the conditions of a query.
func (t *tx) addVisibleRecords(c *clause, kind ledger.RecordKind) {
	if only := t.visibleRecords(kind); only != "" {
		c.add(only)
	}
}

// narrowed is a clause over records r of a kind with that condition besides.
func (t *tx) narrowed(c *clause, kind ledger.RecordKind) *clause {
	if t.visible == nil {
		return c
	}
	n := &clause{conditions: slices.Clone(c.conditions), args: c.args}
	t.addVisibleRecords(n, kind)
	return n
}

// UnknownSite gives the error for a site that the caller does not see: the one for a
// site that there is not.
func (s *Store) UnknownSite(ctx context.Context, code string) error {
	return s.view(ctx, func(t *tx) error {
		_, err := t.needNamed(ctx, siteNoun, code)
		return err
	})
}

// needDestination asks whether a tool may be sent to a site: to one that the caller
// sees, or home. Any other is unknown to the caller.
func (t *tx) needDestination(ctx context.Context, site, tool string) error {
	if site == "" {
		return nil
	}
	home := false
	err := t.query(ctx, func(*sql.Rows) error {
		home = true
		return nil
	}, "SELECT x.id FROM tools x JOIN sites s ON s.id = x.home_site_id WHERE x.serial = ? AND s.code = ?", askable(tool), askable(site))
	switch {
	case err != nil || home:
		return err
	case !visible.From(ctx).Of(site):
		return t.notFound(ctx, siteNoun, 0, site, siteNoun.collection+"/"+site)
	}
	_, err = t.needNamed(ctx, siteNoun, site)
	return err
}

// allowed asks whether the caller of a record may add it at the site.
func (t *tx) allowed(r ledger.Record, site string) error {
	if c := t.callers[r]; c != nil {
		return c.May(r, site)
	}
	return nil
}

// allowedToCorrect asks besides whether its caller may correct what it is about.
func (t *tx) allowedToCorrect(row *staged) error {
	if c := t.callers[row.Record]; c != nil && row.RecordKind() == ledger.KindCorrection {
		return c.MayCorrect(row.about.kind, row.SiteCode())
	}
	return nil
}

// of notes whose records these are.
func (t *tx) of(c *Caller, records []ledger.Record) {
	if c == nil {
		return
	}
	if t.callers == nil {
		t.callers = map[ledger.Record]*Caller{}
	}
	for _, r := range records {
		t.callers[r] = c
		if correction, ok := r.(*ledger.Correction); ok && correction.With != nil {
			t.callers[correction.With] = c
		}
	}
}
