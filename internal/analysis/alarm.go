package analysis

import (
	"fmt"
	"math"

	"jointledger/internal/sequential"
	"jointledger/internal/stats"
)

// alarmFailuresBetween is how many failures pass between two false alarms on
// average when nothing else is asked for; a choice of ours, no source.
const alarmFailuresBetween = 50

// AlarmOptions says what an alarm shall find, and how rarely it may cry wolf.
type AlarmOptions struct {
	// PerExposure counts events per unit of exposure, in place of failures per
	// attempt; ExposureUnit names the unit, "unit of exposure" when empty.
	PerExposure  bool
	ExposureUnit string
	// InControl is the rate that is as it should be, OutOfControl the raised one to
	// be found soon: failures per attempt or events per unit. OutOfControl is twice
	// InControl when 0.
	InControl, OutOfControl float64
	// RunLength is the attempts, or the exposure, to a false alarm on average;
	// those with 50 failures when 0.
	RunLength float64
	// Look is the exposure between two looks; 1 when 0. Not for attempts.
	Look float64
	// RecordSize is how many fasteners a record usually has; 1 when 0. It changes no
	// threshold, but what is said of the run lengths. Not for exposure.
	RecordSize int64
	// HeadStart begins at half the threshold, KeepCounting does not begin anew after
	// a signal: see sequential.DesignOptions.
	HeadStart, KeepCounting bool
}

// AlarmPlanAnswer is an alarm with what it buys.
type AlarmPlanAnswer struct {
	Plan         sequential.Plan
	ExposureUnit string
	// RunLengths are from the in-control rate upwards: 1, 1.5, 2, 3 and 5 times it,
	// and the rate to be found.
	RunLengths []AlarmRunLength
	// FalseAlarm and Found are those of the in-control and the out-of-control rate.
	FalseAlarm, Found AlarmRunLength
	// TunedRate is the raised rate that the whole points fit exactly.
	TunedRate float64
	// FailuresInARow is how many failures one after another raise the alarm, from the
	// start.
	FailuresInARow int64
	// Headline says what the alarm buys, Points how it counts.
	Headline, Points   string
	Method, Assumption string
	Cautions           []string
}

// AlarmRunLength is how long a rate lasts on average until the alarm.
type AlarmRunLength struct {
	// Rate in failures per attempt or events per unit; Ratio to the in-control one.
	Rate, Ratio float64
	// Length in attempts or exposure, fastener by fastener or look by look.
	Length float64
	// InRecords is the same, still in attempts, for records of RecordSize, which are
	// looked at when complete; nil for records of one, or when it is too long to be
	// reckoned.
	InRecords *float64
}

// AlarmPlan finds the thresholds and reckons the run lengths. The error is a
// *stats.ArgumentError: rates in the wrong order or out of range, a run length out
// of range, rates too near together.
func AlarmPlan(o AlarmOptions) (AlarmPlanAnswer, error) {
	design, err := o.design()
	if err != nil {
		return AlarmPlanAnswer{}, err
	}
	a := AlarmPlanAnswer{ExposureUnit: o.ExposureUnit}
	if a.Plan, err = sequential.Design(design); err != nil {
		return AlarmPlanAnswer{}, err
	}
	if a.TunedRate, err = a.Plan.TunedRate(); err != nil {
		return AlarmPlanAnswer{}, err
	}
	for _, rate := range alarmRates(a.Plan) {
		r, err := alarmRunLength(a.Plan, rate, o.RecordSize)
		if err != nil {
			return AlarmPlanAnswer{}, err
		}
		a.RunLengths = append(a.RunLengths, r)
		switch rate {
		case a.Plan.InControl:
			a.FalseAlarm = r
		case a.Plan.OutOfControl:
			a.Found = r
		}
	}
	step := a.Plan.Gain
	if a.Plan.Model == sequential.Bernoulli {
		step -= a.Plan.Drift
	}
	a.FailuresInARow = (a.Plan.Threshold - a.Plan.Start + step - 1) / step
	describeAlarmPlan(&a, o)
	return a, nil
}

// design fills in what was left open. It checks what it divides by.
func (o *AlarmOptions) design() (sequential.DesignOptions, error) {
	if o.ExposureUnit == "" {
		o.ExposureUnit = "unit of exposure"
	}
	if !(o.InControl > 0) || math.IsInf(o.InControl, 1) {
		return sequential.DesignOptions{}, alarmBad("in-control rate", o.InControl, "must be a finite number above 0")
	}
	if o.OutOfControl == 0 {
		o.OutOfControl = 2 * o.InControl
	}
	if o.RecordSize == 0 {
		o.RecordSize = 1
	}
	if o.RecordSize < 1 || o.RecordSize > 10000 || o.PerExposure && o.RecordSize != 1 {
		return sequential.DesignOptions{}, alarmBad("size of a record", float64(o.RecordSize), "must be from 1 to 10000 fasteners, and is not for rates per exposure")
	}
	d := sequential.DesignOptions{Model: sequential.Bernoulli, InControl: o.InControl, OutOfControl: o.OutOfControl,
		Look: o.Look, HeadStart: o.HeadStart, KeepCounting: o.KeepCounting}
	if o.PerExposure {
		d.Model = sequential.Poisson
	}
	if d.Look == 0 {
		d.Look = 1
	}
	if !(d.Look > 0) || math.IsInf(d.Look, 1) {
		return sequential.DesignOptions{}, alarmBad("look", d.Look, "must be a finite number above 0")
	}
	length := o.RunLength
	if length == 0 {
		length = alarmFailuresBetween / o.InControl
	}
	d.RunLength = length / d.Look
	if o.RunLength == 0 {
		d.RunLength = max(d.RunLength, sequential.LeastRunLength)
	}
	return d, nil
}

func alarmBad(argument string, value float64, requirement string) error {
	return &stats.ArgumentError{Argument: argument, Value: fmt.Sprint(value), Requirement: requirement}
}

// alarmRates are those whose run lengths are told, in order; a rate that the model
// does not have is left out.
func alarmRates(p sequential.Plan) []float64 {
	rates := []float64{p.InControl}
	add := func(r float64) {
		last := rates[len(rates)-1]
		if r > last*(1+1e-9) && (p.Model == sequential.Poisson || r < 1) {
			rates = append(rates, r)
		}
	}
	wanted := false
	for _, ratio := range []float64{1.5, 2, 3, 5} {
		r := ratio * p.InControl
		if !wanted && r >= p.OutOfControl*(1-1e-9) {
			add(p.OutOfControl)
			wanted = true
		}
		add(r)
	}
	if !wanted {
		add(p.OutOfControl)
	}
	return rates
}

func alarmRunLength(p sequential.Plan, rate float64, size int64) (AlarmRunLength, error) {
	looks, err := p.RunLength(rate)
	if err != nil {
		return AlarmRunLength{}, err
	}
	r := AlarmRunLength{Rate: rate, Ratio: rate / p.InControl, Length: looks * p.Look}
	if size > 1 {
		// Too many levels to be reckoned is no reason to give no plan.
		if records, err := p.BatchRunLength(rate, size); err == nil {
			attempts := records * float64(size)
			r.InRecords = &attempts
		}
	}
	return r, nil
}
