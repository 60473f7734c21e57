package forecast

import "time"

// Day is what was finished on one day.
type Day struct {
	// Date is the day; its clock time is not looked at.
	Date time.Time
	Done int64
}

// Week says on which days of the week is worked, Sunday first as time.Weekday
// counts them.
type Week [7]bool

// on gives the day at midnight UTC, so that days can be counted.
func on(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

// weekOf finds the working days of the week from what was finished on each day
// from first until before end: Monday to Friday, and a Saturday or Sunday on which
// something was finished at least every second time.
func weekOf(done map[time.Time]int64, first, end time.Time) Week {
	var all, worked [7]int
	for d := first; d.Before(end); d = d.AddDate(0, 0, 1) {
		all[d.Weekday()]++
		if done[d] > 0 {
			worked[d.Weekday()]++
		}
	}
	week := Week{false, true, true, true, true, true, false}
	for _, w := range []time.Weekday{time.Saturday, time.Sunday} {
		week[w] = all[w] > 0 && 2*worked[w] >= all[w]
	}
	return week
}

// counts are the numbers finished on the working days from first until before end.
// What was finished on another day counts with the working day before it, or with
// the first when there is none.
func (w Week) counts(done map[time.Time]int64, first, end time.Time) []int64 {
	var counts []int64
	early := int64(0)
	for d := first; d.Before(end); d = d.AddDate(0, 0, 1) {
		switch {
		case w[d.Weekday()]:
			counts = append(counts, done[d]+early)
			early = 0
		case len(counts) > 0:
			counts[len(counts)-1] += done[d]
		default:
			early += done[d]
		}
	}
	return counts
}

// ahead is the n-th working day from a day on, the day itself being the first when
// it is one.
func (w Week) ahead(from time.Time, n int) time.Time {
	for d := from; ; d = d.AddDate(0, 0, 1) {
		if w[d.Weekday()] {
			n--
		}
		if n <= 0 {
			return d
		}
	}
}
