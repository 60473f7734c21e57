package store_test

import (
	"cmp"
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/sequential"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// alarmRule is a rule that cries often, so that a short history has alarms.
func alarmRule(t *testing.T, code string, changes ...func(*ledger.AlarmRule)) ledger.AlarmRule {
	t.Helper()
	r := ledger.AlarmRule{Code: code, Grouping: ledger.AlarmByLot, Kinds: []ledger.IncidentKind{ledger.Galling, ledger.Seized},
		InControl: 0.02, OutOfControl: 0.1, RunLength: 150, Active: true}
	for _, c := range changes {
		c(&r)
	}
	if err := analysis.PlanAlarmRule(&r); err != nil {
		t.Fatal(err)
	}
	return r
}

func bySite(r *ledger.AlarmRule)  { r.Grouping = ledger.AlarmBySite }
func history(r *ledger.AlarmRule) { r.CountHistory = true }
func onTrial(r *ledger.AlarmRule) { r.Test, r.RunLength = ledger.AlarmSPRT, 0 }

func registerRules(t *testing.T, s *store.Store, rules ...ledger.AlarmRule) {
	t.Helper()
	outcomes, err := s.RegisterAlarmRules(context.Background(), rules, store.Change{})
	wantStates(t, outcomes, err, slices.Repeat([]store.OutcomeState{store.Taken}, len(rules))...)
}

// advance applies the rules until nothing is left to count.
func advance(t *testing.T, s *store.Store) {
	t.Helper()
	for range 100 {
		more, err := s.AdvanceAlarms(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if !more {
			return
		}
	}
	t.Fatal("the rules come to no end")
}

// watchedWork is a batch of work of two sites and two lots, in which galling
// becomes frequent.
func watchedWork(draw *rand.Rand, n int, rate float64) []ledger.Record {
	var records []ledger.Record
	for range n {
		joint := []string{storetest.DenverJoint, storetest.KolkataJoint}[draw.IntN(2)]
		lot := []string{storetest.StainlessLot, storetest.OtherStainlessLot}[draw.IntN(2)]
		switch {
		case draw.Float64() < rate*4:
			kind := []ledger.IncidentKind{ledger.Galling, ledger.Seized, ledger.CrossedThread}[draw.IntN(3)]
			records = append(records, storetest.NewIncident(kind, joint, func(r *ledger.Incident) { r.Lot, r.Fasteners = lot, 1+draw.IntN(2) }))
		case draw.IntN(8) == 0: // counts for nobody
			records = append(records, storetest.NewTightening(joint, func(r *ledger.Tightening) { r.Lot, r.Pass = lot, ledger.PassFinal }),
				storetest.NewIncident(ledger.Leak, joint), storetest.NewLotMovement(lot, joint[:3]))
		default:
			records = append(records, storetest.NewTightening(joint, func(r *ledger.Tightening) { r.Lot, r.Fasteners = lot, 1+draw.IntN(8) }))
		}
	}
	return records
}

// inTime lets the records happen one after the other.
func inTime(clock *time.Time, records []ledger.Record) []ledger.Record {
	for _, r := range records {
		*clock = clock.Add(time.Minute)
		r.Head().OccurTime = *clock
	}
	return records
}

// everyRecord lists all records of a kind.
func everyRecord(t *testing.T, s *store.Store, kind ledger.RecordKind) []ledger.Record {
	t.Helper()
	list, next, err := s.Records(context.Background(), store.RecordFilter{Kind: kind}, store.Page{Size: 100_000})
	if err != nil || next != "" {
		t.Fatal(err, next)
	}
	return list
}

// alarmsOf are the alarms of a rule, by site and in each site in the chain's order.
func alarmsOf(t *testing.T, s *store.Store, rule string) (alarms []*ledger.Alarm) {
	t.Helper()
	for _, r := range everyRecord(t, s, ledger.KindAlarm) {
		if a := r.(*ledger.Alarm); a.Rule == rule {
			alarms = append(alarms, a)
		}
	}
	return alarms
}

// expectedAlarm is what an alarm must say.
type expectedAlarm struct {
	cause              string
	points             float64
	failures, attempts int64
}

// expectedAlarms takes the records that stand through analysis.RunAlarm, group by
// group, in the order in which they happened; skip leaves records out.
func expectedAlarms(t *testing.T, s *store.Store, rule ledger.AlarmRule, skip func(ledger.Record) bool) map[string][]expectedAlarm {
	t.Helper()
	records := append(everyRecord(t, s, ledger.KindTightening), everyRecord(t, s, ledger.KindIncident)...)
	slices.SortStableFunc(records, func(a, b ledger.Record) int {
		first, second := a.Head(), b.Head()
		return cmp.Or(first.OccurTime.Compare(second.OccurTime), cmp.Compare(first.Sequence, second.Sequence))
	})
	rows := map[string][]analysis.TrendRow{}
	for _, r := range records {
		row, lot := analysis.TrendRow{Label: r.Head().ID.String()}, ""
		switch r := r.(type) {
		case *ledger.Tightening:
			if r.Pass != ledger.PassFirst {
				continue
			}
			row.Attempts, lot = int64(r.Fasteners), r.Lot
		case *ledger.Incident:
			if !r.Kind.ThreadFailure() {
				continue
			}
			row.Attempts, lot = int64(r.Fasteners), r.Lot
			if slices.Contains(rule.Kinds, r.Kind) {
				row.Failures = row.Attempts
			}
		}
		group := lot
		if rule.Grouping == ledger.AlarmBySite {
			group = r.SiteCode()
		}
		if skip == nil || !skip(r) {
			rows[group] = append(rows[group], row)
		}
	}
	expected := map[string][]expectedAlarm{}
	for group, list := range rows {
		run, err := analysis.RunAlarm(list, sequential.Plan{Model: sequential.Bernoulli, InControl: rule.InControl, OutOfControl: rule.OutOfControl, Look: 1,
			Gain: rule.Plan.Gain, Drift: rule.Plan.Drift, Threshold: rule.Plan.Threshold, Start: rule.Plan.Start}, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, signal := range run.Signals {
			expected[group] = append(expected[group], expectedAlarm{signal.Label, signal.Points, signal.Failures, signal.Attempts})
		}
	}
	return expected
}

// wantAlarms holds the alarms of a rule to what is expected, group by group.
func wantAlarms(t *testing.T, s *store.Store, rule ledger.AlarmRule, want map[string][]expectedAlarm) {
	t.Helper()
	got := map[string][]expectedAlarm{}
	list := alarmsOf(t, s, rule.Code)
	for _, a := range list {
		group := a.Lot
		if rule.Grouping == ledger.AlarmBySite {
			group = a.Site
		}
		got[group] = append(got[group], expectedAlarm{a.Cause.String(), a.Statistic, a.Failures, a.Attempts})
	}
	total := 0
	for group := range want {
		total += len(want[group])
		// A lot's alarms stand in the chains of several sites: compared as a set.
		for _, side := range []map[string][]expectedAlarm{got, want} {
			slices.SortFunc(side[group], func(a, b expectedAlarm) int { return strings.Compare(a.cause, b.cause) })
		}
		if !slices.Equal(got[group], want[group]) {
			t.Errorf("rule %s, %s: alarms\n%v; expected\n%v", rule.Code, group, got[group], want[group])
		}
	}
	if total != len(list) {
		t.Errorf("rule %s: %d alarms; expected %d", rule.Code, len(list), total)
	}
}

// However often and wherever the rules are applied, they raise what one pass over
// the history raises; an alarm stands in its site's chain, names what set it off,
// and the chain is whole.
func TestAlarmsAreThoseOfOnePassOverTheHistory(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		draw := rand.New(rand.NewPCG(7, 1954))
		clock := storetest.Occurred
		storetest.Record(t, s, inTime(&clock, watchedWork(draw, 40, 0.05))...)
		lots, sites, late := alarmRule(t, "GALL-LOT", history), alarmRule(t, "GALL-SITE", history, bySite), alarmRule(t, "GALL-NEW")
		before := map[string]bool{}
		for _, kind := range []ledger.RecordKind{ledger.KindTightening, ledger.KindIncident} {
			for _, r := range everyRecord(t, s, kind) {
				before[r.Head().ID.String()] = true
			}
		}
		registerRules(t, s, lots, sites, late)
		for range 12 {
			storetest.Record(t, s, inTime(&clock, watchedWork(draw, 30, 0.03))...)
			if draw.IntN(2) == 0 {
				advance(t, s)
			}
		}
		advance(t, s)
		for _, rule := range []ledger.AlarmRule{lots, sites} {
			want := expectedAlarms(t, s, rule, nil)
			if len(want) != 2 {
				t.Fatalf("the history raises nothing: %v", want)
			}
			wantAlarms(t, s, rule, want)
		}
		wantAlarms(t, s, late, expectedAlarms(t, s, late, func(r ledger.Record) bool { return before[r.Head().ID.String()] }))
		for _, a := range alarmsOf(t, s, "GALL-LOT") {
			cause, err := s.FindRecord(t.Context(), ledger.KindIncident, a.Cause)
			if err != nil {
				t.Fatal(err)
			}
			if i := cause.(*ledger.Incident); i.Lot != a.Lot || i.SiteCode() != a.Site || !i.OccurTime.Equal(a.OccurTime) || i.OffsetMinutes != a.OffsetMinutes ||
				a.Threshold != float64(lots.Plan.Threshold) || a.Person != "" || !strings.Contains(a.Sentence, "lot "+a.Lot+" had ") {
				t.Errorf("alarm %+v of %+v", a, i)
			}
		}
		n := len(everyRecord(t, s, ledger.KindAlarm))
		advance(t, s)
		if again := len(everyRecord(t, s, ledger.KindAlarm)); again != n {
			t.Errorf("%d alarms, then %d with nothing new", n, again)
		}
		soundReport(t, s)
	})
}

// Two servers on one database count each record once for a rule, and raise each
// alarm once, in the order of the chain.
func TestTwoServersRaiseEachAlarmOnce(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		first := storetest.OpenFleet(t, c)
		second := storetest.Open(t, c)
		rule := alarmRule(t, "GALL-SITE", bySite)
		registerRules(t, first, rule, alarmRule(t, "GALL-LOT"))
		var recording, advancing sync.WaitGroup
		done := make(chan struct{})
		for i, s := range []*store.Store{first, second, first, second} {
			recording.Go(func() {
				draw := rand.New(rand.NewPCG(3, uint64(i)))
				for range 10 {
					outcomes, err := s.Record(context.Background(), watchedWork(draw, 6, 0.06), store.Change{})
					if err != nil {
						t.Error(err)
						return
					}
					for _, o := range outcomes {
						if o.State != store.Taken {
							t.Errorf("%v", o.Err)
						}
					}
				}
			})
			advancing.Go(func() {
				for {
					if _, err := s.AdvanceAlarms(context.Background()); err != nil {
						t.Error(err)
					}
					select {
					case <-done:
						return
					case <-time.After(5 * time.Millisecond):
					}
				}
			})
		}
		recording.Wait()
		close(done)
		advancing.Wait()
		advance(t, second)
		want := expectedAlarms(t, first, rule, nil)
		if len(want[storetest.Denver]) < 2 {
			t.Fatalf("the history raises next to nothing: %v", want)
		}
		wantAlarms(t, first, rule, want)
		// No lot's attempt is counted twice: what its alarms counted does not overlap.
		counted := map[string]int64{}
		for _, a := range alarmsOf(t, first, "GALL-LOT") {
			counted[a.Lot] += a.Attempts
		}
		for lot, n := range counted {
			counts, err := first.Counts(t.Context(), analysis.CountQuery{Filters: []analysis.GroupValue{{Grouping: analysis.ByLot, Value: lot}}})
			if err != nil || len(counts) != 1 || n > counts[0].Attempts() {
				t.Errorf("lot %s: alarms count %d attempts, the records have %v (%v)", lot, n, counts, err)
			}
		}
		soundReport(t, first)
	})
}

