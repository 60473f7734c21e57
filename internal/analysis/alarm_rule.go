package analysis

import (
	"errors"
	"fmt"

	"jointledger/internal/ledger"
	"jointledger/internal/sequential"
	"jointledger/internal/stats"
)

// PlanAlarmRule fills in what a rule leaves open (every thread failure, a CUSUM,
// twice the in-control rate, the run length with 50 failures, the risks of an SPRT)
// and reckons its plan. What is wrong with the rule itself is Validate's to say.
// The error is a *ledger.Error that names the field: rates out of range, or too
// near together for any plan.
func PlanAlarmRule(r *ledger.AlarmRule) error {
	if len(r.Kinds) == 0 {
		r.Kinds = ledger.ThreadFailures()
	}
	if r.Test == 0 {
		r.Test = ledger.AlarmCUSUM
	}
	if r.OutOfControl == 0 {
		r.OutOfControl = 2 * r.InControl
	}
	if r.Test == ledger.AlarmSPRT {
		return planTest(r)
	}
	if r.RunLength == 0 && r.InControl > 0 {
		r.RunLength = max(alarmFailuresBetween/r.InControl, sequential.LeastRunLength)
	}
	a, err := AlarmPlan(AlarmOptions{InControl: r.InControl, OutOfControl: r.OutOfControl, RunLength: r.RunLength})
	if err != nil {
		return alarmRuleError(err)
	}
	r.Plan = ledger.AlarmPlan{
		Gain: a.Plan.Gain, Drift: a.Plan.Drift, Threshold: a.Plan.Threshold, Start: a.Plan.Start,
		FalseAlarmAttempts: a.FalseAlarm.Length, FoundAttempts: a.Found.Length, Summary: a.Headline,
	}
	return nil
}

// planTest plans an SPRT.
func planTest(r *ledger.AlarmRule) error {
	if r.Alpha == 0 {
		r.Alpha = sprtAlpha
	}
	if r.Beta == 0 {
		r.Beta = sprtBeta
	}
	t, err := sequential.NewTest(sequential.Bernoulli, r.InControl, r.OutOfControl, r.Alpha, r.Beta)
	if err != nil {
		return alarmRuleError(err)
	}
	low, err := t.AverageExposure(t.Low)
	if err != nil {
		return alarmRuleError(err)
	}
	high, err := t.AverageExposure(t.High)
	if err != nil {
		return alarmRuleError(err)
	}
	r.Plan = ledger.AlarmPlan{
		AcceptIntercept: t.AcceptIntercept, RejectIntercept: t.RejectIntercept, Slope: t.Slope, FalseAlarmAttempts: low, FoundAttempts: high,
		Summary: fmt.Sprintf("A verdict after about %s while the rate is %s per 1,000 attempts, with an alarm in %s %% of such cases; after about %s at %s per 1,000, where %s %% go unnoticed.",
			trendUnits(alarmAbout(low, 3), "attempt"), trendNumber(1000*r.InControl), trendNumber(100*r.Alpha),
			trendUnits(alarmAbout(high, 3), "attempt"), trendNumber(1000*r.OutOfControl), trendNumber(100*r.Beta)),
	}
	return nil
}

// alarmRuleFields gives the rule's field for each argument of the methods.
var alarmRuleFields = map[string]string{
	"in-control rate": "in_control_rate", "out-of-control rate": "out_of_control_rate",
	"wanted run length": "run_length_attempts", "alpha": "alpha", "beta": "beta",
}

// alarmRuleError says which field of the rule a method refuses.
func alarmRuleError(err error) error {
	var bad *stats.ArgumentError
	if !errors.As(err, &bad) {
		return err
	}
	field, ok := alarmRuleFields[bad.Argument]
	if !ok {
		field = "out_of_control_rate" // the rates make every other figure of the plan
	}
	return ledger.InvalidField("alarm rule", field, "%s", bad.Error())
}

// AlarmRaised is what a record did that raised an alarm.
type AlarmRaised struct {
	// Statistic reached Threshold: points, or failures of an SPRT.
	Statistic, Threshold float64
	// Failures in Attempts since the counter last stood at 0 or began.
	Failures, Attempts int64
}

