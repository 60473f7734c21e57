package main

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/fleetgen"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// Besides what fleetgen draws: a tower at each site that is still to be built, and
// holds, of which nine in ten are released.
const (
	openCells      = 6
	openJoints     = 40 // in each of these cells
	jointsPerHold  = 100
	holdsPerOpen   = 10
	sparePieces    = 400 // on hand of each lot at each site
	reportDays     = 215 // about how long one crew a site takes for the attempts
	reportSequence = 1000
)

// fleetLoad puts a drawn fleet into the database with the plain driver: the joints,
// the records of work and the running sums that are kept of them. Links of the chains
// are left blank, for no question reads them.
type fleetLoad struct {
	bulk
	now int64
	// Keys by name; those of specifications by the names that specName gives.
	site, tower, cell, joint, lot, tool, person, spec map[string]int
	towers, cells, joints                             int // keys given
	sequence                                          map[int]int64
	// What the records sum up to: by the key of a tally, by lot and site, and by tool
	// and hour with the last time.
	tally map[[7]int]int
	used  map[[2]int]int
	hours map[[2]int][2]int64
}

// reportFleet registers what the fleet needs through the store and puts the rest in;
// it gives the first day.
func reportFleet(ctx context.Context, engine string, c store.Config, db *sql.DB) (since string, err error) {
	start := time.Now().UTC().AddDate(0, 0, -reportDays)
	f, err := fleetgen.New(fleetgen.Config{Seed: 1, Sites: reportSites, Crews: 1, Start: start, Attempts: reportAttempts})
	if err != nil {
		return "", err
	}
	s, err := store.Open(ctx, c)
	if err != nil {
		return "", err
	}
	err = registerFleet(ctx, s, f)
	if closed := s.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return "", err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return "", err
	}
	defer tx.Rollback() //nolint:errcheck // after a commit it does nothing
	l := &fleetLoad{bulk: bulk{ctx: ctx, tx: tx, engine: engine}, now: time.Now().UnixMicro(), tower: map[string]int{}, cell: map[string]int{}, joint: map[string]int{},
		sequence: map[int]int64{}, tally: map[[7]int]int{}, used: map[[2]int]int{}, hours: map[[2]int][2]int64{}}
	if err := l.readKeys(); err != nil {
		return "", err
	}
	l.build(f)
	l.work(f)
	l.sums()
	if err := l.flushAll(); err != nil {
		return "", err
	}
	if err := tx.Commit(); err != nil {
		return "", err
	}
	_, err = db.ExecContext(ctx, "ANALYZE")
	return start.Format(time.DateOnly), err
}

// readKeys reads the keys of what was registered.
func (l *fleetLoad) readKeys() error {
	for _, k := range []struct {
		into  *map[string]int
		query string
	}{
		{&l.site, "SELECT code, id FROM sites"}, {&l.lot, "SELECT number, id FROM lots"}, {&l.tool, "SELECT serial, id FROM tools"},
		{&l.person, "SELECT code, id FROM people"}, {&l.spec, "SELECT s.code, r.id FROM specifications s JOIN specification_revisions r ON r.specification_id = s.id"},
	} {
		keys := map[string]int{}
		rows, err := l.tx.QueryContext(l.ctx, k.query)
		if err != nil {
			return err
		}
		for rows.Next() {
			var name string
			var id int
			if err := rows.Scan(&name, &id); err != nil {
				return err
			}
			keys[name] = id
		}
		if err := rows.Err(); err != nil {
			return err
		}
		*k.into = keys
	}
	return nil
}

// specName is the code of the specification of a kind of joint.
func specName(material, kind, thread string) string {
	return fmt.Sprintf("%s-%s-%s", material, kind, thread)
}

// build puts in every joint of the drawn work, and at each site a tower ahead. One
// revision stands for each specification, so keys of both are the same.
func (l *fleetLoad) build(f *fleetgen.Fleet) {
	finish := time.UnixMicro(l.now).UTC().AddDate(0, 2, 0).Format(time.DateOnly)
	for j := range f.Joints() {
		l.place(j, finish)
	}
	for _, s := range f.Sites() {
		for c := range openCells {
			for n := range openJoints {
				l.place(fleetgen.Joint{Site: s.Code, Tower: "AHEAD", Cell: fmt.Sprintf("C%d", c+1), Joint: fmt.Sprintf("J%03d", n+1),
					Kind: "structural", Material: fleetgen.MaterialStainless, Thread: "M10", Fasteners: 16}, finish)
			}
		}
	}
}