// Of a record and its replacements one counts: what stood when the rule came by.
func TestCorrectionsAndAlarms(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		rule := alarmRule(t, "G", bySite, func(r *ledger.AlarmRule) { r.InControl, r.OutOfControl, r.RunLength = 0.01, 0.3, 1000 })
		registerRules(t, s, rule)
		galled := func() *ledger.Incident { return storetest.NewIncident(ledger.Galling, storetest.DenverJoint) }
		correct := func(old ledger.Record, with ledger.Record) {
			t.Helper()
			c := &ledger.Correction{Entry: storetest.NewTightening(storetest.DenverJoint).Entry, Corrects: old.Head().ID, Reason: "misread"}
			if with != nil {
				c.With, c.Replacement = with, with.Head().ID
			}
			storetest.Record(t, s, c)
		}
		alarms := func(n int, what string) {
			t.Helper()
			advance(t, s)
			if got := len(alarmsOf(t, s, "G")); got != n {
				t.Fatalf("%s: %d alarms; expected %d", what, got, n)
			}
		}
		// How many galled fasteners in a row raise it, by hand from the plan.
		step := rule.Plan.Gain - rule.Plan.Drift
		needed := int((rule.Plan.Threshold - rule.Plan.Start + step - 1) / step)
		if needed < 2 {
			t.Fatalf("%d failures raise it: nothing to tell apart", needed)
		}
		for range needed - 1 {
			storetest.Record(t, s, galled())
		}
		alarms(0, "one short")
		// Withdrawn before the rule comes by: it counts for nothing.
		withdrawn := galled()
		storetest.Record(t, s, withdrawn)
		correct(withdrawn, nil)
		alarms(0, "withdrawn before it was counted")
		// Replaced twice before the rule comes by: the last one counts, once.
		first, between, last := galled(), galled(), galled()
		storetest.Record(t, s, first)
		correct(first, between)
		correct(between, last)
		alarms(1, "replaced before it was counted")
		if a := alarmsOf(t, s, "G")[0]; a.Cause != last.ID || a.Failures != int64(needed) {
			t.Errorf("%+v; expected %d failures, the last %s", a, needed, last.ID)
		}
		// Counted already: neither its withdrawal nor a replacement changes anything.
		for range needed - 1 {
			counted := galled()
			storetest.Record(t, s, counted)
			alarms(1, "one short again")
			correct(counted, galled())
			alarms(1, "replaced after it was counted")
		}
		storetest.Record(t, s, galled())
		alarms(2, "the next failure")
		alarm := alarmsOf(t, s, "G")[1]
		outcomes, err := s.Record(t.Context(), []ledger.Record{&ledger.Correction{
			Entry: storetest.NewTightening(storetest.DenverJoint).Entry, Corrects: alarm.ID, Reason: "no"}}, store.Change{})
		wantStates(t, outcomes, err, store.Refused)
		if e := wantError(t, outcomes[0].Err, ledger.KindInvalid, ledger.ReasonInvalidField); !strings.Contains(e.Fields[0].Description, "alarm is answered by a decision") {
			t.Errorf("%v", e.Fields)
		}
		soundReport(t, s)
	})
}

