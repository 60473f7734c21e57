package main

import (
	"fmt"
	"time"
)

// Days are written as local dates, "2006-01-02": they compare as text.

// parseDay returns local midnight of a day at a site. The days are constants of
// the scenario: one that does not parse is a mistake in this program.
func parseDay(s *site, day string) time.Time {
	t, err := time.ParseInLocation(time.DateOnly, day, s.loc)
	if err != nil {
		panic(err)
	}
	return t
}

// onDay returns a time of day at a site, with a few drawn seconds so that no two
// desks write the same instant.
func (w *world) onDay(s *site, day string, hour, minute int) time.Time {
	t := parseDay(s, day)
	return time.Date(t.Year(), t.Month(), t.Day(), hour, minute, w.ids.intn(60), 0, s.loc)
}

// shiftDay moves a day by some days; "" stays "".
func shiftDay(day string, days int) string {
	if day == "" {
		return ""
	}
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err)
	}
	return t.AddDate(0, 0, days).Format(time.DateOnly)
}

func laterDay(a, b string) string { return max(a, b) }

// crewStart is the day on which a crew begins its first cell.
func crewStart(s *site, crew int) string {
	for _, c := range s.cells {
		if c.crew == crew {
			return c.start
		}
	}
	panic("no cell for crew of " + s.code)
}

// workday reports whether a site works on a day: Monday to Friday, some
// Saturdays, and not on the odd day lost to wind or to a missing delivery.
func (w *world) workday(s *site, day string) bool {
	d := newStream(w.seed, fmt.Sprintf("workday/%s/%s", s.code, day))
	switch parseDay(s, day).Weekday() {
	case time.Sunday:
		return false
	case time.Saturday:
		return d.chance(0.2)
	default:
		return !d.chance(0.06)
	}
}

// nextWorkday is the first day of work after a day.
func (w *world) nextWorkday(s *site, day string) string {
	for {
		day = shiftDay(day, 1)
		if w.workday(s, day) {
			return day
		}
	}
}
