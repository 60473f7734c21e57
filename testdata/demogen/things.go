package main

import (
	"fmt"
	"time"
)

// describeThings writes the files of things: sites, towers, specifications,
// joints, lots, consumables and people. Tools were written with their
// calibrations. Their lines stand in the scenario's order, so they carry no time.
func (w *world) describeThings() {
	var none time.Time
	for _, s := range w.sites {
		w.add("sites", none, s.code, s.name, s.region, s.zone, "active")
		for _, t := range s.towers {
			drawing := fmt.Sprintf("GA-%s-%s", s.code, t.tag)
			w.add("towers", none, s.code, t.tag, t.material, drawing, t.start, t.finish)
			w.describeJoints(s, t.tag)
		}
	}
	for _, sp := range specs {
		w.add("specs", none, sp.code, sp.thread, sp.length, sp.material, sp.class, sp.coating, sp.head, sp.treatment, sp.locking,
			sp.torque, sp.tolerance, sp.basis, sp.nutFactor, sp.sealant, sp.sealWidth, sp.minSurface)
	}
	for _, l := range lots {
		sp := w.specs[l.spec]
		w.add("lots", none, l.code, l.supplier, l.heat, sp.thread, sp.length, sp.material, sp.class, sp.coating, sp.head)
	}
	for _, b := range batches {
		w.add("batches", none, b[0], b[1], b[2], b[3])
	}
	for _, id := range w.staff {
		p := w.people[id]
		w.add("people", none, id, p.name, p.employer, p.site, p.roles, p.qualification, p.qualifiedUntil)
	}
}

// describeJoints writes the joints of one tower, cell by cell in order of tag.
func (w *world) describeJoints(s *site, tower string) {
	for n := 1; n <= len(s.cells); n++ {
		for _, c := range s.cells {
			if c.tower != tower || c.tag != fmt.Sprintf("C%d", n) {
				continue
			}
			for _, j := range c.joints {
				w.add("joints", time.Time{}, s.code, c.tower, c.tag, j.tag, j.spec.kind, fmt.Sprint(j.spec.critical),
					j.spec.code, fmt.Sprint(j.fasteners))
			}
		}
	}
}