// A rule that was stopped raises nothing, and goes on from where it stood.
func TestStoppedRulesAndVerdicts(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		rule := alarmRule(t, "G")
		trial := alarmRule(t, "TRIAL", onTrial)
		registerRules(t, s, rule, trial)
		set := func(active bool) {
			t.Helper()
			if _, err := s.UpdateAlarmRule(t.Context(), "G", 0, store.Change{}, func(r *ledger.AlarmRule) error { r.Active = active; return nil }); err != nil {
				t.Fatal(err)
			}
		}
		set(false)
		var work []ledger.Record
		for range 8 {
			work = append(work, storetest.NewIncident(ledger.Galling, storetest.DenverJoint),
				storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Fasteners, r.Lot = 100, storetest.OtherStainlessLot }))
		}
		storetest.Record(t, s, work...)
		advance(t, s)
		if n := len(alarmsOf(t, s, "G")); n != 0 {
			t.Errorf("%d alarms of a stopped rule", n)
		}
		set(true)
		advance(t, s)
		wantAlarms(t, s, rule, expectedAlarms(t, s, rule, nil))
		// Wald's line of refusal, by its formula: log((1−β)/α) over the logarithm of the
		// ratio of odds, plus the slope times the attempts, all of which failed.
		list := alarmsOf(t, s, "TRIAL")
		if len(list) != 1 || list[0].Lot != storetest.StainlessLot || list[0].Failures != list[0].Attempts || list[0].Statistic < list[0].Threshold || list[0].Statistic >= list[0].Threshold+1 {
			t.Fatalf("%d alarms of the trial: %+v", len(list), list)
		}
		if want := trial.Plan.RejectIntercept + trial.Plan.Slope*float64(list[0].Attempts); list[0].Threshold != want {
			t.Errorf("threshold %v; expected %v", list[0].Threshold, want)
		}
		storetest.Record(t, s, watchedWork(rand.New(rand.NewPCG(1, 1)), 80, 0.1)...)
		advance(t, s)
		if n := len(alarmsOf(t, s, "TRIAL")); n != 1 {
			t.Errorf("%d alarms of the trial of a lot that has its verdict and of one that was accepted", n)
		}
	})
}

