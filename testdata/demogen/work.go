package main

import (
	"fmt"
	"math"
	"time"
)

// runDown is the driving method of a joint whose nuts were run down with an
// impact wrench and brought to torque with a torque wrench.
const runDown = "impact-then-torque-tool"

// shift is the local working day in hours and minutes: nothing begins before its
// start or after its end.
var shift = struct{ startHour, startMinute, endHour, endMinute int }{7, 5, 16, 15}

// crewDay is one crew's day: its streams of draws, its clock and what it has to
// do.
type crewDay struct {
	site  *site
	crew  int
	day   string
	small bool // M10 with the small wrench today
	draw  *stream
	now   time.Time
	end   time.Time
}

// runCrew works through a crew's cells in order, day by day, until they are
// built or the data end.
func (w *world) runCrew(s *site, crew int) error {
	fails := newStream(w.seed, fmt.Sprintf("failures/%s/%d", s.code, crew))
	day := ""
	for _, c := range s.cells {
		if c.crew != crew {
			continue
		}
		day = laterDay(day, c.start)
		queue := append([]*joint(nil), c.joints...)
		var finals []*fitting
		for len(queue)+len(finals) > 0 && day <= s.last {
			if w.workday(s, day) {
				d := w.openDay(s, crew, day)
				w.runFinals(d, finals)
				var err error
				if queue, finals, err = w.runJoints(d, fails, queue); err != nil {
					return err
				}
			}
			day = shiftDay(day, 1)
		}
		if len(queue) == 0 {
			w.finished[c] = parseDay(s, shiftDay(day, -1))
			w.built = append(w.built, c)
		}
	}
	return nil
}

// openDay starts a crew's day.
func (w *world) openDay(s *site, crew int, day string) *crewDay {
	draw := newStream(w.seed, fmt.Sprintf("day/%s/%d/%s", s.code, crew, day))
	start := parseDay(s, day)
	at := func(hour, minute int) time.Time {
		return time.Date(start.Year(), start.Month(), start.Day(), hour, minute, 0, 0, s.loc)
	}
	d := &crewDay{site: s, crew: crew, day: day, draw: draw, small: draw.chance(0.5)}
	d.now = at(shift.startHour, shift.startMinute).Add(time.Duration(draw.minutes(0, 20)) * time.Minute)
	d.end = at(shift.endHour, shift.endMinute)
	return d
}

// pass moves the day's clock on by some minutes and a few seconds, over the
// half hour at noon if it is reached.
func (d *crewDay) pass(lo, hi float64) {
	d.now = d.now.Add(time.Duration(60*d.draw.between(lo, hi)) * time.Second)
	if d.now.Hour() == 12 && d.now.Minute() < 30 {
		d.now = d.now.Add(30 * time.Minute)
	}
}

// runFinals makes the final passes left over from the day before.
func (w *world) runFinals(d *crewDay, finals []*fitting) {
	for _, f := range finals {
		d.pass(5, 11)
		w.final(d, f)
	}
}

// final goes over a first pass again by hand with a torque wrench.
func (w *world) final(d *crewDay, f *fitting) {
	t := w.pickTool(d.site, d.crew, f.joint.spec, d.small, d.now)
	if t == nil {
		return
	}
	w.tightening(d.now, t.holder(d.now), f, t, f.joint.spec.torque, "final", "hand")
}

// runJoints begins as many joints as the crew's pace allows and returns what is
// left of the queue and the final passes that are due next morning. A joint that
// cannot be done now (too cold or too damp to seal, no wrench) is passed over
// for one that can; with nothing else to do the crew waits, and now and then it
// seals all the same.
func (w *world) runJoints(d *crewDay, fails *stream, queue []*joint) ([]*joint, []*fitting, error) {
	var finals []*fitting
	want := d.draw.minutes(d.site.pace[0], d.site.pace[1])
	for want > 0 && len(queue) > 0 && d.now.Before(d.end) {
		i := w.nextJoint(d, queue)
		if i < 0 {
			d.pass(25, 45)
			continue
		}
		j := queue[i]
		queue = append(queue[:i:i], queue[i+1:]...)
		made, err := w.build(d, fails, j)
		if err != nil {
			return nil, nil, err
		}
		finals = append(finals, made...)
		want--
		d.pass(18, 50)
	}
	return queue, finals, nil
}

// nextJoint finds the first joint of the queue that can be done now, -1 if none.
func (w *world) nextJoint(d *crewDay, queue []*joint) int {
	anyway := d.draw.chance(0.14)
	for i, j := range queue {
		if w.pickTool(d.site, d.crew, j.spec, d.small, d.now) == nil {
			continue
		}
		if j.spec.sealant == "" || anyway || w.weather(d.site, d.now).sealable(4.4) {
			return i
		}
	}
	return -1
}

