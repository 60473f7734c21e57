package analysis

import (
	"fmt"
	"strings"

	"jointledger/internal/sequential"
)

// AlarmRun is what an alarm made of a history.
type AlarmRun struct {
	Steps   []AlarmStep
	Signals []AlarmSignal
	// State is where the sum stands after the last row; the next record goes on from
	// it.
	State sequential.State
	// Headline is the answer in a sentence or two.
	Headline           string
	Method, Assumption string
	Cautions           []string
}

// AlarmStep is where the sum stood after a row. At a signal it is what was reached.
type AlarmStep struct {
	Label  string
	Points float64
	Signal bool
}

// AlarmSignal is one alarm.
type AlarmSignal struct {
	// Label is the row that raised it; From the first one after the sum last stood
	// at 0, or began: since then the rate is thought to have been raised (Page 1954).
	Label, From string
	// Failures in Attempts or Exposure from From to Label.
	Failures, Attempts int64
	Exposure           float64
	// Points reached.
	Points   float64
	Sentence string
}

// RunAlarm takes the rows in their order through the plan, from its beginning. No
// rows are no error. Rows without attempts or exposure change nothing. With a plan
// that keeps counting, each row at or above the threshold signals. The error is a
// *stats.ArgumentError that names the row, as for Trend, or says what is wrong with
// the plan.
func RunAlarm(rows []TrendRow, plan sequential.Plan, exposureUnit string) (AlarmRun, error) {
	if exposureUnit == "" {
		exposureUnit = "unit of exposure"
	}
	o := TrendOptions{PerExposure: plan.Model == sequential.Poisson, ExposureUnit: exposureUnit}
	if err := trendOrder(rows); err != nil {
		return AlarmRun{}, err
	}
	// An empty record shows whether the plan is sound before any row is blamed.
	if _, _, err := plan.Update(plan.Begin(), 0, 0); err != nil {
		return AlarmRun{}, err
	}
	a := AlarmRun{State: plan.Begin()}
	var empty []string
	for i, r := range rows {
		if err := o.checkRow(i, r); err != nil {
			return AlarmRun{}, err
		}
		if o.size(r) == 0 {
			empty = append(empty, trendLabel(i, r))
		}
		next, signal, err := plan.Update(a.State, r.Failures, o.size(r))
		if err != nil {
			return AlarmRun{}, err
		}
		a.State = next
		step := AlarmStep{Label: trendLabel(i, r), Points: next.Points}
		if signal != nil {
			step.Points, step.Signal = signal.Points, true
			a.Signals = append(a.Signals, alarmSignal(rows, i, signal, o))
		}
		a.Steps = append(a.Steps, step)
	}
	describeAlarmRun(&a, plan, o, empty)
	return a, nil
}

// alarmSignal reads the signal back to the row in which the rise began; rows that
// were empty do not count.
func alarmSignal(rows []TrendRow, i int, s *sequential.Signal, o TrendOptions) AlarmSignal {
	first := i
	for left := s.SinceRecords - 1; left > 0 && first > 0; {
		if first--; o.size(rows[first]) > 0 {
			left--
		}
	}
	a := AlarmSignal{Label: trendLabel(i, rows[i]), From: trendLabel(first, rows[first]), Failures: s.SinceFailures, Points: s.Points}
	rate := float64(s.SinceFailures) / s.SinceExposure
	var text string
	if o.PerExposure {
		a.Exposure = s.SinceExposure
		text = fmt.Sprintf("%s in %s", trendCounted(a.Failures, "event"), trendUnits(a.Exposure, o.ExposureUnit))
	} else {
		a.Attempts = int64(s.SinceExposure)
		rate *= 1000
		text = fmt.Sprintf("%s in %s", trendCounted(a.Failures, "failure"), trendCounted(a.Attempts, "attempt"))
	}
	a.Sentence = fmt.Sprintf("Alarm at %s: %s since %s, %s.", a.Label, text, a.From, o.rate(trendNumber(rate)))
	return a
}

func describeAlarmRun(a *AlarmRun, plan sequential.Plan, o TrendOptions, empty []string) {
	stands := fmt.Sprintf("the sum stands at %s of %s points", trendNumber(a.State.Points), trendThousands(plan.Threshold))
	switch {
	case len(a.Steps) == 0:
		a.Headline = "No rows: nothing to watch yet."
	case len(a.Signals) == 0:
		a.Headline = fmt.Sprintf("No alarm in %s; %s.", trendCounted(int64(len(a.Steps)), "row"), stands)
	case len(a.Signals) == 1:
		a.Headline = a.Signals[0].Sentence + " " + trendCapital(stands) + " now."
	default:
		a.Headline = fmt.Sprintf("%s. First: %s Last: %s %s now.", trendCounted(int64(len(a.Signals)), "alarm"),
			a.Signals[0].Sentence, a.Signals[len(a.Signals)-1].Sentence, trendCapital(stands))
	}
	a.Method = "Bernoulli CUSUM (Reynolds and Stoumbos 1999), each row taken in at once whatever the order within"
	if o.PerExposure {
		a.Method = "Poisson CUSUM (Lucas 1985)"
	}
	a.Method += "; the start of a rise where the sum last stood at 0 (Page 1954)"
	a.Assumption = "The plan's in-control rate is the usual one, and every failure and every fastener that went well is on record."
	if len(empty) > 0 {
		a.Cautions = append(a.Cautions, fmt.Sprintf("No %s on record for %s: such rows change nothing.", o.sizeName(), list(empty)))
	}
	if len(a.Signals) > 0 {
		a.Cautions = append(a.Cautions, strings.Join([]string{
			"The rate since the start of a rise is picked because it is high, so it overstates the true one.",
			"An alarm says that the rate is likely raised, not why: look at lot, tool, treatment, hands and weather of those rows.",
		}, " "))
		if plan.KeepCounting {
			a.Cautions = append(a.Cautions, "The sum goes on after an alarm: each row at or above the threshold counts as one, so several may be one and the same rise.")
		}
	}
}