// place puts in a joint, with its cell and tower where they are new.
func (l *fleetLoad) place(j fleetgen.Joint, finish string) {
	tower := j.Site + "/" + j.Tower
	if l.tower[tower] == 0 {
		l.towers++
		l.tower[tower] = l.towers
		l.add("towers (id, version, create_time, update_time, tag, material, drawing, planned_start, planned_finish, site_id)",
			l.towers, 1, l.now, l.now, j.Tower, uint8(ledger.Stainless304), "", "", finish, l.site[j.Site])
	}
	cell := tower + "/" + j.Cell
	if l.cell[cell] == 0 {
		l.cells++
		l.cell[cell] = l.cells
		l.add("cells (id, version, create_time, update_time, tag, description, tower_id)", l.cells, 1, l.now, l.now, j.Cell, "", l.tower[tower])
	}
	l.joints++
	l.joint[cell+"/"+j.Joint] = l.joints
	l.add("joints (id, version, create_time, update_time, tag, kind, critical, part_a, part_b, fasteners, cell_id, specification_id)",
		l.joints, 1, l.now, l.now, j.Joint, uint8(ledger.JointStructural), false, "", "", j.Fasteners, l.cell[cell], l.spec[specName(j.Material, j.Kind, j.Thread)])
}

// next is the next key in the chain of a site.
func (l *fleetLoad) next(site int) int64 {
	l.sequence[site]++
	return int64(site)<<40 | (reportSequence + l.sequence[site])
}

// entry puts in a record.
func (l *fleetLoad) entry(kind ledger.RecordKind, site int, at time.Time, joint, lot, tool, person any) int64 {
	id := l.next(site)
	uid := uuid.Must(uuid.NewV7())
	l.add("records (id, uid, kind, site_id, joint_id, lot_id, tool_id, person_id, occur_time, offset_minutes, local_day, receive_time, device, note, offline, link)",
		id, uid[:], uint8(kind), site, joint, lot, tool, person, at.UnixMicro(), 0, at.Unix()/86400, at.UnixMicro(), "bench", "", 0, make([]byte, 32))
	return id
}

// work puts in the records of the drawn work and sums them up as the writer does.
func (l *fleetLoad) work(f *fleetgen.Fleet) {
	specs := map[int]int{}
	for j := range f.Joints() {
		specs[l.joint[j.Site+"/"+j.Tower+"/"+j.Cell+"/"+j.Joint]] = l.spec[specName(j.Material, j.Kind, j.Thread)]
	}
	for r := range f.Rows() {
		site, joint, lot, tool := l.site[r.Site], l.joint[r.Site+"/"+r.Tower+"/"+r.Cell+"/"+r.Joint], l.lot[r.Lot], l.tool[r.Tool]
		treatment, method := wordOf(ledger.Treatments, r.Treatment), wordOf(ledger.DrivingMethods, r.Method)
		day, outcome := int(r.At.Unix()/86400), 0
		if r.Kind == fleetgen.KindTightening {
			id := l.entry(ledger.KindTightening, site, r.At, joint, lot, tool, l.person[strings.ToLower(r.Person)])
			l.add("tightenings (id, treatment, compound_batch, torque_nm, torque_as_typed, fasteners, pass, method, specification_revision_id)",
				id, treatment, "", 32.0, "32 N.m", r.Fasteners, wordOf(ledger.Passes, r.Pass), method, specs[joint])
			hour := [2]int{tool, int(r.At.Unix() / 3600)}
			l.hours[hour] = [2]int64{l.hours[hour][0] + int64(r.Fasteners), max(l.hours[hour][1], r.At.UnixMicro())}
		} else {
			id := l.entry(ledger.KindIncident, site, r.At, joint, lot, tool, l.person[strings.ToLower(r.Person)])
			outcome = wordOf(ledger.IncidentKinds, r.Kind)
			l.add("incidents (id, kind, fasteners, treatment, method, noticed, action, specification_revision_id)", id, outcome, r.Fasteners, treatment, method, "", "", specs[joint])
		}
		if n := r.Attempts(); n > 0 {
			l.tally[[7]int{site, day, lot, specs[joint], treatment, method, outcome}] += n
			l.used[[2]int{lot, site}] += n
		}
		if joint%jointsPerHold == 0 && outcome == 0 && r.Pass == fleetgen.PassFirst {
			l.hold(site, joint, r.At)
		}
	}
}

// hold puts in a hold, and nine times in ten its release.
func (l *fleetLoad) hold(site, joint int, at time.Time) {
	const table = "holds (id, action, reason, rule, decision, joint_id, released_hold_id)"
	id := l.entry(ledger.KindHold, site, at, joint, nil, nil, nil)
	l.add(table, id, uint8(ledger.HoldPlaced), "bench", "", 0, joint, nil)
	if joint/jointsPerHold%holdsPerOpen != 0 {
		release := l.entry(ledger.KindHold, site, at.Add(time.Hour), joint, nil, nil, nil)
		l.add(table, release, uint8(ledger.HoldReleased), "bench", "", 0, joint, id)
	}
}

