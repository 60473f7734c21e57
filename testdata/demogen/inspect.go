package main

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// inspect looks back at the work: torque audits, visual checks, the leak test of
// every finished cell, and the re-tightenings that follow.
func (w *world) inspect() {
	d := newStream(w.seed, "inspections")
	for _, f := range w.fittings {
		w.auditMaybe(d, f)
	}
	for _, c := range w.built {
		w.leakTest(d, c)
	}
}

// within reports whether a site still records on a day.
func (s *site) within(day string) bool { return day <= s.last }

// auditMaybe audits the torque of one first pass in six with untouched threads
// (never cured locking compound, which a check would break), the next working
// day. Of the rest, one in seventeen is gone over again some weeks later, and so
// are most of those made with a wrench in the weeks before the laboratory found
// it delivering too little.
func (w *world) auditMaybe(d *stream, f *fitting) {
	s := f.joint.site
	if !f.audit || f.treatment == "thread-locking-compound" {
		return
	}
	day := f.at.Format(time.DateOnly)
	if d.chance(0.17) {
		w.audit(d, f, w.nextWorkday(s, day))
		return
	}
	switch recalled := f.tool.again; {
	case f.tool.drift < -4 && day >= shiftDay(recalled, -40) && day < recalled:
		if d.chance(0.6) {
			w.retighten(d, f, w.nextWorkday(s, shiftDay(recalled, d.minutes(6, 9))))
		}
	case d.chance(0.06):
		w.retighten(d, f, w.nextWorkday(s, shiftDay(day, d.minutes(14, 40))))
	}
}

// audit takes readings of first movement on a tenth of the fasteners, two at
// least, and has the joint re-tightened if one is out of the window.
func (w *world) audit(d *stream, f *fitting, day string) {
	s, j := f.joint.site, f.joint
	if !s.within(day) {
		return
	}
	n := max(2, (f.part.fasteners+9)/10)
	centre := j.spec.newtonMetres * (1 + f.tool.deviation(s, f.at)/100)
	pass := "pass"
	var readings []string
	for range n {
		// Some relaxation, and the scatter of first movement.
		v := float64(centre * (0.995 + float64(0.025*d.normal())))
		if math.Abs(v/j.spec.newtonMetres-1) > 0.10 {
			pass = "fail"
		}
		readings = append(readings, decimal(v, 1))
	}
	at := w.onDay(s, day, 8+d.intn(7), d.intn(60))
	w.inspection(at, inspector(s, d.chance(0.3)), j, "torque-audit", n, strings.Join(readings, ";"), pass)
	if pass == "fail" {
		w.retighten(d, f, w.nextWorkday(s, day))
	}
}

// retighten goes over the fasteners of a first pass again; it adds no attempts.
func (w *world) retighten(d *stream, f *fitting, day string) {
	s := f.joint.site
	at := w.onDay(s, day, 13+d.intn(3), d.intn(60))
	t := w.pickTool(s, f.joint.cell.crew, f.joint.spec, d.chance(0.5), at)
	if !s.within(day) || t == nil {
		return
	}
	w.tightening(at, t.holder(at), f, t, f.joint.spec.torque, "re-tightening", "hand")
}

// leakTest fills a finished cell's basin some days after its last joint. The
// record names the joints looked at: every one with a splice in mid-run or a
// seal made in the cold or late, and two others. Joints that leak are sealed
// again and looked at once more.
func (w *world) leakTest(d *stream, c *cell) {
	s := c.joints[0].site
	day := w.nextWorkday(s, w.finished[c].AddDate(0, 0, d.minutes(2, 5)).Format(time.DateOnly))
	if !s.within(day) {
		return
	}
	start := w.onDay(s, day, 8, 30+d.intn(20))
	others := 2
	for _, j := range c.joints {
		if j.spec.sealant == "" {
			continue
		}
		risk := j.leakRisk()
		if risk < 0.1 {
			if others == 0 || !d.chance(0.3) {
				continue
			}
			others--
		}
		start = start.Add(time.Duration(d.minutes(12, 25)) * time.Minute)
		who := inspector(s, false)
		if !d.chance(risk) {
			w.inspection(start, who, j, "leak-test", 1, "", "pass")
			continue
		}
		w.inspection(start, who, j, "leak-test", 1, "", "fail")
		w.leak(d, j, start, day)
	}
	w.walk(d, c, start)
}

// leakRisk is the chance that a seam weeps at the test.
func (j *joint) leakRisk() float64 {
	risk := 0.02
	if j.splice == "mid-run" {
		risk += 0.25
	}
	if j.sealed.surface < 4.4 || j.sealed.surface-dewPoint(j.sealed.air, j.sealed.humidity) < 3 {
		risk += 0.25
	}
	if j.sealedLate {
		risk += 0.15
	}
	return risk
}

// leak records a weeping seam, its new seal on a later day and the second look.
func (w *world) leak(d *stream, j *joint, at time.Time, day string) {
	s := j.site
	who := technician(s.code, 2*j.cell.crew-1)
	seen := at.Add(4 * time.Minute)
	w.incident(seen, who, j, "leak", 0, "", "", "", "", "at leak test", "marked, dried and resealed",
		d.pick([]string{"slow drip at the splice", "weep along the lower flange", "damp after two hours", "drip at the corner"}))
	again := w.nextWorkday(s, day)
	cleaned := w.onDay(s, again, 13, d.intn(40))
	if !s.within(again) {
		return
	}
	j.splice = "none"
	w.sealing(d, cleaned.Add(time.Duration(d.minutes(10, 30))*time.Minute), cleaned, who, j,
		sealantBatch(s.region, j.spec.sealant, again, false))
	look := w.nextWorkday(s, shiftDay(again, 2))
	if s.within(look) {
		w.inspection(w.onDay(s, look, 10, d.intn(60)), inspector(s, false), j, "leak-test", 1, "", "pass")
	}
}

// walk is the visual check of a finished cell, recorded at its first joint.
func (w *world) walk(d *stream, c *cell, after time.Time) {
	at := after.Add(time.Duration(d.minutes(30, 70)) * time.Minute)
	w.inspection(at, inspector(c.joints[0].site, d.chance(0.5)), c.joints[0], "visual", len(c.joints), "", "pass")
}

// inspection adds one inspection record.
func (w *world) inspection(at time.Time, person string, j *joint, kind string, sample int, readings, result string) {
	w.add("inspections", at, w.id(at), j.site.code, j.cell.tower, j.cell.tag, j.tag, w.stamp(at, person), person,
		kind, fmt.Sprint(sample), readings, result)
}