// AdvanceAlarm takes one record into a counter of the rule: so many failures
// among so many attempts. It gives the counter as it was, and nothing raised, when
// an SPRT has come to its verdict already. The error is a *stats.ArgumentError for
// a plan, state or record out of range.
func AdvanceAlarm(r *ledger.AlarmRule, s ledger.AlarmState, failures, attempts int64) (ledger.AlarmState, *AlarmRaised, error) {
	if r.Test == ledger.AlarmSPRT {
		return advanceTest(r, s, failures, attempts)
	}
	plan := sequential.Plan{
		Model: sequential.Bernoulli, InControl: r.InControl, OutOfControl: r.OutOfControl, Look: 1,
		Gain: r.Plan.Gain, Drift: r.Plan.Drift, Threshold: r.Plan.Threshold, Start: r.Plan.Start,
	}
	next, signal, err := plan.Update(sequential.State{
		Points: float64(s.Points), Signals: s.Signals,
		SinceRecords: s.Records, SinceFailures: s.Failures, SinceExposure: float64(s.Attempts),
	}, failures, float64(attempts))
	if err != nil {
		return s, nil, err
	}
	// Points and attempts are whole numbers, far below 2^53.
	after := ledger.AlarmState{
		Points: int64(next.Points), Signals: next.Signals,
		Records: next.SinceRecords, Failures: next.SinceFailures, Attempts: int64(next.SinceExposure),
	}
	if signal == nil {
		return after, nil, nil
	}
	return after, &AlarmRaised{
		Statistic: signal.Points, Threshold: float64(plan.Threshold),
		Failures: signal.SinceFailures, Attempts: int64(signal.SinceExposure),
	}, nil
}

// advanceTest is AdvanceAlarm for an SPRT.
func advanceTest(r *ledger.AlarmRule, s ledger.AlarmState, failures, attempts int64) (ledger.AlarmState, *AlarmRaised, error) {
	if s.Verdict != 0 {
		return s, nil, nil
	}
	t := sequential.Test{
		Model: sequential.Bernoulli, Low: r.InControl, High: r.OutOfControl, Alpha: r.Alpha, Beta: r.Beta,
		AcceptIntercept: r.Plan.AcceptIntercept, RejectIntercept: r.Plan.RejectIntercept, Slope: r.Plan.Slope,
	}
	next := s
	next.Failures, next.Attempts, next.Records = s.Failures+failures, s.Attempts+attempts, s.Records+1
	verdict, err := t.Decide(next.Failures, float64(next.Attempts))
	if err != nil || verdict == sequential.Continue {
		return next, nil, err
	}
	next.Verdict = uint8(verdict)
	if verdict == sequential.Accept {
		return next, nil, nil
	}
	_, reject, err := t.Lines(float64(next.Attempts))
	if err != nil {
		return s, nil, err
	}
	next.Signals++
	return next, &AlarmRaised{Statistic: float64(next.Failures), Threshold: reject, Failures: next.Failures, Attempts: next.Attempts}, nil
}

// BeginAlarm is a counter of the rule before its first record.
func BeginAlarm(r *ledger.AlarmRule) ledger.AlarmState {
	return ledger.AlarmState{Points: r.Plan.Start}
}

// AlarmSentence says what an alarm of the rule means; what is the lot or site as a
// person calls it, such as "lot SX10-133".
func AlarmSentence(r *ledger.AlarmRule, what string, a *AlarmRaised) string {
	since := "since its counter last stood at 0"
	if r.Test == ledger.AlarmSPRT {
		since = "since its trial began"
	}
	return fmt.Sprintf("Alarm %s: %s had %s in %s %s, %s per 1,000 where %s is usual. The rate is likely raised; the alarm does not say why.",
		r.Code, what, trendCounted(a.Failures, "failure"), trendCounted(a.Attempts, "attempt"), since,
		trendNumber(1000*float64(a.Failures)/float64(a.Attempts)), trendNumber(1000*r.InControl))
}
