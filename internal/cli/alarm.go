package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/countfile"
)

const alarmHelp = `A cumulative sum against a rise of a rate, made for an in-control rate that is as it
should be and an out-of-control one that is to be found soon; with the average run
lengths that it buys, and where it would have signalled in the rows.

With --test sprt, Wald's sequential test for a lot on trial: it accepts or refuses, and
ends with that. --alpha is its risk of refusing at the in-control rate, --beta that of
accepting at the out-of-control one.

Without --from, the rows are the days on the server's record, narrowed by --kind, --site,
--lot and so on, --since and --until; --out-of-control must then be given too. For an
alarm that goes off as records come in, see trackctl alarm-rule and trackctl watch.

` + historyFileHelp + `

In JSON, rates and run lengths of attempts are per attempt and in attempts, those of an
exposure per unit and in units. CSV lists the rows with where the sum or test stood.`

// alarmOptions are the flags of alarm.
type alarmOptions struct {
	from, test  string
	alpha, beta float64
	scope       *scope
	analysis.AlarmOptions
}

// alarmTests are the words of --test.
var alarmTests = []string{"cusum", "sprt"}

func (a *app) alarmCommand() *cobra.Command {
	o := &alarmOptions{test: alarmTests[0]}
	cmd := a.command("alarm", "An alarm against a rising rate: what it buys, and where it would have gone off", alarmHelp)
	cmd.Example = "  trackctl alarm --kind galling --site RVB --in-control 10/1000 --out-of-control 20/1000\n" +
		"  trackctl alarm --from records.csv --in-control 10/1000 --out-of-control 20/1000\n" +
		"  trackctl alarm --from trial.csv --in-control 0.01 --out-of-control 0.10 --test sprt --beta 0.10"
	f := newFields(cmd)
	fromFlag(f, &o.from, "rows in order of time")
	rateFlag(f, &o.InControl, "in-control", "the rate that is as it should be, failures per attempt or events per unit")
	rateFlag(f, &o.OutOfControl, "out-of-control", "the raised rate that is to be found soon; with --from, twice the in-control rate when not given")
	f.words("test", "", "cusum when not given", alarmTests, func(word string) error {
		i, err := chosen("test", alarmTests, word)
		if err == nil {
			o.test = alarmTests[i-1]
		}
		return err
	})
	aboveZeroFlag(f, &o.RunLength, "false-alarm-after", "attempts, or exposure, to a false alarm on average; those with 50 failures when not given")
	countFlag(f, &o.RecordSize, "record-size", 1, "fasteners that a record usually has, for what is said of the run lengths")
	aboveZeroFlag(f, &o.Look, "look", "exposure between two looks; 1 when not given")
	f.text(&o.ExposureUnit, "unit", "", "what exposure is measured in, in the singular, such as day or cell")
	for _, b := range []struct {
		dst        *bool
		name, help string
	}{
		{&o.HeadStart, "head-start", "begin at half the threshold, so that a rate raised from the beginning is found sooner"},
		{&o.KeepCounting, "keep-counting", "leave the sum as it is after an alarm; it begins anew when not given"},
	} {
		f.boolean(b.dst, b.name, "", b.help)
	}
	shareFlag(f, &o.alpha, "alpha", "risk of refusing at the in-control rate, of a sprt; 0.05 when not given")
	shareFlag(f, &o.beta, "beta", "risk of accepting at the out-of-control rate, of a sprt; 0.10 when not given")
	o.scope = newScope(f, true, scopeGroupings()...)
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		if err := o.check(f); err != nil {
			return err
		}
		if o.from == "" {
			return a.alarm(ctx, f, &recordDays{a: a, scope: o.scope}, o)
		}
		if err := o.scope.noFile(); err != nil {
			return err
		}
		return a.alarm(ctx, f, &fileSource{name: o.from, in: a.in}, o)
	})
}

// check refuses flags that belong to the other test.
func (o *alarmOptions) check(f *fields) error {
	needed := []string{"in-control"}
	if o.from == "" {
		needed = append(needed, "out-of-control")
	}
	if err := f.require(needed...); err != nil {
		return err
	}
	foreign := []string{"alpha", "beta"}
	other := "sprt"
	if o.test == "sprt" {
		foreign, other = []string{"false-alarm-after", "record-size", "look", "head-start", "keep-counting"}, "cusum"
	}
	for _, name := range foreign {
		if f.isGiven(name) {
			return usage("--%s belongs to --test %s", name, other)
		}
	}
	return nil
}

// alarmFlags are the flags of what an alarm may find out of range.
var alarmFlags = map[string]string{
	"in-control rate": "in-control", "out-of-control rate": "out-of-control", "wanted run length": "false-alarm-after",
	"size of a record": "record-size", "look": "look", "alpha": "alpha", "beta": "beta", "threshold": "false-alarm-after",
}

func (a *app) alarm(ctx context.Context, f *fields, source historySource, o *alarmOptions) error {
	history, err := source.History(ctx)
	if err != nil {
		return err
	}
	o.PerExposure = history.PerExposure
	for _, name := range []string{"unit", "look"} {
		if f.isGiven(name) && !o.PerExposure {
			return usage("--%s belongs to an exposure, and %s has attempts", name, source.Name())
		}
	}
	if o.test == "sprt" {
		return a.sprt(source, history, o)
	}
	plan, err := analysis.AlarmPlan(o.AlarmOptions)
	if err != nil {
		return analysisFailure(err, source, alarmFlags)
	}
	run, err := analysis.RunAlarm(history.Rows, plan.Plan, plan.ExposureUnit)
	if err != nil {
		return analysisFailure(err, source, nil)
	}
	run.Cautions = append(history.Cautions, run.Cautions...)
	return a.tellAlarm(&alarmShown{plan: plan, run: run, perExposure: o.PerExposure})
}

func (a *app) sprt(source historySource, history *countfile.History, o *alarmOptions) error {
	if o.OutOfControl == 0 {
		o.OutOfControl = 2 * o.InControl
	}
	answer, err := analysis.SPRT(history.Rows, analysis.SPRTOptions{
		PerExposure: o.PerExposure, ExposureUnit: o.ExposureUnit, InControl: o.InControl, OutOfControl: o.OutOfControl, Alpha: o.alpha, Beta: o.beta,
	})
	if err != nil {
		return analysisFailure(err, source, alarmFlags)
	}
	answer.Cautions = append(history.Cautions, answer.Cautions...)
	return a.tellSPRT(answer, o.PerExposure)
}

// sizeText writes attempts or an exposure for a person.
func sizeText(perExposure bool, attempts int64, exposure float64) string {
	if perExposure {
		return threeDigits(exposure)
	}
	return fmt.Sprint(attempts)
}
