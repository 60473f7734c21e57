package analysis

import (
	"fmt"
	"time"
)

// PeriodName writes the week that begins on a day, or the day itself; days are
// counted from 1970-01-01. A week is named as ISO 8601 has it: week 1 is that of
// 4 January, and weeks begin on Monday.
func PeriodName(g Grouping, day int) string {
	at := dayAt(day)
	if g == ByWeek {
		year, week := at.ISOWeek()
		return fmt.Sprintf("%04d-W%02d", year, week)
	}
	return at.Format(time.DateOnly)
}

// PeriodStart reads what a month, week or day is written as, and gives its first
// day, counted from 1970-01-01. The error says what was expected.
func PeriodStart(g Grouping, name string) (int, error) {
	switch g {
	case ByMonth:
		if at, err := time.Parse("2006-01", name); err == nil {
			return dayOf(at), nil
		}
		return 0, fmt.Errorf("%q is not a month; expected YYYY-MM", name)
	case ByWeek:
		var year, week int
		if n, err := fmt.Sscanf(name, "%4d-W%2d", &year, &week); err == nil && n == 2 {
			fourth := time.Date(year, 1, 4, 0, 0, 0, 0, time.UTC)
			monday := dayOf(fourth) - (int(fourth.Weekday())+6)%7 + 7*(week-1)
			if PeriodName(ByWeek, monday) == name {
				return monday, nil
			}
		}
		return 0, fmt.Errorf("%q is not a week; expected YYYY-Www, such as 2026-W14", name)
	default: // the others go on below
	}
	if at, err := time.Parse(time.DateOnly, name); err == nil {
		return dayOf(at), nil
	}
	return 0, fmt.Errorf("%q is not a date; expected YYYY-MM-DD", name)
}

func dayAt(day int) time.Time { return time.Unix(int64(day)*86400, 0).UTC() }

func dayOf(at time.Time) int { return int(at.Unix() / 86400) }
