package main

import (
	"fmt"
	"time"
)

// tool is one torque wrench: its plan, and who holds it when.
type tool struct {
	serial   string
	site     string
	band     string
	crew     int       // whose it is; 0 is spare stock in the crib
	second   bool      // held by the crew's second technician first
	months   int       // calibration interval
	cycles   int       // the same in cycles
	last     string    // last calibration before the season
	again    string    // calibration within the season, "" if none
	bought   int       // whole intervals in service before last
	drift    float64   // deviation of the delivered torque found at again, in percent
	past     []float64 // the same found at the calibrations up to last, oldest first
	dropped  string    // day on which it was dropped
	withheld bool      // kept in the crib from the day after the drop
	stints   []stint

	dropTold bool
}

// stint is a time during which one person held a tool.
type stint struct {
	from, to time.Time
	person   string
}

// bands are the wrenches' ranges: least and greatest setting and step, N·m.
var bands = map[string][3]float64{"S": {8, 40, 0.2}, "M": {20, 100, 0.5}, "L": {40, 200, 1}}

// wrenches returns the plan of all tools. Due dates fall in the weeks after the
// data end: some are past, some months away.
func wrenches() []*tool {
	return []*tool{
		{serial: "QLM-W01", site: "QLM", band: "S", crew: 1, months: 12, cycles: 5000, last: "2025-08-27", bought: 2, past: []float64{0.8, -0.6}},
		{serial: "QLM-W02", site: "QLM", band: "S", crew: 2, months: 12, cycles: 5000, last: "2025-11-12", bought: 1, past: []float64{1.4}},
		// Delivers less and less; found a tenth low in June.
		{serial: "QLM-W03", site: "QLM", band: "M", crew: 1, second: true, months: 12, cycles: 5000, last: "2025-06-30",
			again: "2026-06-23", drift: -10.5, bought: 2, past: []float64{-0.9, -1.8}},
		{serial: "QLM-W04", site: "QLM", band: "M", crew: 2, second: true, months: 12, cycles: 5000, last: "2025-09-09", bought: 1, past: []float64{0.4}},
		{serial: "QLM-W05", site: "QLM", band: "L", crew: 1, second: true, months: 12, cycles: 5000, last: "2025-08-19", bought: 3, past: []float64{-0.5, 1.1, 4.9}},
		// Short interval in cycles: an old mechanism, nearly used up at the end.
		{serial: "HRQ-W01", site: "HRQ", band: "S", crew: 1, months: 12, cycles: 1500, last: "2026-03-10", bought: 2, past: []float64{1.9, 2.6}},
		{serial: "HRQ-W02", site: "HRQ", band: "S", crew: 2, months: 12, cycles: 5000, last: "2025-09-24", bought: 1, past: []float64{-1.2}},
		// Dropped before its calibration in May, which it passed: nothing due.
		{serial: "HRQ-W03", site: "HRQ", band: "M", crew: 1, second: true, months: 12, cycles: 5000, last: "2025-05-20",
			again: "2026-05-12", drift: 1.3, bought: 1, past: []float64{0.7}, dropped: "2026-04-28"},
		{serial: "HRQ-W04", site: "HRQ", band: "L", crew: 1, second: true, months: 12, cycles: 5000, last: "2025-12-03", bought: 0},
		{serial: "NBF-W01", site: "NBF", band: "S", crew: 1, months: 12, cycles: 5000, last: "2025-09-02", bought: 2, past: []float64{0.3, -2.2}},
		{serial: "NBF-W02", site: "NBF", band: "M", crew: 1, second: true, months: 12, cycles: 5000, last: "2026-01-20", bought: 1, past: []float64{-5.4}},
		// Past due since July and still in use.
		{serial: "NBF-W03", site: "NBF", band: "L", crew: 1, second: true, months: 12, cycles: 5000, last: "2025-07-22", bought: 1, past: []float64{1.6}},
		// Dropped in July, after its last calibration: due on that event.
		{serial: "GWT-W01", site: "GWT", band: "S", crew: 1, months: 12, cycles: 5000, last: "2026-02-11", bought: 1, past: []float64{0.9},
			dropped: "2026-08-04", withheld: true},
		{serial: "GWT-W02", site: "GWT", band: "S", crew: 2, months: 6, cycles: 5000, last: "2026-02-26", bought: 3, past: []float64{0.2, -0.8, 1.0}},
		{serial: "GWT-W03", site: "GWT", band: "M", crew: 1, second: true, months: 12, cycles: 5000, last: "2025-10-15", bought: 1, past: []float64{-0.4}},
		{serial: "GWT-W04", site: "GWT", band: "L", crew: 1, second: true, months: 12, cycles: 5000, last: "2025-09-16", bought: 2, past: []float64{2.0, 0.1}},
		// The clinic's only small wrench in use; falls due as the data end.
		{serial: "TVS-W01", site: "TVS", band: "S", crew: 1, months: 12, cycles: 5000, last: "2025-08-11", bought: 1, past: []float64{-1.1}},
		// In the crib all season, two months past due.
		{serial: "TVS-W02", site: "TVS", band: "M", months: 12, cycles: 5000, last: "2025-06-05", bought: 2, past: []float64{0.6, 1.5}},
		{serial: "TVS-W03", site: "TVS", band: "L", crew: 1, second: true, months: 12, cycles: 5000, last: "2026-03-24", bought: 0},
	}
}

