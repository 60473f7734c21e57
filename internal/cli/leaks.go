package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/countfile"
	"jointledger/internal/cli/output"
	pb "jointledger/proto/jointledger/v1"
)

const leaksHelp = `A sealing failed when a leak, a gap in the seal or a leak test that was not passed stands
on its joint after it and before the next sealing. Rates are given by bands of surface
temperature, margin over the dew point and time since cleaning, by splice and by solvent;
a logistic model allows for them all at once.

With --from FILE each row is a sealing: failed (0 or 1), and, where they are known,
surface_c, air_c and humidity_pct (from which the margin over the dew point is reckoned)
or dew_margin_c, hours_since_cleaning, splice, solvent, person, joint, site, day
(YYYY-MM-DD) and tested (0 or 1: the joint was leak-tested before the next sealing). An
empty cell, or a column that is missing, is what was not recorded.

In JSON and CSV a row is a band of a condition; its lower end belongs to it, its upper
one does not; "model" has the coefficients as the command model gives them, null when
there is none.`

// leakOptions are the flags of leaks.
type leakOptions struct {
	f        *fields
	from     string
	byPerson bool
	byName   bool
	analysis.LeakOptions
	scope *scope
}

func (a *app) leaksCommand() *cobra.Command {
	o := &leakOptions{}
	cmd := a.command("leaks", "Under which conditions of sealing seals fail", leaksHelp)
	cmd.Example = "  trackctl leaks --site RVB --since 2026-03-01\n  trackctl leaks --from sealings.csv -o json"
	o.f = newFields(cmd)
	fromFlag(o.f, &o.from, "sealings")
	confidenceFlag(o.f, &o.Confidence)
	o.f.boolean(&o.byPerson, "by-person", "by_person", "take in who sealed; needs --by-name")
	byNameFlag(o.f, &o.byName)
	o.scope = newScope(o.f, false, "site", "region")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		if o.byPerson {
			if err := checkByName(o.byName, analysis.ByPerson); err != nil {
				return err
			}
		}
		if o.from == "" {
			return a.leaksOnServer(ctx, o)
		}
		if err := o.scope.noFile(); err != nil {
			return err
		}
		source := &fileSource{name: o.from, in: a.in}
		rows, err := readFrom(source, countfile.ReadSealings)
		if err != nil {
			return err
		}
		o.ByPerson = o.byPerson
		answer, err := analysis.Leaks(rows, o.LeakOptions)
		if err != nil {
			return analysisFailure(err, source, nil)
		}
		return a.tellLeaks(answer, o.Confidence)
	})
}

func (a *app) leaksOnServer(ctx context.Context, o *leakOptions) error {
	conn, err := a.dial()
	if err != nil {
		return err
	}
	got, err := pb.NewComparisonServiceClient(conn).QueryLeaks(ctx, &pb.QueryLeaksRequest{
		Filters: o.scope.filters, StartDate: o.scope.since, EndDate: o.scope.until, Confidence: o.Confidence, ByPerson: o.byPerson, ByName: o.byName,
	})
	if err != nil {
		return a.callFailure(err, o.f.names())
	}
	return a.tellLeaks(leaksFrom(got), o.Confidence)
}

// leakRow is a band of a condition.
type leakRow struct {
	condition *analysis.LeakCondition
	analysis.LeakBand
}