// Whoever reads on from a position gets every alarm once, in the order of each
// chain, however few at a time.
func TestAlarmsAfterAPosition(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		registerRules(t, s, alarmRule(t, "A", bySite), alarmRule(t, "B"))
		draw := rand.New(rand.NewPCG(11, 12))
		all, some := store.AlarmPosition{}, store.AlarmPosition{}
		var seen, filtered []string
		read := func(f store.AlarmFilter, p store.AlarmPosition, into *[]string) store.AlarmPosition {
			t.Helper()
			for {
				list, err := s.AlarmsAfter(t.Context(), f, p, 2)
				if err != nil {
					t.Fatal(err)
				}
				if len(list) == 0 {
					return p
				}
				for _, a := range list {
					if p[a.SiteKey] >= a.Sequence {
						t.Fatalf("%d comes after %d", a.Sequence, p[a.SiteKey])
					}
					p[a.SiteKey] = a.Sequence
					*into = append(*into, a.ID.String())
				}
				var err2 error
				if p, err2 = store.ParseAlarmPosition(p.String()); err2 != nil {
					t.Fatal(err2)
				}
			}
		}
		for range 8 {
			storetest.Record(t, s, watchedWork(draw, 30, 0.06)...)
			advance(t, s)
			all = read(store.AlarmFilter{}, all, &seen)
			some = read(store.AlarmFilter{Rules: []string{"B"}, Sites: []string{storetest.Kolkata}}, some, &filtered)
		}
		var want, wantFiltered []string
		for _, r := range everyRecord(t, s, ledger.KindAlarm) {
			want = append(want, r.Head().ID.String())
			if a := r.(*ledger.Alarm); a.Rule == "B" && a.Site == storetest.Kolkata {
				wantFiltered = append(wantFiltered, r.Head().ID.String())
			}
		}
		slices.Sort(want)
		slices.Sort(seen)
		if len(want) < 5 || !slices.Equal(seen, want) || len(wantFiltered) == 0 || !slices.Equal(filtered, wantFiltered) {
			t.Errorf("%d of %d alarms, %d of %d filtered", len(seen), len(want), len(filtered), len(wantFiltered))
		}
		now, err := s.AlarmsSoFar(t.Context())
		if err != nil || fmt.Sprint(now) != fmt.Sprint(all) {
			t.Errorf("so far %v (%v); read up to %v", now, err, all)
		}
		_, err = s.AlarmsAfter(t.Context(), store.AlarmFilter{Rules: []string{"AB"}}, nil, 1)
		wantUnknown(t, err, "alarmRules/AB", "A")
		for _, damaged := range []string{"1", "1.", ".1", "0.1", "1.0", "-1.3", "1.2,", "zzzzzz.1"} {
			if p, err := store.ParseAlarmPosition(damaged); err == nil {
				t.Errorf("position %q is %v", damaged, p)
			}
		}
	})
}