// holder names who holds the tool at an instant, "" if it is in the crib or
// away.
func (t *tool) holder(at time.Time) string {
	for _, s := range t.stints {
		if !at.Before(s.from) && at.Before(s.to) {
			return s.person
		}
	}
	return ""
}

// planTools writes every tool's calibrations and custody up to the end of the
// data, and keeps the stints for the work.
func (w *world) planTools() {
	for _, s := range w.sites {
		for _, t := range wrenches() {
			if t.site != s.code {
				continue
			}
			w.tools = append(w.tools, t)
			w.calibrate(s, t)
			w.keep(s, t)
			r := bands[t.band]
			w.add("tools", time.Time{}, t.serial, "torque-wrench", "II-A", decimal(r[0], 1), decimal(r[1], 0),
				decimal(r[2], 1), t.site, fmt.Sprint(t.months), fmt.Sprint(t.cycles))
		}
	}
}

// keep draws up the custody of one tool: received by the crib, issued to a
// technician as the crew starts, handed over to the partner on the site's swap
// day, away for its calibration if it has one within the season.
func (w *world) keep(s *site, t *tool) {
	crib := attendant(s.code)
	w.custody(t, "received", s, crib, w.onDay(s, workdayBefore(laterDay(shiftDay(s.cells[0].start, -12), shiftDay(t.last, 6))), 10, 20))
	if t.crew == 0 {
		return
	}
	a, b := technician(s.code, 2*t.crew-1), technician(s.code, 2*t.crew)
	if t.second {
		a, b = b, a
	}
	start := crewStart(s, t.crew)
	end := s.last
	if t.withheld {
		end = t.dropped
	}
	w.issue(s, t, a, start, shiftDay(s.swap, -1), end)
	w.issue(s, t, b, laterDay(s.swap, start), end, end)
}

// issue puts a tool into a technician's hands from the morning of one day to the
// evening of another, with a gap while it is at the laboratory. It is handed in
// at the end unless that is the end of the data.
func (w *world) issue(s *site, t *tool, person, from, until, end string) {
	if from > until {
		return
	}
	if away := shiftDay(t.again, -4); t.again != "" && from < away && away <= until {
		w.hold(s, t, person, from, shiftDay(away, -1), true)
		crib := attendant(s.code)
		w.custody(t, "sent", s, crib, w.onDay(s, away, 8, 40))
		w.custody(t, "received", s, crib, w.onDay(s, shiftDay(t.again, 6), 11, 10))
		from = shiftDay(t.again, 7)
	}
	if from <= until {
		w.hold(s, t, person, from, until, until != end || t.withheld)
	}
}

// hold records one stint and its two custody records. A stint that is not
// handed in runs on past the data.
func (w *world) hold(s *site, t *tool, person, from, until string, handedIn bool) {
	out := w.onDay(s, from, 6, 35)
	in := w.onDay(s, workdayBefore(until), 17, 50)
	w.custody(t, "issued", s, person, out)
	if handedIn {
		w.custody(t, "returned", s, attendant(s.code), in)
	} else {
		in = in.AddDate(1, 0, 0)
	}
	t.stints = append(t.stints, stint{from: out, to: in, person: person})
}

// custody adds one custody record.
func (w *world) custody(t *tool, kind string, s *site, person string, at time.Time) {
	w.add("custody", at, w.id(at), t.serial, kind, s.code, person, w.stamp(at, attendant(s.code)))
}

// pickTool chooses a wrench for a joint: of the right range, held by somebody
// now, the crew's own first. On days drawn for it, M10 joints are done with the
// small wrench, which reaches their torque too. It returns nil if the site has
// none at hand.
func (w *world) pickTool(s *site, crew int, sp *spec, small bool, at time.Time) *tool {
	want := []string{sp.band}
	if sp.code == "X-M10-STR" {
		want = []string{"M", "S"}
		if small {
			want = []string{"S", "M"}
		}
	}
	for _, own := range []bool{true, false} {
		for _, band := range want {
			for _, t := range w.tools {
				if t.site == s.code && t.band == band && (t.crew == crew) == own && t.holder(at) != "" {
					return t
				}
			}
		}
	}
	return nil
}
