package main

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// laboratory is the one laboratory that calibrates the scenario's wrenches.
const laboratory = "Umberlow Calibration"

// calibrate writes a tool's calibrations: the first as left only (it was new),
// the yearly ones before the season as found and as left, and the one within the
// season if it has one.
func (w *world) calibrate(s *site, t *tool) {
	d := newStream(w.seed, "calibration/"+t.serial)
	last := w.onDay(s, t.last, 0, 0)
	for k := t.bought; k >= 0; k-- {
		// The laboratory's diary moves earlier years' dates by some days.
		day := last.AddDate(0, -k*t.months, 0)
		if k > 0 {
			day = day.AddDate(0, 0, -d.minutes(0, 9))
		}
		var found *float64
		if k < t.bought {
			found = &t.past[t.bought-1-k]
		}
		w.certificate(d, t, day, found)
	}
	if t.again != "" {
		w.certificate(d, t, w.onDay(s, t.again, 0, 0), &t.drift)
	}
}

// certificate writes one calibration: five readings at the lowest mark, the
// middle and the top of the range (from memory of ISO 6789-1:2017 for a setting
// tool of type II class A). A reading is the torque that the measuring device saw
// when the wrench clicked at the target. found is the mean deviation in percent
// on arrival; nil leaves the as-found phase out.
func (w *world) certificate(d *stream, t *tool, day time.Time, found *float64) {
	at := day.Add(time.Duration(10*60+d.minutes(0, 240)) * time.Minute)
	id := w.id(at)
	number := fmt.Sprintf("UC-%s-%04d", at.Format("06"), 100+d.intn(9000))
	r := bands[t.band]
	points := []float64{r[0], (r[0] + r[1]) / 2, r[1]}
	phase := func(name string, deviation float64) {
		for _, p := range points {
			var readings []string
			centre := deviation + float64(0.15*d.normal())
			for range 5 {
				dev := centre + float64(0.3*math.Max(-2, math.Min(2, d.normal())))
				readings = append(readings, decimal(p*(1+dev/100), 2))
			}
			// One percent expanded uncertainty: a quarter of the tool's ±4 %.
			w.add("calibrations", at, id, t.serial, at.UTC().Format(time.RFC3339), laboratory, number, name,
				decimal(p, 1), strings.Join(readings, ";"), shortest(p/100, 3), "2")
		}
	}
	if found != nil {
		phase("as-found", *found)
	}
	phase("as-left", d.between(-0.4, 0.4))
}

// deviation returns by how many percent the tool's delivered torque differs from
// its setting at an instant: growing evenly from the last calibration to the
// deviation found at the next.
func (t *tool) deviation(s *site, at time.Time) float64 {
	if t.again == "" {
		return 0
	}
	from, to := parseDay(s, t.last), parseDay(s, t.again)
	if !at.Before(to) {
		return 0
	}
	return t.drift * at.Sub(from).Hours() / to.Sub(from).Hours()
}
