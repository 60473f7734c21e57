package analysis_test

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/sequential"
)

// A counter that is advanced record by record, and kept as whole numbers between,
// is where RunAlarm is after the same rows, and signals at the same ones.
func TestAdvanceAlarmIsRunAlarmRowByRow(t *testing.T) {
	draw := rand.New(rand.NewPCG(1954, 41))
	for range 40 {
		r := ledger.AlarmRule{Code: "G", Grouping: ledger.AlarmByLot, InControl: 0.002 + 0.05*draw.Float64()}
		r.OutOfControl = r.InControl * (1.5 + 4*draw.Float64())
		if err := analysis.PlanAlarmRule(&r); err != nil {
			t.Fatal(err)
		}
		plan := sequential.Plan{Model: sequential.Bernoulli, InControl: r.InControl, OutOfControl: r.OutOfControl, Look: 1,
			Gain: r.Plan.Gain, Drift: r.Plan.Drift, Threshold: r.Plan.Threshold, Start: r.Plan.Start}
		var rows []analysis.TrendRow
		for i := range 600 {
			row := analysis.TrendRow{Label: strconv.Itoa(i), Attempts: 1 + draw.Int64N(12)}
			for range row.Attempts {
				if draw.Float64() < 2*r.InControl {
					row.Failures++
				}
			}
			rows = append(rows, row)
		}
		run, err := analysis.RunAlarm(rows, plan, "")
		if err != nil {
			t.Fatal(err)
		}
		state, signals := analysis.BeginAlarm(&r), 0
		for _, row := range rows {
			var raised *analysis.AlarmRaised
			if state, raised, err = analysis.AdvanceAlarm(&r, state, row.Failures, row.Attempts); err != nil {
				t.Fatal(err)
			}
			if raised == nil {
				continue
			}
			if signals == len(run.Signals) {
				t.Fatalf("alarm at %s too many", row.Label)
			}
			want := run.Signals[signals]
			if row.Label != want.Label || raised.Failures != want.Failures || raised.Attempts != want.Attempts || raised.Statistic != want.Points {
				t.Errorf("%+v at %s; expected %+v", raised, row.Label, want)
			}
			signals++
		}
		if signals != len(run.Signals) || float64(state.Points) != run.State.Points || state.Failures != run.State.SinceFailures || state.Signals != run.State.Signals {
			t.Errorf("%d alarms, %+v; expected %d, %+v", signals, state, len(run.Signals), run.State)
		}
	}
}

// A. Wald, Sequential Analysis (1947), 5.3: h1 = ln((1−α)/β)/k, h2 = ln((1−β)/α)/k
// with k = ln(p1(1−p0)/(p0(1−p1))), worked here by hand from the formula.
func TestAlarmRuleOnTrial(t *testing.T) {
	r := ledger.AlarmRule{Code: "T", Grouping: ledger.AlarmByLot, Test: ledger.AlarmSPRT, InControl: 0.1, OutOfControl: 0.3, Alpha: 0.02, Beta: 0.03}
	if err := analysis.PlanAlarmRule(&r); err != nil {
		t.Fatal(err)
	}
	k := math.Log(0.3 * 0.9 / (0.1 * 0.7))
	if math.Abs(r.Plan.RejectIntercept-math.Log(0.97/0.02)/k) > 1e-12 || math.Abs(r.Plan.AcceptIntercept-math.Log(0.98/0.03)/k) > 1e-12 || len(r.Kinds) != 6 {
		t.Errorf("%+v", r)
	}
	state, raised, err := analysis.AdvanceAlarm(&r, analysis.BeginAlarm(&r), 20, 20)
	if err != nil || raised == nil || state.Verdict == 0 || state.Signals != 1 {
		t.Fatalf("%+v, %+v, %v", state, raised, err)
	}
	if again, more, err := analysis.AdvanceAlarm(&r, state, 20, 20); err != nil || more != nil || again != state {
		t.Errorf("after its verdict: %+v, %+v, %v", again, more, err)
	}
	accepted, raised, err := analysis.AdvanceAlarm(&r, analysis.BeginAlarm(&r), 0, 200)
	if err != nil || raised != nil || accepted.Verdict == 0 || accepted.Signals != 0 {
		t.Errorf("no failures in 200: %+v, %+v, %v", accepted, raised, err)
	}
	for _, bad := range []ledger.AlarmRule{{InControl: 0}, {InControl: math.NaN()}, {InControl: 0.2, OutOfControl: 0.1}, {InControl: 0.2, OutOfControl: 0.201}, {InControl: 0.5}, {InControl: 0.01, RunLength: 2}} {
		if err := analysis.PlanAlarmRule(&bad); err == nil || len(ledger.AsError(err).Fields) != 1 {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}
