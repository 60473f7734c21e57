package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// ToolImpact is what a tool that failed its calibration did to joints, with what
// was done about them.
type ToolImpact struct {
	analysis.ImpactAnswer
	Tool ledger.Tool
	analysis.ToolFailure
	// Holds are those placed on joints for this impact, open or not.
	Holds map[ledger.Place]*ledger.Hold
}

// ToolImpact answers what a tool did to the joints tightened with it before it was
// found failed. KindNotFound for an unknown tool or calibration; KindPrecondition
// with ReasonAlreadyCorrected for a calibration that was withdrawn or replaced;
// else as analysis.SelectFailure.
func (s *Store) ToolImpact(ctx context.Context, q analysis.ImpactQuery) (found ToolImpact, err error) {
	err = s.view(ctx, func(t *tx) error {
		found, err = t.toolImpact(ctx, q)
		return err
	})
	return found, err
}

func (t *tx) toolImpact(ctx context.Context, q analysis.ImpactQuery) (ToolImpact, error) {
	tool, err := tools.load(ctx, t, q.Tool)
	if err != nil {
		return ToolImpact{}, err
	}
	key, err := t.needNamed(ctx, toolNoun, tool.Serial)
	if err != nil {
		return ToolImpact{}, err
	}
	known, err := t.calibrationsUpTo(ctx, []any{key}, q.AsOf)
	if err != nil {
		return ToolImpact{}, err
	}
	calibrations := known[tool.Serial]
	for _, named := range []struct {
		field string
		id    uuid.UUID
	}{{"calibration", q.Calibration}, {"last_good_calibration", q.LastGood}} {
		if err := t.checkCalibration(ctx, calibrations, named.field, named.id, q); err != nil {
			return ToolImpact{}, err
		}
	}
	failure, err := analysis.SelectFailure(tool, calibrations, q)
	if err != nil {
		return ToolImpact{}, err
	}
	found, err := t.impactOf(ctx, tool, key, failure, q)
	if err != nil {
		return ToolImpact{}, err
	}
	found.Holds, err = t.impactHolds(ctx, failure.Failed.ID, found.places())
	return found, err
}

// calibrationsUpTo reads the calibrations of tools that happened up to a time and
// were not corrected, by serial, in order of time; without declarations of conformance
// that prove nothing (ledger.Proving).
func (t *tx) calibrationsUpTo(ctx context.Context, keys []any, asOf time.Time) (map[string][]ledger.Calibration, error) {
	read := map[string][]*ledger.Calibration{}
	for len(keys) > 0 {
		n := min(keysAtOnce, len(keys))
		var c clause
		c.add("r.tool_id IN "+marks(1, n), keys[:n]...)
		c.add("r.kind = ?", uint8(ledger.KindCalibration))
		c.add("r.occur_time <= ?", micro(asOf))
		c.add(notCorrected)
		found, err := t.recordsWhere(ctx, ledger.KindCalibration, &c, " ORDER BY r.occur_time, r.id")
		if err != nil {
			return nil, err
		}
		for _, k := range found {
			v := k.Record.(*ledger.Calibration)
			read[v.Tool] = append(read[v.Tool], v)
		}
		keys = keys[n:]
	}
	calibrations := make(map[string][]ledger.Calibration, len(read))
	for serial, all := range read {
		for _, c := range ledger.Proving(all) {
			calibrations[serial] = append(calibrations[serial], *c)
		}
	}
	return calibrations, nil
}

// checkCalibration says why a calibration that is named is not among those that
// count.
func (t *tx) checkCalibration(ctx context.Context, counted []ledger.Calibration, field string, id uuid.UUID, q analysis.ImpactQuery) error {
	if id == uuid.Nil {
		return nil
	}
	for _, c := range counted {
		if c.ID == id {
			return nil
		}
	}
	var c clause
	c.add("r.uid = ?", id[:])
	found, err := t.recordsWhere(ctx, ledger.KindCalibration, &c, "")
	if err != nil {
		return err
	}
	resource := ledger.RecordName(ledger.KindCalibration, id)
	if len(found) == 0 {
		return ledger.NotFound("calibration", resource, "")
	}
	switch v := found[0].Record.(*ledger.Calibration); {
	case v.Tool != q.Tool:
		return ledger.InvalidField("request", field, "calibration %s is of tool %s, not of %s", id, v.Tool, q.Tool)
	case v.CorrectedBy != uuid.Nil:
		return &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonAlreadyCorrected, Resource: resource,
			Message: fmt.Sprintf("calibration %s was withdrawn or replaced by correction %s; ask about the one that holds now", id, v.CorrectedBy)}
	case !v.OccurTime.After(q.AsOf):
		return ledger.InvalidField("request", field, "calibration %s is a declaration of conformance of a tool that was calibrated before, which says nothing of this one; expected a calibration of it", id)
	default:
		return ledger.InvalidField("request", field, "calibration %s is of %s, after the moment looked from, %s",
			id, v.OccurTime.Format(time.RFC3339), q.AsOf.UTC().Format(time.RFC3339))
	}
}

// impactOf reads what was done with the tool and answers for it.
func (t *tx) impactOf(ctx context.Context, tool ledger.Tool, key int, failure analysis.ToolFailure, q analysis.ImpactQuery) (ToolImpact, error) {
	r := &impactReading{t: t, q: q, joints: map[int]*impactJoint{}}
	r.in = analysis.ImpactInput{Tool: tool, LastGood: failure.LastGood, Failed: failure.Failed, Rule: q.Rule}
	var err error
	if r.in.Location, err = t.homeZone(ctx, tool.HomeSite); err != nil {
		return ToolImpact{}, err
	}
	for _, read := range []func(context.Context) error{
		func(ctx context.Context) error { return r.readTightenings(ctx, key) },
		r.readJoints, r.readSpecified, r.readGoneOver,
	} {
		if err := read(ctx); err != nil {
			return ToolImpact{}, err
		}
	}
	answer, err := analysis.Impact(r.input())
	return ToolImpact{ImpactAnswer: answer, Tool: tool, ToolFailure: failure}, err
}