// sums puts in the running sums and sets the heads of the chains.
func (l *fleetLoad) sums() {
	for k, n := range l.tally {
		l.add("tallies (site_id, day, lot_id, specification_revision_id, treatment, method, outcome, fasteners)", k[0], k[1], k[2], k[3], k[4], k[5], k[6], n)
	}
	for k, n := range l.used {
		l.add("lot_sums (lot_id, site_id, received, removed, used, on_hand, count_time)", k[0], k[1], n+sparePieces, 0, n, sparePieces, 0)
	}
	for k, v := range l.hours {
		l.add("tool_uses (tool_id, hour, fasteners, last_time)", k[0], k[1], v[0], v[1])
	}
	for site, n := range l.sequence {
		if l.err == nil {
			_, l.err = l.tx.ExecContext(l.ctx, fmt.Sprintf("UPDATE chains SET sequence = %d WHERE id = %d", reportSequence+n, site))
		}
	}
}

// wordOf is the number of a word of the trade; the generator knows no other words.
func wordOf[T ~uint8](words ledger.Words[T], word string) int {
	v, err := words.Parse(word)
	if err != nil {
		panic(err)
	}
	return int(v)
}

// registerFleet registers sites, specifications, lots, tools with a calibration each,
// and people.
func registerFleet(ctx context.Context, s *store.Store, f *fleetgen.Fleet) error {
	var sites []ledger.Site
	for _, v := range f.Sites() {
		sites = append(sites, ledger.Site{Code: v.Code, Name: v.Code, Region: v.Region, TimeZone: v.TimeZone, Status: ledger.SiteActive, Units: ledger.UnitsSI})
	}
	var tools []ledger.Tool
	var people []ledger.Person
	var calibrations []ledger.Record
	for _, v := range f.Tools() {
		tools = append(tools, ledger.Tool{Serial: v.Serial, Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: v.MinNewtonMetres,
			MaximumNewtonMetres: v.MaxNewtonMetres, HomeSite: v.Site, IntervalMonths: 12, IntervalCycles: 100_000})
		people = append(people, ledger.Person{ID: strings.ToLower(v.Person), HomeSite: v.Site, Qualifications: []ledger.Qualification{{Task: "bolting"}}})
		calibrations = append(calibrations, calibratedOver(v.Serial, v.MinNewtonMetres, v.MaxNewtonMetres))
	}
	fastener := func(material, thread string) ledger.Fastener {
		m := ledger.Material(wordOf(ledger.Materials, material))
		f := ledger.Fastener{Thread: thread, LengthMillimetres: 30, Material: m, PropertyClass: "A2-70"}
		if !m.Stainless() {
			f.PropertyClass = "8.8"
		}
		return f
	}
	specs := map[string]ledger.Specification{}
	for j := range f.Joints() {
		code := specName(j.Material, j.Kind, j.Thread)
		if _, known := specs[code]; !known {
			specs[code] = ledger.Specification{Code: code, Fastener: fastener(j.Material, j.Thread), Treatment: ledger.TreatmentNone, Locking: ledger.LockingNone,
				TorqueNewtonMetres: 32, TorqueTolerancePercent: 10, TorqueBasis: ledger.BasisDry}
		}
	}
	var specifications []ledger.Specification
	for _, v := range specs {
		specifications = append(specifications, v)
	}
	var lots []ledger.Lot
	for v := range f.Lots() {
		lots = append(lots, ledger.Lot{Number: v.Lot, Supplier: "Bench", Fastener: fastener(v.Material, v.Thread), State: ledger.LotReleased})
	}
	for _, step := range []func() ([]store.Outcome, error){
		func() ([]store.Outcome, error) { return s.RegisterSites(ctx, sites, store.Change{}) },
		func() ([]store.Outcome, error) { return s.RegisterSpecifications(ctx, specifications, store.Change{}) },
		func() ([]store.Outcome, error) { return s.RegisterLots(ctx, lots, store.Change{}) },
		func() ([]store.Outcome, error) { return s.RegisterTools(ctx, tools, store.Change{}) },
		func() ([]store.Outcome, error) { return s.RegisterPeople(ctx, people, store.Change{}) },
		func() ([]store.Outcome, error) { return s.Record(ctx, calibrations, store.Change{}) },
	} {
		outcomes, err := step()
		if err != nil {
			return err
		}
		for _, o := range outcomes {
			if o.Err != nil {
				return o.Err
			}
		}
	}
	return nil
}

// calibratedOver proves a wrench a month ago, at the ends and the middle of its range.
func calibratedOver(serial string, least, greatest float64) *ledger.Calibration {
	c := calibration(serial)
	for i, target := range []float64{least, (least + greatest) / 2, greatest} {
		c.Points[i].TargetNewtonMetres, c.Points[i].ExpandedUncertaintyNewtonMetres = target, target/100
		c.Points[i].ReadingsNewtonMetres = []float64{target, target, target, target, target}
	}
	return c
}
