package analysis

import (
	"fmt"
	"strconv"

	"jointledger/internal/sequential"
)

// describeAlarmPlan says in plain words what the alarm buys and how it counts.
func describeAlarmPlan(a *AlarmPlanAnswer, o AlarmOptions) {
	p := a.Plan
	unit, look, event := "attempt", "Each attempt takes", "failure"
	rate := func(r float64) string { return trendNumber(1000*r) + " per 1,000 attempts" }
	if o.PerExposure {
		unit, event = o.ExposureUnit, "event"
		look = trendUnits(p.Look, unit) + " without one take"
		if trendNumber(p.Look) == "1" {
			look += "s"
		}
		rate = func(r float64) string { return trendNumber(r) + " per " + o.ExposureUnit }
	}
	wolf, found := a.FalseAlarm.Length, a.Found.Length
	if a.FalseAlarm.InRecords != nil && a.Found.InRecords != nil {
		wolf, found = *a.FalseAlarm.InRecords, *a.Found.InRecords
	}
	a.Headline = fmt.Sprintf("One false alarm in about %s while the rate is %s; a rate of %s, %s, is found after about %s, with about %s among them.",
		trendUnits(alarmAbout(wolf, 3), unit), rate(p.InControl), rate(p.OutOfControl), alarmRatio(a.Found.Ratio),
		trendUnits(alarmAbout(found, 3), unit), trendUnits(alarmAbout(found*p.OutOfControl, 2), event))
	a.Points = fmt.Sprintf("%s %s away, each %s brings %s, and the sum never falls below 0. The alarm comes at %s: %s one after another do it.",
		look, trendCounted(p.Drift, "point"), event, trendCounted(p.Gain, "point"), trendCounted(p.Threshold, "point"), trendCounted(a.FailuresInARow, event))
	if p.Start > 0 {
		a.Points += fmt.Sprintf(" It begins at %s.", trendCounted(p.Start, "point"))
	}
	a.Method = "Bernoulli CUSUM (Reynolds and Stoumbos 1999) in whole points; average run lengths by its Markov chain (Brook and Evans 1972)"
	a.Assumption = "Every attempt fails with the same probability, independently of the others, until the rate changes and from then on; the in-control rate is known."
	if p.Model == sequential.Poisson {
		a.Method = "Poisson CUSUM (Lucas 1985) in whole points; average run lengths by its Markov chain (Brook and Evans 1972)"
		a.Assumption = "Events come independently of each other at one rate until the rate changes and from then on; the in-control rate is known."
	}
	a.Cautions = alarmCautions(a, o)
}

// alarmAbout rounds to so many significant digits: what is said to be about
// something should not look exact.
func alarmAbout(x float64, digits int) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'e', digits-1, 64), 64)
	if err != nil {
		return x
	}
	return rounded
}

func alarmRatio(ratio float64) string {
	switch {
	case ratio > 1.99 && ratio < 2.01:
		return "the double"
	case ratio > 2.99 && ratio < 3.01:
		return "three times as high"
	}
	return trendNumber(ratio) + " times as high"
}

func alarmCautions(a *AlarmPlanAnswer, o AlarmOptions) []string {
	p := a.Plan
	cautions := []string{"A run length is an average: half of the false alarms come sooner than about 0.7 of it, and now and then one comes at once."}
	switch {
	case o.PerExposure:
		cautions = append(cautions, "Run lengths are for looks at equal exposures; shorter looks give false alarms a little sooner, longer ones find a rise a little later.")
	case o.RecordSize > 1 && a.FalseAlarm.InRecords == nil:
		cautions = append(cautions, "The run lengths in records of several fasteners are too long to be reckoned; those stated are for single attempts, and both are longer in records.")
	case o.RecordSize > 1:
		cautions = append(cautions, fmt.Sprintf("Run lengths are for records of %d fasteners, looked at when complete, since the order within a record is not known; fastener by fastener they would be %s and %s.",
			o.RecordSize, trendNumber(alarmAbout(a.FalseAlarm.Length, 3)), trendNumber(alarmAbout(a.Found.Length, 3))))
	default:
		cautions = append(cautions, "Run lengths are for single attempts. A record of several fasteners is looked at when complete, whatever the order within: false alarms are then no more frequent, and a raised rate is found later, by up to a record or somewhat more.")
	}
	if off := a.TunedRate/p.OutOfControl - 1; off > 0.02 || off < -0.02 {
		cautions = append(cautions, fmt.Sprintf("In whole points the alarm is tuned to a rate %s times the in-control one; the run lengths stated allow for it.", trendNumber(a.TunedRate/p.InControl)))
	}
	if a.FailuresInARow < 2 {
		cautions = append(cautions, "A single failure raises this alarm: ask for a longer run length, or a raised rate nearer to the usual one.")
	}
	return append(cautions, "The in-control rate is taken as known. If it was estimated from few failures, or failures come in clusters, false alarms are more frequent than stated.")
}
