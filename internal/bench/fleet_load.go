package main

import (
	"context"
	"database/sql"
	"fmt"
	"log"
	"strings"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/fleetgen"
	"jointledger/internal/ledger"
)

// Besides what fleetgen draws: holds, of which nine in ten are released.
const (
	jointsPerHold = 100
	holdsPerOpen  = 10
	sparePieces   = 400 // on hand of each lot at each site
	firstSequence = 1000
	// rowsPerCommit bounds what one transaction leaves in the log of the database.
	rowsPerCommit = 200_000
)

// fleetLoad puts a drawn fleet into the database with the plain driver: the joints,
// the records of work and the running sums that are kept of them. Links of the chains
// are left blank, for no question reads them. It keeps nothing of what lies more than a
// day back, so that a fleet of any size goes through it.
type fleetLoad struct {
	*bulk
	now int64
	// Keys by name; those of specifications by the names that specName gives.
	site, lot, tool, person, spec map[string]int
	towers                        map[string]*loadedTower
	towerKeys, cellKeys, joints   int // keys given
	sequence                      map[int]int64
	records, uncommitted          int
	// holds says that holds are put in besides.
	holds bool
	// Joints of the day, for what is gone over at its end, and what its records sum up
	// to: by the key of a tally, and by tool and hour with the last time.
	day   int
	today map[[4]string]loadedJoint
	tally map[[7]int]int
	hours map[[2]int][2]int64
	// used is by lot and site.
	used map[[2]int]int
}

// loadedTower is a tower with the cell that is being built in it.
type loadedTower struct {
	key, cell int
	tag       string
}

type loadedJoint struct{ key, spec int }

// newFleetLoad begins to load into a database in which the fleet is registered.
func newFleetLoad(ctx context.Context, engine string, db *sql.DB) (*fleetLoad, error) {
	b, err := newBulk(ctx, engine, db)
	if err != nil {
		return nil, err
	}
	l := &fleetLoad{bulk: b, now: time.Now().UnixMicro(), holds: true, towers: map[string]*loadedTower{}, sequence: map[int]int64{},
		today: map[[4]string]loadedJoint{}, tally: map[[7]int]int{}, used: map[[2]int]int{}, hours: map[[2]int][2]int64{}}
	if err := l.readKeys(); err != nil {
		b.close()
		return nil, err
	}
	return l, nil
}

// loadFleet puts in the whole fleet, or so many records of it unless 0.
func loadFleet(ctx context.Context, engine string, db *sql.DB, f *fleetgen.Fleet, records int) error {
	l, err := newFleetLoad(ctx, engine, db)
	if err != nil {
		return err
	}
	defer l.close()
	f.Draw(func(j fleetgen.Joint) bool {
		l.place(j, true)
		return l.err == nil
	}, func(r fleetgen.Row) bool {
		l.row(r)
		if l.records%1_000_000 == 0 && l.records > 0 {
			log.Printf("%s: %d million records were put in", engine, l.records/1_000_000)
		}
		return l.err == nil && (records == 0 || l.records < records)
	})
	if err := l.end(); err != nil {
		return err
	}
	return gatherStatistics(ctx, engine, db)
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
		rows, err := l.conn.QueryContext(l.ctx, k.query)
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
	for _, k := range []struct {
		into  *int
		table string
	}{{&l.towerKeys, "towers"}, {&l.cellKeys, "cells"}, {&l.joints, "joints"}} {
		if err := l.conn.QueryRowContext(l.ctx, "SELECT COALESCE(MAX(id), 0) FROM "+k.table).Scan(k.into); err != nil {
			return err
		}
	}
	return nil
}

// place gives a joint its key, and its cell and tower where they are new. One that is
// not put in was put in before, by a load that gave the same keys.
func (l *fleetLoad) place(j fleetgen.Joint, put bool) {
	// One revision stands for each specification, so keys of both are the same.
	spec := l.spec[specName(j.Material, j.Kind, j.Thread)]
	l.joints++
	l.today[[4]string{j.Site, j.Tower, j.Cell, j.Joint}] = loadedJoint{l.joints, spec}
	if !put {
		return
	}
	name := j.Site + "/" + j.Tower
	t := l.towers[name]
	if t == nil {
		l.towerKeys++
		t = &loadedTower{key: l.towerKeys}
		l.towers[name] = t
		finish := time.UnixMicro(l.now).UTC().AddDate(0, 2, 0).Format(time.DateOnly)
		l.add("towers (id, version, create_time, update_time, tag, material, drawing, planned_start, planned_finish, site_id)",
			t.key, 1, l.now, l.now, j.Tower, uint8(ledger.Stainless304), "", "", finish, l.site[j.Site])
	}
	if t.tag != j.Cell {
		l.cellKeys++
		t.tag, t.cell = j.Cell, l.cellKeys
		l.add("cells (id, version, create_time, update_time, tag, description, tower_id)", t.cell, 1, l.now, l.now, j.Cell, "", t.key)
	}
	l.add("joints (id, version, create_time, update_time, tag, kind, critical, part_a, part_b, fasteners, cell_id, specification_id)",
		l.joints, 1, l.now, l.now, j.Joint, uint8(ledger.JointStructural), false, "", "", j.Fasteners, t.cell, spec)
}