// A running store applies its rules by itself, and stops when it is closed.
func TestAlarmsAreRaisedWithoutAsking(t *testing.T) {
	t.Parallel()
	s := storetest.OpenFleet(t, storetest.SQLite().NewConfig(t))
	registerRules(t, s, alarmRule(t, "G"))
	s.RunAlarms()
	news := s.AlarmNews()
	for range 6 {
		storetest.Record(t, s, storetest.NewIncident(ledger.Galling, storetest.DenverJoint))
	}
	select {
	case <-news:
	case <-time.After(20 * time.Second):
		t.Fatal("no alarm")
	}
	if len(alarmsOf(t, s, "G")) == 0 {
		t.Error("told of an alarm that is not there")
	}
}

// What is handed in from files comes one kind after the other: it is counted in
// the order in which it happened, once no more comes.
func TestWhatIsHandedInIsCountedInItsOrder(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		rule := alarmRule(t, "G")
		registerRules(t, s, rule)
		clock := storetest.Occurred
		var tightenings, incidents []ledger.Record
		for i := range 60 {
			tightenings = append(tightenings, storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.OccurTime, r.Fasteners, r.Offline = clock, 100, true }))
			if i%6 == 0 {
				incidents = append(incidents, storetest.NewIncident(ledger.Galling, storetest.DenverJoint, func(r *ledger.Incident) { r.OccurTime, r.Offline = clock.Add(time.Minute), true }))
			}
			clock = clock.Add(time.Hour)
		}
		storetest.Record(t, s, tightenings...)
		advance(t, s)
		storetest.Record(t, s, incidents...)
		advance(t, s)
		if n := len(alarmsOf(t, s, "G")); n != 0 {
			t.Errorf("%d alarms before everything was handed in", n)
		}
		later := time.Now().Add(time.Minute)
		for range 2 {
			if _, err := s.AdvanceAlarmsAt(t.Context(), later); err != nil {
				t.Fatal(err)
			}
		}
		// One failure in 600 attempts, where 12 are usual; one after the other they
		// would have raised an alarm.
		if n := len(alarmsOf(t, s, "G")); n != 0 {
			t.Errorf("%d alarms of work that is better than usual", n)
		}
		for range 6 {
			storetest.Record(t, s, storetest.NewIncident(ledger.Galling, storetest.DenverJoint, func(r *ledger.Incident) { r.OccurTime, r.Offline = clock, true }))
		}
		advance(t, s)
		if n := len(alarmsOf(t, s, "G")); n != 0 {
			t.Errorf("%d alarms of what is still coming", n)
		}
		if _, err := s.AdvanceAlarmsAt(t.Context(), later); err != nil {
			t.Fatal(err)
		}
		wantAlarms(t, s, rule, expectedAlarms(t, s, rule, nil))
		if n := len(alarmsOf(t, s, "G")); n == 0 {
			t.Error("no alarm of six failures in a row")
		}
	})
}
