package analysis_test

import (
	"errors"
	"math"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"jointledger/internal/analysis"
	"jointledger/internal/sequential"
	"jointledger/internal/stats"
)

func alarmOf(t *testing.T, o analysis.AlarmOptions) analysis.AlarmPlanAnswer {
	t.Helper()
	a, err := analysis.AlarmPlan(o)
	if err != nil {
		t.Fatal(err)
	}
	trendIsFinite(t, reflect.ValueOf(a))
	for _, text := range append([]string{a.Headline, a.Points}, a.Cautions...) {
		if strings.Contains(text, "%!") || !strings.HasSuffix(text, ".") {
			t.Errorf("no sentence: %q", text)
		}
	}
	return a
}

// The chain is held to published values in sequential; here the words must say
// what the plan has. With gain 69, and whatever threshold the wanted length of 2,000
// gives, the rounding formula of Reynolds and Stoumbos (1999), m ≈ r2/r1, is worked
// by hand: r1 = ln(0.99/0.98) = 0.010152, r2 = ln(0.02·0.99/(0.01·0.98)) = 0.703298,
// r2/r1 = 69.3.
func TestAlarmPlan(t *testing.T) {
	a := alarmOf(t, analysis.AlarmOptions{InControl: 0.01, RunLength: 2000})
	if a.Plan.Gain != 69 || a.Plan.Drift != 1 || a.Plan.OutOfControl != 0.02 {
		t.Errorf("plan %+v", a.Plan)
	}
	if a.FalseAlarm.Length < 2000 || a.FalseAlarm.Length > 2100 || a.Found.Length >= a.FalseAlarm.Length/3 || a.FalseAlarm.InRecords != nil {
		t.Errorf("%+v, %+v", a.FalseAlarm, a.Found)
	}
	if !strings.HasPrefix(a.Headline, "One false alarm in about 2,0") || !strings.Contains(a.Headline, "20 per 1,000 attempts, the double, is found after about "+strconv.FormatFloat(a.Found.Length, 'f', 0, 64)[:2]) {
		t.Error(a.Headline)
	}
	if a.FailuresInARow != 3 || !strings.Contains(a.Points, "brings 69 points") {
		t.Errorf("%d; %s", a.FailuresInARow, a.Points)
	}
	for i := 1; i < len(a.RunLengths); i++ {
		if a.RunLengths[i].Rate <= a.RunLengths[i-1].Rate || a.RunLengths[i].Length >= a.RunLengths[i-1].Length {
			t.Errorf("run lengths do not fall: %+v", a.RunLengths)
		}
	}
	if len(a.RunLengths) != 5 {
		t.Errorf("%d run lengths", len(a.RunLengths))
	}

	r := alarmOf(t, analysis.AlarmOptions{InControl: 0.01, RunLength: 2000, RecordSize: 8})
	if r.Plan != a.Plan {
		t.Errorf("the size of records changed the plan: %+v", r.Plan)
	}
	for i, l := range r.RunLengths {
		if l.InRecords == nil || *l.InRecords < a.RunLengths[i].Length {
			t.Errorf("in records %+v", l)
		}
	}
	h := alarmOf(t, analysis.AlarmOptions{InControl: 0.01, RunLength: 2000, HeadStart: true})
	if h.Plan.Start != h.Plan.Threshold/2 || h.Found.Length >= a.Found.Length {
		t.Errorf("a head start finds it after %v, none after %v", h.Found.Length, a.Found.Length)
	}
	e := alarmOf(t, analysis.AlarmOptions{PerExposure: true, ExposureUnit: "day", InControl: 0.1, OutOfControl: 0.25, Look: 7})
	if e.FalseAlarm.Length < 500 || !strings.Contains(e.Headline, " days while the rate is 0.1 per day") {
		t.Error(e.Headline)
	}
	alarmOf(t, analysis.AlarmOptions{InControl: 0.4, OutOfControl: 0.9})
	alarmOf(t, analysis.AlarmOptions{InControl: 0.0005, RunLength: 1e6, RecordSize: 8})
}

