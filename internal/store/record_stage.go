package store

import (
	"context"
	"database/sql"
	"errors"

	"github.com/google/uuid"

	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// staged is a record on its way into the database: with the keys of what it
// names, what was found on it, and its key.
type staged struct {
	ledger.Record
	keys     placeKeys
	lot      int
	tool     int
	person   int
	holder   int // of a change of custody
	override int // who let it pass
	revision int // of the specification
	// about is the record that it refers to: what a correction corrects, what a
	// release releases, the incident of a disposition, what set an alarm off.
	about     recordKey
	alarmRule int // of an alarm
	// with is the replacement that comes with a correction.
	with *staged
	// instead is the record that this one replaces; zero for none.
	instead replaced
	// cause is the record whose finding placed an automatic hold.
	cause    *staged
	joint    jointFacts
	findings []rules.Finding
	id       int64
}

// jointFacts are what rules want to know of a joint.
type jointFacts struct {
	specification int
	kind          ledger.JointKind
	critical      bool
	fasteners     int
}

// replaced is what a record stands instead of, as far as figures count it: the
// rules must not see it beside its replacement.
type replaced struct {
	id, at          int64
	uid             uuid.UUID
	lot, site, tool int
	used, fasteners int64
}

// setRevision notes the specification that holds for the row's joint.
func (r *staged) setRevision(id int, ref ledger.SpecificationRef) {
	switch rec := r.Record.(type) {
	case *ledger.Tightening:
		rec.Specification = ref
	case *ledger.Incident:
		rec.Specification = ref
	case *ledger.Sealing:
		rec.Specification = ref
	case *ledger.Inspection: // is judged by it and does not keep it
	default:
		return
	}
	r.revision = id
}

// named are the names that a record gives.
type recordNames struct {
	place            ledger.Place
	lot, tool        string
	holder, override string
}

func namesOf(r ledger.Record) recordNames {
	switch r := r.(type) {
	case *ledger.Tightening:
		return recordNames{place: r.Joint, lot: r.Lot, tool: r.Tool}
	case *ledger.Incident:
		if r.Joint == (ledger.Place{}) {
			return recordNames{place: ledger.Place{Site: r.Site}, lot: r.Lot, tool: r.Tool}
		}
		return recordNames{place: r.Joint, lot: r.Lot, tool: r.Tool}
	case *ledger.Calibration:
		return recordNames{tool: r.Tool}
	case *ledger.LotMovement:
		return recordNames{place: ledger.Place{Site: r.Site}, lot: r.Lot}
	case *ledger.Sealing:
		return recordNames{place: r.Joint}
	case *ledger.Inspection:
		return recordNames{place: r.Joint, tool: r.Tool}
	case *ledger.Custody:
		return recordNames{place: ledger.Place{Site: r.Site}, tool: r.Tool, holder: r.Holder, override: r.OverrideBy}
	case *ledger.ToolCheck:
		return recordNames{place: ledger.Place{Site: r.Site}, tool: r.Tool}
	case *ledger.Hold:
		if r.Place == (ledger.Place{}) {
			return recordNames{place: ledger.Place{Site: r.Site}, lot: r.Lot, tool: r.Tool}
		}
		return recordNames{place: r.Place}
	case *ledger.SignOff:
		return recordNames{place: r.Place}
	}
	return recordNames{}
}

// stage looks up what a record names and refers to. An error of a kind that
// refuses one member says what is unknown.
func (t *tx) stage(ctx context.Context, r ledger.Record) (*staged, error) {
	row := &staged{Record: r}
	n := namesOf(r)
	// Before anything is looked up, so that a refusal says nothing of what there is.
	if err := t.allowed(r, r.SiteCode()); err != nil && n.place.Site != "" {
		return nil, err
	}
	var err error
	if row.keys, err = t.place(ctx, n.place); err != nil {
		return nil, err
	}
	for _, one := range []struct {
		noun noun
		name string
		key  *int
	}{{lotNoun, n.lot, &row.lot}, {toolNoun, n.tool, &row.tool}, {personNoun, r.Head().Person, &row.person}, {personNoun, n.holder, &row.holder}, {personNoun, n.override, &row.override}} {
		if one.name == "" {
			continue
		}
		if *one.key, err = t.needNamed(ctx, one.noun, one.name); err != nil {
			return nil, err
		}
	}
	if c, ok := r.(*ledger.Calibration); ok {
		if err := t.calibrationSite(ctx, row, c); err != nil {
			return nil, err
		}
	}
	if target := refersTo(r); target != uuid.Nil {
		if err := t.stageTarget(ctx, row, target); err != nil {
			return nil, err
		}
	}
	if err := t.allowed(r, r.SiteCode()); err != nil {
		return nil, err
	}
	if err := t.allowedToCorrect(row); err != nil {
		return nil, err
	}
	if c, ok := r.(*ledger.Correction); ok && c.With != nil {
		if row.with, err = t.stage(ctx, c.With); err == nil {
			row.with.instead, err = t.replacedBy(ctx, row)
		}
	}
	return row, err
}

// replacedBy reads what the rules must leave out when they judge the replacement
// that comes with a correction.
func (t *tx) replacedBy(ctx context.Context, correction *staged) (replaced, error) {
	old, err := t.recordByKey(ctx, correction.about.kind, correction.about.id)
	if err != nil {
		return replaced{}, err
	}
	v := replaced{
		id: correction.about.id, uid: old.Head().ID, at: micro(old.Head().OccurTime), used: known.UsedUp(old),
		lot: correction.lot, site: correction.keys.site, tool: correction.tool,
	}
	if tightening, ok := old.(*ledger.Tightening); ok {
		v.fasteners = int64(tightening.Fasteners)
	}
	return v, nil
}

// calibrationSite places a calibration in the chain of the tool's home site.
func (t *tx) calibrationSite(ctx context.Context, row *staged, c *ledger.Calibration) error {
	return t.sql.QueryRowContext(ctx, t.engine.bind("SELECT s.id, s.code FROM tools x JOIN sites s ON s.id = x.home_site_id WHERE x.id = ?"),
		row.tool).Scan(&row.keys.site, &c.Site)
}

// stageTarget looks up the record that a correction, release or disposition is
// about, and places it at the same site and joint.
func (t *tx) stageTarget(ctx context.Context, row *staged, target uuid.UUID) error {
	var joint, tool, lot sql.NullInt64
	var site string
	err := t.sql.QueryRowContext(ctx, t.engine.bind(`SELECT r.id, r.kind, r.site_id, s.code, r.joint_id, r.tool_id, r.lot_id
FROM records r JOIN sites s ON s.id = r.site_id WHERE r.uid = ?`), target[:]).
		Scan(&row.about.id, &row.about.kind, &row.keys.site, &site, &joint, &tool, &lot)
	unknown := errors.Is(err, sql.ErrNoRows)
	if err != nil && !unknown {
		return err
	}
	if c := t.callers[row.Record]; c != nil && !c.Sees.Of(site) && !everybodys(row.about.kind, tool.Valid || lot.Valid) {
		unknown = true // to this caller
	}
	switch r := row.Record.(type) {
	case *ledger.Disposition:
		if unknown || row.about.kind != ledger.KindIncident {
			return ledger.NotFound("incident", ledger.RecordName(ledger.KindIncident, target), "")
		}
		r.Site = site
	case *ledger.Hold:
		if unknown || row.about.kind != ledger.KindHold {
			return ledger.NotFound("hold", ledger.RecordName(ledger.KindHold, target), "")
		}
		// A release stands in the chain of the hold's site, whatever it says.
		r.Site = site
		return nil // its other names say what it is about; admitRelease compares them
	case *ledger.Correction:
		if unknown {
			return ledger.NotFound("record", "records/"+target.String(), "")
		}
		r.Site = site
	}
	row.keys.joint, row.tool, row.lot = int(joint.Int64), int(tool.Int64), int(lot.Int64)
	return nil
}
