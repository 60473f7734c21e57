package metrology_test

import (
	"errors"
	"testing"
	"time"
	_ "time/tzdata" // the rules of the zones, whatever machine runs the test

	"jointledger/internal/metrology"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func instant(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// Common practice, no source: a month later is the same day of the next month,
// or its last day. Checked against a calendar (2024, 2000 and 2028 are leap
// years, 2100 is not).
func TestAddMonthsClamps(t *testing.T) {
	tests := []struct {
		from   metrology.Date
		months int
		want   metrology.Date
	}{
		{metrology.Date{Year: 2026, Month: time.January, Day: 31}, 1, metrology.Date{Year: 2026, Month: time.February, Day: 28}},
		{metrology.Date{Year: 2028, Month: time.January, Day: 31}, 1, metrology.Date{Year: 2028, Month: time.February, Day: 29}},
		{metrology.Date{Year: 2100, Month: time.January, Day: 31}, 1, metrology.Date{Year: 2100, Month: time.February, Day: 28}},
		{metrology.Date{Year: 2000, Month: time.January, Day: 30}, 1, metrology.Date{Year: 2000, Month: time.February, Day: 29}},
		{metrology.Date{Year: 2026, Month: time.January, Day: 31}, 2, metrology.Date{Year: 2026, Month: time.March, Day: 31}},
		{metrology.Date{Year: 2026, Month: time.March, Day: 31}, 1, metrology.Date{Year: 2026, Month: time.April, Day: 30}},
		{metrology.Date{Year: 2024, Month: time.February, Day: 29}, 12, metrology.Date{Year: 2025, Month: time.February, Day: 28}},
		{metrology.Date{Year: 2024, Month: time.February, Day: 29}, 48, metrology.Date{Year: 2028, Month: time.February, Day: 29}},
		{metrology.Date{Year: 2026, Month: time.November, Day: 30}, 3, metrology.Date{Year: 2027, Month: time.February, Day: 28}},
		{metrology.Date{Year: 2026, Month: time.March, Day: 31}, -1, metrology.Date{Year: 2026, Month: time.February, Day: 28}},
		{metrology.Date{Year: 2026, Month: time.January, Day: 15}, -1, metrology.Date{Year: 2025, Month: time.December, Day: 15}},
		{metrology.Date{Year: 2026, Month: time.June, Day: 15}, 0, metrology.Date{Year: 2026, Month: time.June, Day: 15}},
	}
	for _, tt := range tests {
		if got := tt.from.AddMonths(tt.months); got != tt.want {
			t.Errorf("%v and %d months: %v, want %v", tt.from, tt.months, got, tt.want)
		}
	}
}

// Clock changes as published in the IANA time zone database.
func TestEndOfLocalDay(t *testing.T) {
	tests := []struct {
		name string
		zone string
		day  metrology.Date
		want string
	}{
		{"plain day", "Europe/Dublin", metrology.Date{Year: 2026, Month: time.January, Day: 15}, "2026-01-15T23:59:59Z"},
		{"summer time", "Europe/Dublin", metrology.Date{Year: 2026, Month: time.July, Day: 15}, "2026-07-15T22:59:59Z"},
		{"day the clocks go forward", "Europe/London", metrology.Date{Year: 2026, Month: time.March, Day: 29}, "2026-03-29T22:59:59Z"},
		{"day the clocks go back", "Europe/London", metrology.Date{Year: 2026, Month: time.October, Day: 25}, "2026-10-25T23:59:59Z"},
		{"half-hour zone", "Asia/Kolkata", metrology.Date{Year: 2026, Month: time.March, Day: 1}, "2026-03-01T18:29:59Z"},
		// Brazil went back from 24:00 to 23:00 on 17 February 2018: 23:59:59
		// happened twice, at 01:59:59 and at 02:59:59 UTC.
		{"23:59:59 happens twice", "America/Sao_Paulo", metrology.Date{Year: 2018, Month: time.February, Day: 17}, "2018-02-18T02:59:59Z"},
		// Brazil skipped 00:00 to 01:00 on 4 November 2018; the day before ends
		// as usual.
		{"the next midnight is skipped", "America/Sao_Paulo", metrology.Date{Year: 2018, Month: time.November, Day: 3}, "2018-11-04T02:59:59Z"},
		// Newfoundland went back at 00:01 on 1 November 2009 to 23:01.
		{"change a minute after midnight", "America/St_Johns", metrology.Date{Year: 2009, Month: time.October, Day: 31}, "2009-11-01T03:29:59Z"},
		// Samoa skipped all of 30 December 2011; the 29th ended at 09:59:59 UTC.
		{"the day does not exist", "Pacific/Apia", metrology.Date{Year: 2011, Month: time.December, Day: 30}, "2011-12-30T09:59:59Z"},
		{"the day before the missing one", "Pacific/Apia", metrology.Date{Year: 2011, Month: time.December, Day: 29}, "2011-12-30T09:59:59Z"},
		{"the day after the missing one", "Pacific/Apia", metrology.Date{Year: 2011, Month: time.December, Day: 31}, "2011-12-31T09:59:59Z"},
		{"UTC", "UTC", metrology.Date{Year: 2026, Month: time.December, Day: 31}, "2026-12-31T23:59:59Z"},
	}
	for _, tt := range tests {
		loc := zone(t, tt.zone)
		got := tt.day.EndIn(loc)
		if !got.Equal(instant(t, tt.want)) {
			t.Errorf("%s: %s, want %s", tt.name, got.UTC().Format(time.RFC3339), tt.want)
		}
		if got.Location() != loc {
			t.Errorf("%s: the time is not in the location", tt.name)
		}
	}
	fixed := time.FixedZone("+05:45", 5*3600+45*60)
	if got := (metrology.Date{Year: 2026, Month: time.May, Day: 1}).EndIn(fixed); !got.Equal(instant(t, "2026-05-01T23:59:59+05:45")) {
		t.Errorf("fixed zone: %s", got)
	}
}

func TestCalendarDue(t *testing.T) {
	dublin := zone(t, "Europe/Dublin")
	tests := []struct {
		proved string
		months int
		want   string
	}{
		{"2025-04-28T09:00:00Z", 12, "2026-04-28T23:59:59+01:00"},
		{"2026-01-31T12:00:00Z", 1, "2026-02-28T23:59:59Z"},
		// 23:30 UTC on the last of May is already the 1st of June in Dublin.
		{"2026-05-31T23:30:00Z", 6, "2026-12-01T23:59:59Z"},
	}
	for _, tt := range tests {
		got, err := metrology.CalendarDue(instant(t, tt.proved), tt.months, dublin)
		if err != nil || !got.Equal(instant(t, tt.want)) {
			t.Errorf("%s and %d months: %s, %v; want %s", tt.proved, tt.months, got, err, tt.want)
		}
	}
	_, err := metrology.CalendarDue(instant(t, "2026-01-31T12:00:00Z"), 0, dublin)
	wantRangeError(t, err, "interval")
	// Seen in a secondary source: 12 months or 5 000 cycles, whichever first.
	if metrology.DefaultInterval.Months != 12 || metrology.DefaultInterval.Cycles != 5000 {
		t.Errorf("default interval %+v", metrology.DefaultInterval)
	}
}

func TestCyclesReached(t *testing.T) {
	uses := []metrology.Use{
		{At: instant(t, "2026-03-01T10:00:00Z"), Fasteners: 60},
		{At: instant(t, "2026-03-02T10:00:00Z"), Fasteners: 0},
		{At: instant(t, "2026-03-03T10:00:00Z"), Fasteners: 39},
		{At: instant(t, "2026-03-03T10:00:00Z"), Fasteners: 1},
		{At: instant(t, "2026-03-04T10:00:00Z"), Fasteners: 50},
	}
	due, err := metrology.CycleUse{Uses: uses, AsOf: instant(t, "2026-03-05T00:00:00Z")}.Due(100)
	if err != nil {
		t.Fatal(err)
	}
	// 60 + 39 + 1 = 100: the interval ends with the use that fills it.
	if !due.Reached || !due.At.Equal(instant(t, "2026-03-03T10:00:00Z")) || due.Used != 150 || !due.Known() {
		t.Errorf("due %+v", due)
	}
	// Asked before it was reached, the same record gives a forecast.
	before, err := metrology.CycleUse{Uses: uses, AsOf: instant(t, "2026-03-02T12:00:00Z")}.Due(100)
	if err != nil || before.Reached || before.Used != 60 {
		t.Errorf("before: %+v, %v", before, err)
	}
}

func TestCyclesForecast(t *testing.T) {
	asOf := instant(t, "2026-03-29T12:00:00Z")
	// 280 in the last 28 days, 10 a day; 1000 − 720 = 280 left: 28 days more.
	uses := []metrology.Use{
		{At: asOf.Add(-60 * 24 * time.Hour), Fasteners: 400},
		{At: asOf.Add(-28 * 24 * time.Hour), Fasteners: 40}, // on the edge: no longer recent
		{At: asOf.Add(-20 * 24 * time.Hour), Fasteners: 200},
		{At: asOf, Fasteners: 80},
		{At: asOf.Add(time.Hour), Fasteners: 900}, // after the question
	}
	due, err := metrology.CycleUse{Uses: uses, AsOf: asOf}.Due(1000)
	if err != nil {
		t.Fatal(err)
	}
	if due.Reached || due.Used != 720 || due.PerDay != 10 || !due.At.Equal(asOf.Add(28*24*time.Hour)) {
		t.Errorf("forecast %+v", due)
	}
	// Half a day is kept: 5 left at 10 a day.
	due, err = metrology.CycleUse{Uses: uses, AsOf: asOf}.Due(725)
	if err != nil || !due.At.Equal(asOf.Add(12*time.Hour)) {
		t.Errorf("half a day: %+v, %v", due, err)
	}
}

func TestCyclesForecastSinceCalibration(t *testing.T) {
	asOf := instant(t, "2026-03-29T12:00:00Z")
	fresh := metrology.CycleUse{
		Since: asOf.Add(-3 * 24 * time.Hour),
		Uses: []metrology.Use{
			{At: asOf.Add(-3 * 24 * time.Hour), Fasteners: 300},
			{At: asOf.Add(-24 * time.Hour), Fasteners: 300},
		},
		AsOf: asOf,
	}
	due, err := fresh.Due(5000)
	if err != nil {
		t.Fatal(err)
	}
	// 600 in 3 days, 200 a day; 4400 left: 22 days.
	if due.PerDay != 200 || !due.At.Equal(asOf.Add(22*24*time.Hour)) {
		t.Errorf("three days after calibration: %+v", due)
	}
	fresh.Since = asOf.Add(-time.Hour)
	fresh.Uses = []metrology.Use{{At: asOf, Fasteners: 100}}
	due, err = fresh.Due(300)
	if err != nil || due.PerDay != 100 || !due.At.Equal(asOf.Add(48*time.Hour)) {
		t.Errorf("an hour after calibration is averaged over a day: %+v, %v", due, err)
	}
}

func TestNoRecentUseNoForecast(t *testing.T) {
	asOf := instant(t, "2026-03-29T12:00:00Z")
	for name, uses := range map[string][]metrology.Use{
		"never used":        nil,
		"used long ago":     {{At: asOf.Add(-29 * 24 * time.Hour), Fasteners: 10}},
		"only empty record": {{At: asOf.Add(-time.Hour), Fasteners: 0}},
	} {
		due, err := metrology.CycleUse{Uses: uses, AsOf: asOf}.Due(100)
		if err != nil || due.Known() || due.Reached || due.PerDay != 0 {
			t.Errorf("%s: %+v, %v", name, due, err)
		}
	}
}

func TestForecastFarAway(t *testing.T) {
	asOf := instant(t, "2026-03-29T12:00:00Z")
	due, err := metrology.CycleUse{Uses: []metrology.Use{{At: asOf, Fasteners: 1}}, AsOf: asOf}.Due(1_000_000)
	if err != nil {
		t.Fatal(err)
	}
	// 999 999 · 28 days is some 76 658 years: past what a duration can hold.
	if year := due.At.Year(); year < 78_600 || year > 78_800 {
		t.Errorf("due in the year %d", year)
	}
}

func TestCyclesRefusesNonsense(t *testing.T) {
	asOf := instant(t, "2026-03-29T12:00:00Z")
	_, err := metrology.CycleUse{AsOf: asOf}.Due(0)
	wantRangeError(t, err, "interval")
	_, err = metrology.CycleUse{AsOf: asOf, Uses: []metrology.Use{{At: asOf, Fasteners: -1}}}.Due(10)
	wantRangeError(t, err, "fasteners")
	_, err = metrology.CycleUse{AsOf: asOf, Uses: []metrology.Use{{At: asOf, Fasteners: 1}, {At: asOf.Add(-time.Second), Fasteners: 1}}}.Due(10)
	var unordered *metrology.UnorderedUsesError
	if !errors.As(err, &unordered) || unordered.Index != 1 {
		t.Errorf("unordered uses: %v", err)
	}
}

func TestEarlier(t *testing.T) {
	early, late := instant(t, "2026-03-29T12:00:00Z"), instant(t, "2026-04-29T12:00:00Z")
	for _, tt := range []struct{ calendar, cycles, want time.Time }{
		{early, late, early}, {late, early, early}, {early, time.Time{}, early}, {time.Time{}, late, late}, {time.Time{}, time.Time{}, time.Time{}},
	} {
		if got := metrology.Earlier(tt.calendar, tt.cycles); !got.Equal(tt.want) {
			t.Errorf("earlier of %v and %v: %v", tt.calendar, tt.cycles, got)
		}
	}
}