func TestRunAlarm(t *testing.T) {
	plan := sequential.Plan{Model: sequential.Bernoulli, InControl: 0.05, OutOfControl: 0.2, Look: 1, Gain: 10, Drift: 1, Threshold: 25}
	rows := []analysis.TrendRow{
		{Label: "a", Attempts: 12}, {Label: "b", Failures: 2, Attempts: 8}, {Label: "c"},
		{Label: "d", Attempts: 4}, {Label: "e", Failures: 3, Attempts: 6}, {Label: "f", Failures: 1, Attempts: 5},
	}
	a, err := analysis.RunAlarm(rows, plan, "")
	if err != nil {
		t.Fatal(err)
	}
	trendIsFinite(t, reflect.ValueOf(a))
	// Worked by hand: 0, 12, 12, 8, 32 and the alarm, 5.
	for i, want := range []float64{0, 12, 12, 8, 32, 5} {
		if a.Steps[i].Points != want || a.Steps[i].Signal != (i == 4) {
			t.Errorf("step %d: %+v, expected %v", i, a.Steps[i], want)
		}
	}
	if len(a.Signals) != 1 {
		t.Fatalf("signals %+v", a.Signals)
	}
	if s := a.Signals[0]; s.Label != "e" || s.From != "b" || s.Failures != 5 || s.Attempts != 18 ||
		s.Sentence != "Alarm at e: 5 failures in 18 attempts since b, 278 per 1,000 attempts." {
		t.Errorf("signal %+v", s)
	}
	if a.State.Points != 5 || !strings.Contains(strings.Join(a.Cautions, " "), "for c:") {
		t.Errorf("state %+v, cautions %q", a.State, a.Cautions)
	}
	none, err := analysis.RunAlarm(nil, plan, "")
	if err != nil || none.Headline != "No rows: nothing to watch yet." {
		t.Errorf("%+v (%v)", none, err)
	}
	one, err := analysis.RunAlarm(rows[:1], plan, "")
	if err != nil || !strings.HasPrefix(one.Headline, "No alarm in 1 row; the sum stands at 0 of 25 points") {
		t.Errorf("%s (%v)", one.Headline, err)
	}
}

func TestAlarmRefuses(t *testing.T) {
	nan := math.NaN()
	plan := func(o analysis.AlarmOptions) error { _, err := analysis.AlarmPlan(o); return err }
	good, err := analysis.AlarmPlan(analysis.AlarmOptions{InControl: 0.01})
	if err != nil {
		t.Fatal(err)
	}
	run := func(p sequential.Plan, rows ...analysis.TrendRow) error {
		_, err := analysis.RunAlarm(rows, p, "")
		return err
	}
	for name, c := range map[string]struct {
		err  error
		want string
	}{
		"order":      {plan(analysis.AlarmOptions{InControl: 0.02, OutOfControl: 0.01}), "out-of-control rate is 0.01, but must be above the in-control rate, 0.02"},
		"rate 0":     {plan(analysis.AlarmOptions{}), "in-control rate"},
		"rate NaN":   {plan(analysis.AlarmOptions{InControl: nan}), "in-control rate"},
		"doubled":    {plan(analysis.AlarmOptions{InControl: 0.6}), "out-of-control rate"},
		"length":     {plan(analysis.AlarmOptions{InControl: 0.01, RunLength: -5}), "wanted run length"},
		"record":     {plan(analysis.AlarmOptions{InControl: 0.01, RecordSize: -1}), "size of a record"},
		"look":       {plan(analysis.AlarmOptions{InControl: 0.01, PerExposure: true, Look: nan}), "look"},
		"no plan":    {run(sequential.Plan{}), "model"},
		"x above n":  {run(good.Plan, analysis.TrendRow{Label: "W1", Failures: 3, Attempts: 2}), "failures of W1"},
		"order rows": {run(good.Plan, analysis.TrendRow{At: 5}, analysis.TrendRow{At: 4}), "place in time"},
	} {
		var argument *stats.ArgumentError
		if !errors.As(c.err, &argument) || !strings.HasPrefix(c.err.Error(), c.want) {
			t.Errorf("%s: %v", name, c.err)
		}
	}
}