// build seals a joint if its specification has a seal, tightens it, and returns
// the first passes that want a final pass on another day.
func (w *world) build(d *crewDay, fails *stream, j *joint) ([]*fitting, error) {
	j.started = true
	if j.spec.sealant != "" {
		w.seal(d, j)
		d.pass(4, 10)
	}
	method := "hand"
	if d.draw.chance(j.spec.impactShare) {
		method = runDown
	}
	treatment := w.treatment(d, j.spec)
	var later []*fitting
	if d.draw.chance(0.006) {
		w.misaligned(d, j)
		d.pass(10, 20)
	}
	frailty := fails.frailty()
	for _, p := range j.parts {
		f, err := w.fit(d, fails, frailty, j, p, treatment, method)
		if err != nil {
			return nil, err
		}
		if !f.needsFinal {
			continue
		}
		// Locking compound sets within the hour: its final pass is made at once.
		if f.treatment == "thread-locking-compound" {
			d.pass(6, 12)
			w.final(d, f)
			continue
		}
		later = append(later, f)
	}
	return later, nil
}

// fit makes the first pass over one part of a joint, with the failures on the
// way.
func (w *world) fit(d *crewDay, fails *stream, frailty float64, j *joint, p part, treatment, method string) (*fitting, error) {
	t := w.pickTool(d.site, d.crew, j.spec, d.small, d.now)
	if t == nil {
		return nil, fmt.Errorf("joint %s/%s/%s/%s: no wrench at %s", d.site.code, j.cell.tower, j.cell.tag, j.tag, d.now)
	}
	begun := d.now
	n := float64(p.fasteners)
	d.pass(5+float64(0.9*n), 9+float64(1.4*n))
	f := &fitting{joint: j, part: p, treatment: treatment, tool: t, person: t.holder(begun), method: method, at: d.now}
	f.batch = compoundBatch(d.site.region, treatment, d.day)
	if d.draw.chance(0.015) { // a mate borrows the wrench
		f.person = technician(d.site.code, 1+d.draw.intn(len(names[d.site.code])))
	}
	f.needsFinal = method == runDown
	f.audit = j.spec.kind != "seam"
	w.failures(d, fails, frailty, f, begun)
	w.tightening(f.at, f.person, f, t, setting(d.draw, j.spec, t), "first", method)
	w.fittings = append(w.fittings, f)
	w.drop(d, f)
	return f, nil
}

// treatment is what goes on the threads: what the specification asks for, unless
// the tin is empty (the spell without anti-seize) or, rarely, a habit wins
// (anti-seize on a galvanised bolt that was to have locking compound).
func (w *world) treatment(d *crewDay, sp *spec) string {
	if sp.treatment == "anti-seize" {
		dry := d.site.code == untreatedSite && d.day >= untreatedFrom && d.day <= untreatedUntil
		if dry && d.draw.chance(untreatedShare) {
			return "none"
		}
		return "anti-seize"
	}
	if sp.locking == "thread-locking-compound" {
		if d.draw.chance(0.015) {
			return "anti-seize"
		}
		return sp.locking
	}
	return sp.treatment
}

// setting is the torque that a wrench was set to: the specification's, now and
// then a step to one side, and rarely a mistake of a ninth.
func setting(d *stream, sp *spec, t *tool) string {
	step := bands[t.band][2]
	switch u := d.float(); {
	case u < 0.025:
		return shortest(sp.newtonMetres+step, 4)
	case u < 0.05:
		return shortest(sp.newtonMetres-step, 4)
	case u < 0.056:
		return shortest(math.Round(sp.newtonMetres*10/9/step)*step, 4)
	default:
		return sp.torque
	}
}

// tightening adds one tightening record.
func (w *world) tightening(at time.Time, person string, f *fitting, t *tool, torque, pass, method string) {
	j := f.joint
	w.add("tightenings", at, w.id(at), j.site.code, j.cell.tower, j.cell.tag, j.tag, w.stamp(at, person), person,
		f.part.lot, f.treatment, f.batch, t.serial, torque, fmt.Sprint(f.part.fasteners), pass, method)
}

// seal cleans and seals a joint and leaves the day's clock at the sealing.
func (w *world) seal(d *crewDay, j *joint) {
	cleaned := d.now
	if d.draw.chance(0.02) {
		d.pass(75, 110) // called away after cleaning
	} else {
		d.pass(8, 35)
	}
	j.splice = "none"
	switch u := d.draw.float(); {
	case u < 0.035:
		j.splice = "mid-run"
	case u < 0.16:
		j.splice = "corner"
	}
	late := d.draw.chance(0.15)
	j.sealedLate = d.now.Sub(cleaned) > time.Hour
	j.sealed = w.weather(d.site, d.now)
	person := technician(d.site.code, 2*d.crew-1+d.draw.intn(2))
	w.sealing(d.draw, d.now, cleaned, person, j, sealantBatch(d.site.region, j.spec.sealant, d.day, late))
}

// sealing adds one sealing record.
func (w *world) sealing(draw *stream, at, cleaned time.Time, person string, j *joint, batch string) {
	width := j.spec.sealWidth
	if draw.chance(0.015) && j.spec.sealant == "gun-grade" {
		width = "5"
	}
	straight := "true"
	if draw.chance(0.03) {
		straight = "false"
	}
	r := w.weather(j.site, at)
	w.add("sealings", at, w.id(at), j.site.code, j.cell.tower, j.cell.tag, j.tag, w.stamp(at, person), person,
		j.spec.sealant, batch, width, "acetone", w.stamp(cleaned, person),
		decimal(r.air, 1), decimal(r.surface, 1), decimal(math.Round(r.humidity), 0), j.splice, straight)
}
