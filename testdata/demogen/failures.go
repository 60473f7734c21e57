package main

import (
	"fmt"
	"time"
)

// failureKinds are the ways in which an attempt can fail, in the order in which
// they are drawn and recorded.
var failureKinds = []string{"galling", "seized", "stripped-tapping-screw", "crossed-thread", "broken-fastener"}

// What the crew saw and did, kind by kind, and what it wrote about it; an empty
// note is as likely as its share of the list.
var (
	noticed = map[string][]string{
		"galling":                {"before clamp-up", "before clamp-up", "during run-down"},
		"seized":                 {"during run-down", "at final torque"},
		"stripped-tapping-screw": {"at final torque", "before clamp-up"},
		"crossed-thread":         {"on starting the thread"},
		"broken-fastener":        {"at final torque"},
	}
	action = map[string]string{
		"galling":                "cut off and replaced",
		"seized":                 "split the nut and replaced",
		"stripped-tapping-screw": "nut fitted behind the screw",
		"crossed-thread":         "backed off and replaced",
		"broken-fastener":        "replaced and neighbours checked",
	}
	notes = map[string][]string{
		"galling": {"", "", "squealed and stopped", "two turns from the seat", "nut would not come back", "warm to the touch",
			"stopped as soon as it bound", "paste looked fine"},
		"seized":                 {"", "nut solid on the bolt", "had to split the nut"},
		"stripped-tapping-screw": {"", "", "turned without biting", "sheet a little thin at the corner", "hole punched large"},
		"crossed-thread":         {"", "started by hand and went in crooked", "poor reach behind the brace"},
		"broken-fastener":        {"", "head came off at the click"},
		"dry":                    {"tin empty and fitted dry", "no paste on the deck", "fitted dry", ""},
	}
)

// failures draws the failed attempts of one first pass and records them, one
// incident for each kind. Every position of the joint is tried until a fastener
// holds; each failure is an attempt of its own.
func (w *world) failures(d *crewDay, fails *stream, frailty float64, f *fitting, begun time.Time) {
	lost := map[string]int{}
	for range f.part.fasteners {
		for tries := 0; tries < 5; tries++ {
			kind := f.attempt(fails, frailty)
			if kind == "" {
				break
			}
			lost[kind]++
			w.failed[stockKey{f.joint.site.code, f.part.lot}]++
		}
	}
	spent := f.at.Sub(begun)
	for _, kind := range failureKinds {
		if lost[kind] == 0 {
			continue
		}
		at := begun.Add(time.Duration(d.draw.between(0.15, 0.9) * float64(spent))).Truncate(time.Second)
		note := d.draw.pick(notes[kind])
		if kind == "galling" && f.treatment == "none" {
			note = d.draw.pick(notes["dry"])
		}
		w.incident(at, f.person, f.joint, kind, lost[kind], f.part.lot, f.treatment, f.tool.serial, f.method,
			d.draw.pick(noticed[kind]), action[kind], note)
	}
}

// attempt draws the end of one attempt: a kind of failure, or "" if it holds.
// Driving method, site, crew and tool make no difference.
func (f *fitting) attempt(fails *stream, frailty float64) string {
	var rates [5]float64 // beside failureKinds
	if f.joint.spec.material == stainless {
		rates[0] = float64(gallingRate * frailty)
		if f.part.lot == badLot {
			rates[0] = float64(rates[0] * badLotFactor)
		}
		if f.treatment == "none" {
			rates[0] = float64(rates[0] * untreatedFactor)
		}
		rates[1] = seizedRate
	}
	if f.joint.spec.kind == "seam" {
		rates[2] = strippedRate
	}
	rates[3], rates[4] = crossedRate, brokenRate
	u := fails.float()
	for i, r := range rates {
		if u < r {
			return failureKinds[i]
		}
		u -= r
	}
	return ""
}

// misaligned records holes that did not meet. No fastener was driven, so there is
// no treatment and no driving method to name.
func (w *world) misaligned(d *crewDay, j *joint) {
	person := technician(d.site.code, 2*d.crew-1+d.draw.intn(2))
	w.incident(d.now, person, j, "misaligned-hole", 1+d.draw.intn(3), j.parts[0].lot, "", "", "",
		"before assembly", d.draw.pick([]string{"reamed to size", "drawn in with a drift pin", "module shifted and realigned"}),
		d.draw.pick([]string{"", "", "flange two millimetres out", "second row of holes"}))
}

// drop records the fall of a wrench on the day planned for it, in the incidents
// and in the tool's custody.
func (w *world) drop(d *crewDay, f *fitting) {
	t := f.tool
	if t.dropped == "" || d.day < t.dropped || t.dropTold {
		return
	}
	t.dropTold = true
	at := f.at.Add(2 * time.Minute)
	w.incident(at, f.person, f.joint, "dropped-tool", 0, "", "", t.serial, "", "at once", "looked over and told the crib",
		"fell from the deck to the basin floor")
	w.custody(t, "dropped", d.site, f.person, at.Add(5*time.Minute))
}

// incident adds one incident record.
func (w *world) incident(at time.Time, person string, j *joint, kind string, fasteners int,
	lot, treatment, tool, method, seen, done, note string) {
	w.add("incidents", at, w.id(at), j.site.code, j.cell.tower, j.cell.tag, j.tag, w.stamp(at, person), person,
		kind, fmt.Sprint(fasteners), lot, treatment, tool, method, seen, done, note)
}