// entry puts in a record.
func (l *fleetLoad) entry(kind ledger.RecordKind, site int, at time.Time, joint, lot, tool, person any) int64 {
	l.sequence[site]++
	l.records++
	l.uncommitted++
	id := int64(site)<<40 | (firstSequence + l.sequence[site])
	uid := uuid.Must(uuid.NewV7())
	l.add("records (id, uid, kind, site_id, joint_id, lot_id, tool_id, person_id, occur_time, offset_minutes, local_day, receive_time, device, note, offline, link)",
		id, uid[:], uint8(kind), site, joint, lot, tool, person, at.UnixMicro(), 0, at.Unix()/86400, at.UnixMicro(), "bench", "", 0, make([]byte, 32))
	return id
}

// row puts in what a row of the drawn work records, and sums it up as the writer does.
func (l *fleetLoad) row(r fleetgen.Row) {
	day := int(r.At.Unix() / 86400)
	if day != l.day {
		l.endDay()
		l.day = day
	}
	site, lot, tool, person := l.site[r.Site], l.lot[r.Lot], l.tool[r.Tool], l.person[strings.ToLower(r.Person)]
	joint := l.today[[4]string{r.Site, r.Tower, r.Cell, r.Joint}]
	treatment, method, outcome := wordOf(ledger.Treatments, r.Treatment), wordOf(ledger.DrivingMethods, r.Method), 0
	if r.Kind == fleetgen.KindTightening {
		id := l.entry(ledger.KindTightening, site, r.At, joint.key, lot, tool, person)
		l.add("tightenings (id, treatment, compound_batch, torque_nm, torque_as_typed, fasteners, pass, method, specification_revision_id)",
			id, treatment, "", fleetTorque, "32 N.m", r.Fasteners, wordOf(ledger.Passes, r.Pass), method, joint.spec)
		hour := [2]int{tool, int(r.At.Unix() / 3600)}
		l.hours[hour] = [2]int64{l.hours[hour][0] + int64(r.Fasteners), max(l.hours[hour][1], r.At.UnixMicro())}
	} else {
		id := l.entry(ledger.KindIncident, site, r.At, joint.key, lot, tool, person)
		outcome = wordOf(ledger.IncidentKinds, r.Kind)
		l.add("incidents (id, kind, fasteners, treatment, method, noticed, action, specification_revision_id)", id, outcome, r.Fasteners, treatment, method, "", "", joint.spec)
	}
	if n := r.Attempts(); n > 0 {
		l.tally[[7]int{site, day, lot, joint.spec, treatment, method, outcome}] += n
		l.used[[2]int{lot, site}] += n
	}
	if l.holds && joint.key%jointsPerHold == 0 && outcome == 0 && r.Pass == fleetgen.PassFirst {
		l.hold(site, joint.key, r.At)
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

// endDay puts in the day's running sums, for all of them hang on the day, and forgets
// its joints, of which nothing more is heard.
func (l *fleetLoad) endDay() {
	for k, n := range l.tally {
		l.add("tallies (site_id, day, lot_id, specification_revision_id, treatment, method, outcome, fasteners)", k[0], k[1], k[2], k[3], k[4], k[5], k[6], n)
	}
	for k, v := range l.hours {
		l.add("tool_uses (tool_id, hour, fasteners, last_time)", k[0], k[1], v[0], v[1])
	}
	clear(l.tally)
	clear(l.hours)
	// The first joint of a day is given before the first of its rows.
	for k, j := range l.today {
		if j.key != l.joints {
			delete(l.today, k)
		}
	}
	if l.uncommitted >= rowsPerCommit && l.commit() == nil {
		l.uncommitted = 0
		l.exec("BEGIN")
	}
}

// end puts in the last day's sums and the stock, sets the heads of the chains and
// commits.
func (l *fleetLoad) end() error {
	l.endDay()
	for k, n := range l.used {
		l.exec(fmt.Sprintf("INSERT INTO lot_sums (lot_id, site_id, received, removed, used, on_hand, count_time) VALUES (%d, %d, %d, 0, %d, %d, 0) "+
			"ON CONFLICT (lot_id, site_id) DO UPDATE SET used = lot_sums.used + excluded.used, on_hand = lot_sums.on_hand - excluded.used", k[0], k[1], n+sparePieces, n, sparePieces))
	}
	for site, n := range l.sequence {
		l.exec(fmt.Sprintf("UPDATE chains SET sequence = %d WHERE id = %d", firstSequence+n, site))
	}
	return l.commit()
}
