package store_test

import (
	"context"
	"testing"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

func testTimesKeepMicrosecondsAndOffsets(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	at := func(text string) time.Time {
		v, err := time.Parse(time.RFC3339Nano, text)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	cases := []struct {
		given  string
		offset int
		want   string
	}{
		{"2026-03-02T20:34:05.123456+05:30", 330, "2026-03-02T15:04:05.123456Z"},
		{"2026-03-02T08:04:05.123456-07:00", -420, "2026-03-02T15:04:05.123456Z"},
		{"2026-03-02T15:04:05.123456999Z", 0, "2026-03-02T15:04:05.123456Z"}, // cut, not rounded
		{"1970-01-01T00:00:00.000001Z", 0, "1970-01-01T00:00:00.000001Z"},
		{"2999-12-31T23:59:59.999999Z", 840, "2999-12-31T23:59:59.999999Z"},
		{"2026-06-30T23:59:59.999999Z", -1080, "2026-06-30T23:59:59.999999Z"},
	}
	var records []ledger.Record
	for _, c := range cases {
		records = append(records, storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.OccurTime, r.OffsetMinutes = at(c.given), c.offset }))
	}
	sent := resentAll(records)
	storetest.Record(t, s, records...)
	for i, got := range storedRecords(t, s, records) {
		head := got.Head()
		if want := at(cases[i].want); !head.OccurTime.Equal(want) || head.OccurTime.Location() != time.UTC || head.OffsetMinutes != cases[i].offset {
			t.Errorf("%s with offset %d: read %v and %d; expected %v", cases[i].given, cases[i].offset, head.OccurTime, head.OffsetMinutes, want)
		}
	}
	soundReport(t, s)

	t.Log("sent again, with the nanoseconds it had: the same record; with another offset: another")
	outcomes, err := s.Record(ctx, sent, store.Change{})
	wantStates(t, outcomes, err, store.AlreadyKnown, store.AlreadyKnown, store.AlreadyKnown, store.AlreadyKnown, store.AlreadyKnown, store.AlreadyKnown)
	sent[0].Head().OffsetMinutes = 0
	outcomes, err = s.Record(ctx, sent[:1], store.Change{})
	wantStates(t, outcomes, err, store.Refused)

	t.Log("in the order of time across offsets: a filter by time sees one line of time")
	got, _, err := s.Records(ctx, store.RecordFilter{Kind: ledger.KindTightening, Start: at("2026-03-02T15:04:05.123456Z"), End: at("2026-03-02T15:04:05.123457Z")}, store.Page{Size: 10})
	if err != nil || len(got) != 3 {
		t.Errorf("%d records within one microsecond, %v; expected 3", len(got), err)
	}
}

// localDayCases are moments around midnight and around the changes of the clock.
// Denver is 7 h behind UTC, 6 h from 2026-03-08T09:00Z to 2026-11-01T08:00Z (the
// second Sunday in March and the first in November, 02:00 local: Energy Policy
// Act of 2005, s. 110); Kolkata is 5 h 30 min ahead all year.
var localDayCases = []struct{ site, at, day string }{
	{storetest.Denver, "2026-03-02T06:59:59.999999Z", "2026-03-01"},
	{storetest.Denver, "2026-03-02T07:00:00Z", "2026-03-02"},
	{storetest.Denver, "2026-03-08T06:59:59.999999Z", "2026-03-07"},
	{storetest.Denver, "2026-03-08T07:00:00Z", "2026-03-08"}, // a day of 23 hours
	{storetest.Denver, "2026-03-09T05:59:59.999999Z", "2026-03-08"},
	{storetest.Denver, "2026-03-09T06:00:00Z", "2026-03-09"},
	{storetest.Denver, "2026-11-01T05:59:59.999999Z", "2026-10-31"},
	{storetest.Denver, "2026-11-01T06:00:00Z", "2026-11-01"}, // a day of 25 hours
	{storetest.Denver, "2026-11-02T06:59:59.999999Z", "2026-11-01"},
	{storetest.Denver, "2026-11-02T07:00:00Z", "2026-11-02"},
	{storetest.Denver, "1970-01-01T00:00:00.000001Z", "1969-12-31"},
	{storetest.Kolkata, "2026-03-02T18:29:59.999999Z", "2026-03-02"},
	{storetest.Kolkata, "2026-03-02T18:30:00Z", "2026-03-03"},
	{storetest.Kolkata, "2028-02-29T18:29:59Z", "2028-02-29"},
	{storetest.Kolkata, "2028-02-29T18:30:00Z", "2028-03-01"},
	{storetest.Kolkata, "2999-12-31T23:59:59.999999Z", "3000-01-01"},
}

// testLocalDays counts each record alone by its day at the site, whatever the
// offset of the clock it was read on.
func testLocalDays(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	joints := map[string]string{storetest.Denver: storetest.DenverJoint, storetest.Kolkata: storetest.KolkataJoint}
	var records []ledger.Record
	for i, c := range localDayCases {
		moment, err := time.Parse(time.RFC3339Nano, c.at)
		if err != nil {
			t.Fatal(err)
		}
		records = append(records, storetest.NewTightening(joints[c.site], func(r *ledger.Tightening) {
			r.OccurTime, r.OffsetMinutes, r.Fasteners = moment, 60*(i%3-1), 1<<i
		}))
	}
	storetest.Record(t, s, records...)
	read := storedRecords(t, s, records)
	for i, c := range localDayCases {
		day, err := time.Parse(time.DateOnly, c.day)
		if err != nil {
			t.Fatal(err)
		}
		if got := read[i].Head().LocalDay; got != int(day.Unix()/86400) {
			t.Errorf("%s at %s: day %d; expected %d (%s)", c.at, c.site, got, day.Unix()/86400, c.day)
		}
		var want int64
		for k, other := range localDayCases {
			if other.site == c.site && other.day == c.day {
				want += 1 << k
			}
		}
		counts, err := s.Counts(ctx, analysis.CountQuery{
			Filters:  []analysis.GroupValue{{Grouping: analysis.BySite, Value: c.site}},
			StartDay: c.day, EndDay: c.day, GroupBy: []analysis.Grouping{analysis.ByMonth},
		})
		if err != nil || len(counts) != 1 || counts[0].Tightened != want || counts[0].Values[0] != c.day[:7] {
			t.Errorf("%s at %s: counts %+v, %v; expected %d on %s", c.at, c.site, counts, err, want, c.day)
		}
	}
	soundReport(t, s)
}