func (t *tx) homeZone(ctx context.Context, site string) (*time.Location, error) {
	var zone string
	err := t.sql.QueryRowContext(ctx, t.engine.bind("SELECT time_zone FROM sites WHERE code = ?"), site).Scan(&zone)
	if err != nil {
		return nil, err
	}
	return t.names.zone(zone)
}

// places are all joints of the answer.
func (i *ToolImpact) places() []ledger.Place {
	places := make([]ledger.Place, 0, len(i.Joints)+len(i.GoneOver)+len(i.Apart))
	for _, list := range [][]analysis.JointImpact{i.Joints, i.GoneOver} {
		for _, j := range list {
			places = append(places, j.Joint)
		}
	}
	for _, j := range i.Apart {
		places = append(places, j.Joint)
	}
	return places
}

// impactHolds reads the holds that were placed on joints for a calibration.
func (t *tx) impactHolds(ctx context.Context, calibration uuid.UUID, places []ledger.Place) (map[ledger.Place]*ledger.Hold, error) {
	keys := make([]any, len(places))
	for i, p := range places {
		id := analysis.ImpactHoldID(calibration, p)
		keys[i] = id[:]
	}
	found, err := t.recordsIn(ctx, ledger.KindHold, "r.uid", keys)
	holds := make(map[ledger.Place]*ledger.Hold, len(found))
	for _, k := range found {
		hold := k.Record.(*ledger.Hold)
		holds[hold.Place] = hold
	}
	return holds, err
}

// FailedCalibration is the newest calibration of a tool that failed as found, with
// what it means.
type FailedCalibration struct {
	analysis.ToolFailure
	Tool   ledger.Tool
	Impact analysis.ImpactAnswer
}

// FailedFilter narrows a list of failed calibrations.
type FailedFilter struct {
	// Sites are codes of home sites; all when empty.
	Sites []string
	// Query has the decision rule and the moment looked from.
	Query analysis.ImpactQuery
}

// toolsAtOnce are the tools whose calibrations are looked through in one go.
const toolsAtOnce = 500

// FailedCalibrations lists tools of which a calibration failed as found, by serial,
// each with the newest one. A tool without a limit can't fail. KindNotFound when a
// site does not exist.
func (s *Store) FailedCalibrations(ctx context.Context, f FailedFilter, p Page) (items []FailedCalibration, next string, err error) {
	err = s.view(ctx, func(t *tx) error {
		for _, code := range f.Sites {
			if _, err := t.needNamed(ctx, siteNoun, code); err != nil {
				return err
			}
		}
		for after, more := p.After, true; more && len(items) <= p.Size; {
			part, err := t.limitedTools(ctx, f.Sites, after)
			if err != nil {
				return err
			}
			if more = len(part) == toolsAtOnce; more {
				after = part[len(part)-1].Serial
			}
			found, err := t.failedOf(ctx, part, f.Query, p.Size+1-len(items))
			if err != nil {
				return err
			}
			items = append(items, found...)
		}
		items, next = cut(items, p, func(i FailedCalibration) string { return i.Tool.Serial })
		return nil
	})
	return items, next, err
}

// limitedTool is a tool that has a limit to fail.
type limitedTool struct {
	ledger.Tool
	key int
}

// limitedTools reads tools with a type and class and a maximum torque, from the
// one after a serial.
func (t *tx) limitedTools(ctx context.Context, sites []string, after string) (found []limitedTool, err error) {
	var c clause
	c.add("x.type_class <> ''")
	c.add("x.max_nm > 0")
	c.add("x.serial > ?", askable(after))
	if len(sites) > 0 {
		codes := make([]any, len(sites))
		for i, code := range sites {
			codes[i] = code
		}
		c.add("s.code IN "+marks(1, len(codes)), codes...)
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var v limitedTool
		err := rows.Scan(&v.key, &v.Serial, &v.Kind, &v.TypeClass, &v.MinimumNewtonMetres, &v.MaximumNewtonMetres, &v.HomeSite)
		found = append(found, v)
		return err
	}, "SELECT x.id, x.serial, x.kind, x.type_class, x.min_nm, x.max_nm, s.code FROM tools x JOIN sites s ON s.id = x.home_site_id"+
		c.where()+" ORDER BY x.serial LIMIT ?", append(c.args, toolsAtOnce)...)
	return found, err
}

// failedOf gives at most so many of the tools of which a calibration failed.
func (t *tx) failedOf(ctx context.Context, tools []limitedTool, q analysis.ImpactQuery, most int) ([]FailedCalibration, error) {
	keys := make([]any, len(tools))
	for i, v := range tools {
		keys[i] = v.key
	}
	calibrations, err := t.calibrationsUpTo(ctx, keys, q.AsOf)
	if err != nil {
		return nil, err
	}
	var found []FailedCalibration
	for _, v := range tools {
		failure, failed, err := analysis.LatestFailure(v.Tool, calibrations[v.Serial], q.Rule)
		if err != nil {
			return nil, err
		}
		if !failed {
			continue
		}
		impact, err := t.impactOf(ctx, v.Tool, v.key, failure, q)
		if err != nil {
			return nil, err
		}
		if found = append(found, FailedCalibration{failure, v.Tool, impact.ImpactAnswer}); len(found) == most {
			break
		}
	}
	return found, nil
}
