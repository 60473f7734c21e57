package main

import (
	"fmt"
	"time"
)

// deliver writes the movements of every lot: received at each site some weeks
// before it is first needed, enough for the joints planned with it and a little
// over; what one site sent on to another; a few cartons scrapped.
func (w *world) deliver() {
	d := newStream(w.seed, "stock")
	need, first := w.demand()
	for _, l := range lots {
		for _, s := range w.sites {
			k := stockKey{s.code, l.code}
			if need[k] == 0 {
				continue
			}
			fromOther := l.code == badLot && s.code == "QLM"
			if fromOther {
				continue // written with the sender's movements
			}
			at := w.onDay(s, workdayBefore(shiftDay(first[k], -d.minutes(10, 26))), 9+d.intn(5), d.intn(60))
			quantity := carton(need[k], s.spare, w.failed[k])
			if l.code == badLot {
				quantity += w.sendOn(d, l.code, need, first)
			}
			w.movement(s, l.code, "received", quantity, at, fmt.Sprintf("DN-%04d", 1000+d.intn(9000)))
		}
	}
	w.scrap("GWT", "SX8-236", 12, "2026-06-03", "SN-0412")
	w.scrap("QLM", "GX12-310", 8, "2026-07-08", "SN-0436")
}

// demand sums what the planned joints need of each lot at each site, and the
// first day on which a cell needs it.
func (w *world) demand() (need map[stockKey]int, first map[stockKey]string) {
	need, first = map[stockKey]int{}, map[stockKey]string{}
	for _, s := range w.sites {
		for _, c := range s.cells {
			for _, j := range c.joints {
				for _, p := range j.parts {
					k := stockKey{s.code, p.lot}
					need[k] += p.fasteners
					if first[k] == "" || c.start < first[k] {
						first[k] = c.start
					}
				}
			}
		}
	}
	return need, first
}

// carton rounds a demand with its spares up to cartons of 25; it never falls
// short of what was used up.
func carton(need int, spare float64, failed int) int {
	n := need + max(int(float64(need)*spare)+1, failed+3)
	return (n + 24) / 25 * 25
}

// sendOn moves what the second site needs of a lot from the first that has it,
// and returns how much that was.
func (w *world) sendOn(d *stream, code string, need map[stockKey]int, first map[stockKey]string) int {
	var from, to *site
	for _, s := range w.sites {
		switch s.code {
		case "HRQ":
			from = s
		case "QLM":
			to = s
		}
	}
	k := stockKey{to.code, code}
	quantity := carton(need[k], to.spare, w.failed[k])
	note := fmt.Sprintf("TN-%04d", 100+d.intn(900))
	w.movement(from, code, "sent", quantity, w.onDay(from, workdayBefore(shiftDay(first[k], -7)), 14, d.intn(60)), note)
	w.movement(to, code, "received", quantity, w.onDay(to, workdayBefore(shiftDay(first[k], -4)), 10, d.intn(60)), note)
	return quantity
}

// scrap writes off fasteners that never reached a joint (a carton left in the
// rain, a carton dropped).
func (w *world) scrap(site, lot string, quantity int, day, note string) {
	for _, s := range w.sites {
		if s.code == site {
			w.movement(s, lot, "scrapped", quantity, w.onDay(s, day, 15, 20), note)
		}
	}
}

// movement adds one lot movement record.
func (w *world) movement(s *site, lot, kind string, quantity int, at time.Time, reference string) {
	by := attendant(s.code)
	w.add("lot_movements", at, w.id(at), lot, s.code, kind, fmt.Sprint(quantity), at.UTC().Format(time.RFC3339), by, reference)
}

// workdayBefore returns the day itself, or the Friday before it if it is a
// Saturday or a Sunday.
func workdayBefore(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err)
	}
	switch t.Weekday() {
	case time.Saturday:
		return shiftDay(day, -1)
	case time.Sunday:
		return shiftDay(day, -2)
	default:
		return day
	}
}