func leakColumns(interval string) []output.Column[leakRow] {
	type row = leakRow
	number := func(name string, value func(row) *float64) output.Column[row] {
		return output.Column[row]{Name: name, Value: func(r row) any { return pointed(value(r)) }}
	}
	return []output.Column[row]{
		{Name: "condition", Heading: "CONDITION", Value: func(r row) any { return r.condition.Name }},
		{Name: "band", Heading: "BAND", Value: func(r row) any { return r.Name }},
		number("from", func(r row) *float64 { return r.From }),
		number("to", func(r row) *float64 { return r.To }),
		{Name: "not_recorded", Value: func(r row) any { return r.NotRecorded }},
		{Name: "failed", Value: func(r row) any { return r.Failed }},
		{Name: "sealings", Value: func(r row) any { return r.Sealings }},
		{Heading: "FAILED", Text: func(r row) string { return fmt.Sprintf("%d/%d", r.Failed, r.Sealings) }},
		{Name: "rate_per_1000", Heading: "PER 1000", Value: func(r row) any { return pointed(r.RatePer1000) }, Text: func(r row) string {
			if r.RatePer1000 == nil {
				return "-"
			}
			return threeDigits(*r.RatePer1000)
		}},
		{Heading: interval, Text: func(r row) string { return rangeText(threeDigits, r.LowerPer1000, r.UpperPer1000) }},
		number("lower_per_1000", func(r row) *float64 { return r.LowerPer1000 }),
		number("upper_per_1000", func(r row) *float64 { return r.UpperPer1000 }),
		number("p_value", func(r row) *float64 { return r.condition.PValue }),
		number("p_adjusted", func(r row) *float64 { return r.condition.PAdjusted }),
	}
}

// leakNotes are the names of the notes, besides those of every analysis.
var leakNotes = []string{"headline", "confidence", "sealings", "failed", "tested", "joints", "joints_never_tested", "joints_testing_unknown", "rate_per_1000", "lower_per_1000", "upper_per_1000", "model"}

func (a *app) tellLeaks(l analysis.LeakAnswer, confidence float64) error {
	confidence = orDefault(confidence, 0.95)
	words := analysisWords{headline: []string{l.Headline}, method: l.Method, assumption: l.Assumption, cautions: l.Cautions}
	if err := a.lead(words.headline); err != nil {
		return err
	}
	w, err := output.New(a.config(), "bands", leakColumns(percentText(confidence)+" INTERVAL"))
	if err != nil {
		return err
	}
	var tests []string
	for i := range l.Conditions {
		c := &l.Conditions[i]
		for _, b := range c.Bands {
			if a.format == output.Table && b.Sealings == 0 {
				continue
			}
			if err := w.Row(leakRow{c, b}); err != nil {
				return err
			}
		}
		if c.PAdjusted != nil {
			tests = append(tests, fmt.Sprintf("%s over its bands alone: p %s, adjusted %s", c.Name, pText(*c.PValue), pText(*c.PAdjusted)))
		}
	}
	ifOnRecord := func(n int64) any {
		if l.Joints > 0 && l.JointsTestingUnknown == l.Joints {
			return nil // of no joint is it known
		}
		return n
	}
	notes := []output.Note{
		a.headlineNote(words),
		{Key: "confidence", Value: confidence},
		{Key: "sealings", Value: l.Sealings}, {Key: "failed", Value: l.Failed}, {Key: "tested", Value: ifOnRecord(l.Tested)},
		{Key: "joints", Value: l.Joints}, {Key: "joints_never_tested", Value: ifOnRecord(l.JointsNeverTested)}, {Key: "joints_testing_unknown", Value: l.JointsTestingUnknown},
		{Key: "rate_per_1000", Value: pointed(l.RatePer1000)}, {Key: "lower_per_1000", Value: pointed(l.LowerPer1000)}, {Key: "upper_per_1000", Value: pointed(l.UpperPer1000)},
		{Text: tests},
		leakModelNote(l),
	}
	return w.Close(append(notes, words.closing()...)...)
}

// leakModelNote is the model: its coefficients for programs, a line each for people.
func leakModelNote(l analysis.LeakAnswer) output.Note {
	n := output.Note{Key: "model"}
	if l.Model == nil {
		return n
	}
	var objects []output.Object
	columns := modelColumns(l.Model.RatioName, "")
	for _, r := range modelRows(l.Model) {
		objects = append(objects, output.ObjectOf(columns, r))
		if r.term == nil {
			n.Text = append(n.Text, fmt.Sprintf("model: %s: %s of the odds", r.name(), r.step()))
			continue
		}
		line := fmt.Sprintf("model: %s, %s: odds ratio %s", r.name(), r.step(), ratioOrDash(r.Ratio))
		if limits := r.interval(); limits != nil {
			line += fmt.Sprintf(" (%s to %s)", ratioText(limits.Lower), ratioText(limits.Upper))
		}
		n.Text = append(n.Text, line)
	}
	n.Value = objects
	return n
}
