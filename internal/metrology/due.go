package metrology

import "time"

// DefaultInterval holds the calibration interval for an owner who has no better
// rule: whichever of the two comes first. A tool is also due at once after an
// overload, a drop or a repair.
var DefaultInterval = struct {
	Months int
	Cycles int
	Source Source
}{Months: 12, Cycles: 5000, Source: Source{Title: "ISO 6789", Edition: "2003 and 2017", Place: "as quoted by a second hand", Mark: Seen}}

// Date is a day of the civil calendar, without time or zone.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// DateOf is the local calendar day of an instant in the location.
func DateOf(t time.Time, loc *time.Location) Date {
	y, m, d := t.In(loc).Date()
	return Date{Year: y, Month: m, Day: d}
}

// AddMonths moves a date by whole months and keeps it in the month it reaches:
// 31 January and one month is 28 or 29 February, not the 3rd of March. The day
// is clamped once, from the given date, so two intervals in one step may end
// later than two steps of one.
func (d Date) AddMonths(months int) Date {
	first := time.Date(d.Year, d.Month+time.Month(months), 1, 0, 0, 0, 0, time.UTC)
	last := first.AddDate(0, 1, -1).Day()
	return Date{Year: first.Year(), Month: first.Month(), Day: min(d.Day, last)}
}

// EndIn is the last second of the day in the location, 23:59:59 local. When a
// change of the clocks makes 23:59:59 happen twice, it is the later one; when
// the clocks skip it, or skip the whole day, it is the last second before the
// gap.
func (d Date) EndIn(loc *time.Location) time.Time {
	// 23:59:59 as if the zone were UTC; real offsets are at most a day away.
	wall := time.Date(d.Year, d.Month, d.Day, 23, 59, 59, 0, time.UTC)
	from, to := wall.Add(-36*time.Hour), wall.Add(36*time.Hour)

	var latest, beforeGap time.Time
	for t := from; ; {
		_, offset := t.In(loc).Zone()
		candidate := wall.Add(-time.Duration(offset) * time.Second)
		start, end := t.In(loc).ZoneBounds()
		inForce := (start.IsZero() || !candidate.Before(start)) && (end.IsZero() || candidate.Before(end))
		if inForce && candidate.After(latest) {
			latest = candidate
		}
		// A candidate past the end of its own offset is a wall clock time that
		// the change of the clocks leaps over, unless a later offset brings it.
		if !end.IsZero() && !candidate.Before(end) {
			beforeGap = end.Add(-time.Second)
		}
		if end.IsZero() || end.After(to) {
			break
		}
		t = end
	}
	if latest.IsZero() {
		latest = beforeGap
	}
	return latest.In(loc)
}

// CalendarDue is when a tool last proved at the given instant falls due: the end
// of the local day, in the location, that lies the given number of months later.
// It fails with a *RangeError for an interval below one month.
func CalendarDue(proved time.Time, months int, loc *time.Location) (time.Time, error) {
	if months < 1 {
		return time.Time{}, &RangeError{Field: "interval", Value: float64(months), Allowed: "1 month or more"}
	}
	return DateOf(proved, loc).AddMonths(months).EndIn(loc), nil
}
