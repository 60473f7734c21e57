package cli

import (
	"fmt"
	"math"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	"jointledger/internal/cli/timechart"
)

// alarmShown is what alarm shows of a cumulative sum.
type alarmShown struct {
	plan        analysis.AlarmPlanAnswer
	run         analysis.AlarmRun
	perExposure bool
}

func alarmStepColumns() []output.Column[analysis.AlarmStep] {
	type step = analysis.AlarmStep
	return []output.Column[step]{
		{Name: "label", Value: func(s step) any { return s.Label }},
		{Name: "points", Value: func(s step) any { return s.Points }},
		{Name: "signal", Value: func(s step) any { return s.Signal }},
	}
}

func runLengthColumns(perExposure bool, unit string) []output.Column[analysis.AlarmRunLength] {
	type length = analysis.AlarmRunLength
	heading, scale := "PER 1000", 1000.0
	head, tail, of := strings.Cut(unit, " of ")
	if unit = head + "s"; of {
		unit += " of " + tail
	}
	if perExposure {
		heading, scale = "RATE", 1
	}
	return []output.Column[length]{
		{Name: "rate", Heading: heading, Value: func(r length) any { return r.Rate }, Text: func(r length) string { return threeDigits(scale * r.Rate) }},
		{Name: "ratio", Heading: "TIMES THE USUAL", Value: func(r length) any { return r.Ratio }, Text: func(r length) string { return ratioText(r.Ratio) }},
		{Name: "run_length", Heading: "ALARM AFTER", Value: func(r length) any { return r.Length }, Text: func(r length) string { return about(r.Length) + " " + unit }},
		{Name: "run_length_in_records", Value: func(r length) any { return pointed(r.InRecords) }},
	}
}

// about writes a number of which three digits are meant.
func about(v float64) string {
	if v < 1000 {
		return threeDigits(v)
	}
	round := math.Pow(10, math.Floor(math.Log10(v))-2)
	return fmt.Sprintf("%.0f", math.Round(v/round)*round)
}

func (s *alarmShown) unit() string {
	if s.perExposure {
		return s.plan.ExposureUnit
	}
	return "attempt"
}

func (a *app) tellAlarm(s *alarmShown) error {
	words := analysisWords{headline: []string{s.run.Headline, s.plan.Headline}, method: ended(s.plan.Method) + " " + s.run.Method,
		assumption: s.plan.Assumption + " " + s.run.Assumption, cautions: append(s.plan.Cautions, s.run.Cautions...)}
	if err := a.lead(words.headline, s.drawing()...); err != nil {
		return err
	}
	notes := append(s.notes(a.headlineNote(words)), words.closing()...)
	if a.format == output.Table {
		// A person has the drawing of the rows; the table is what the plan buys.
		return writeAll(a.config(), "run_lengths", runLengthColumns(s.perExposure, s.unit()), s.plan.RunLengths, notes)
	}
	return writeAll(a.config(), "steps", alarmStepColumns(), s.run.Steps, notes)
}

// writeAll writes a list with its notes.
func writeAll[T any](c output.Config, key string, columns []output.Column[T], rows []T, notes []output.Note) error {
	w, err := output.New(c, key, columns)
	if err != nil {
		return err
	}
	for _, r := range rows {
		if err := w.Row(r); err != nil {
			return err
		}
	}
	return w.Close(notes...)
}

// drawing is the sum against its threshold.
func (s *alarmShown) drawing() []string {
	if len(s.run.Steps) == 0 {
		return nil
	}
	threshold, zero := float64(s.plan.Plan.Threshold), 0.0
	c := timechart.Chart{Centre: &zero, First: s.run.Steps[0].Label, Last: s.run.Steps[len(s.run.Steps)-1].Label}
	for _, step := range s.run.Steps {
		c.Points = append(c.Points, timechart.Point{Value: step.Points, Upper: &threshold, Beyond: step.Signal})
	}
	lines := append(timechart.Draw(c), "", "o sum of points after the row   X alarm   . threshold")
	if n := c.PerColumn(); n > 1 {
		lines = append(lines, fmt.Sprintf("each column stands for up to %d rows, and shows the highest", n))
	}
	return lines
}

// alarmNotes are the names of the notes, besides those of every analysis.
var alarmNotes = []string{"headline", "test", "plan", "run_lengths", "signals", "points_now"}

func (s *alarmShown) notes(headline output.Note) []output.Note {
	p := s.plan.Plan
	plan := output.Object{
		{Key: "model", Value: p.Model.String()}, {Key: "in_control_rate", Value: p.InControl}, {Key: "out_of_control_rate", Value: p.OutOfControl},
		{Key: "tuned_rate", Value: s.plan.TunedRate}, {Key: "look", Value: p.Look}, {Key: "gain_points", Value: p.Gain}, {Key: "drift_points", Value: p.Drift},
		{Key: "threshold_points", Value: p.Threshold}, {Key: "start_points", Value: p.Start}, {Key: "keep_counting", Value: p.KeepCounting},
		{Key: "failures_in_a_row", Value: s.plan.FailuresInARow},
	}
	var signals []output.Object
	var sentences []string
	for _, g := range s.run.Signals {
		size := output.Member{Key: "attempts", Value: g.Attempts}
		if s.perExposure {
			size = output.Member{Key: "exposure", Value: g.Exposure}
		}
		signals = append(signals, output.Object{{Key: "label", Value: g.Label}, {Key: "from", Value: g.From}, {Key: "failures", Value: g.Failures}, size, {Key: "points", Value: g.Points}})
		if len(s.run.Signals) > 1 {
			sentences = append(sentences, g.Sentence)
		}
	}
	if signals == nil {
		signals = []output.Object{}
	}
	const most = 12
	if n := len(sentences) - most; n > 0 {
		sentences = append(sentences[:most], fmt.Sprintf("and %d more alarms", n))
	}
	return []output.Note{
		headline,
		{Key: "test", Value: "cusum"},
		{Key: "plan", Value: plan, Text: []string{"plan: " + s.plan.Points}},
		{Key: "run_lengths", Value: output.ObjectsOf(runLengthColumns(s.perExposure, s.unit()), s.plan.RunLengths)},
		{Key: "signals", Value: signals, Text: sentences},
		{Key: "points_now", Value: s.run.State.Points},
	}
}

// sprtNotes are the names of the notes of a sequential test.
var sprtNotes = []string{"headline", "test", "plan", "verdict", "decided_at", "rows_after"}

func sprtColumns(perExposure bool) []output.Column[analysis.SPRTStep] {
	type step = analysis.SPRTStep
	heading := "ATTEMPTS"
	if perExposure {
		heading = "EXPOSURE"
	}
	return []output.Column[step]{
		{Name: "label", Heading: "ROW", Value: func(s step) any { return s.Label }},
		{Name: "failures", Heading: "FAILURES", Value: func(s step) any { return s.Failures }},
		{Heading: heading, Text: func(s step) string { return sizeText(perExposure, s.Attempts, s.Exposure) }},
		{Name: "attempts", Value: func(s step) any {
			if perExposure {
				return nil
			}
			return s.Attempts
		}},
		{Name: "exposure", Value: func(s step) any {
			if !perExposure {
				return nil
			}
			return s.Exposure
		}},
		{Name: "accept_line", Heading: "ACCEPT AT MOST", Value: func(s step) any { return s.AcceptLine }, Text: func(s step) string {
			if s.AcceptLine < 0 {
				return "-"
			}
			return fmt.Sprintf("%.0f", math.Floor(s.AcceptLine))
		}},
		{Name: "reject_line", Heading: "REFUSE FROM", Value: func(s step) any { return s.RejectLine }, Text: func(s step) string { return fmt.Sprintf("%.0f", math.Ceil(s.RejectLine)) }},
		{Name: "verdict", Heading: "VERDICT", Value: func(s step) any { return s.Verdict.String() }},
	}
}

func (a *app) tellSPRT(s analysis.SPRTAnswer, perExposure bool) error {
	words := analysisWords{headline: []string{s.Headline}, method: s.Method, assumption: s.Assumption, cautions: s.Cautions}
	if err := a.lead(words.headline); err != nil {
		return err
	}
	t := s.Test
	plan := output.Object{
		{Key: "model", Value: t.Model.String()}, {Key: "in_control_rate", Value: t.Low}, {Key: "out_of_control_rate", Value: t.High},
		{Key: "alpha", Value: t.Alpha}, {Key: "beta", Value: t.Beta}, {Key: "accept_intercept", Value: t.AcceptIntercept},
		{Key: "reject_intercept", Value: t.RejectIntercept}, {Key: "slope", Value: t.Slope},
		{Key: "average_to_verdict_in_control", Value: s.ExposureInControl}, {Key: "average_to_verdict_out_of_control", Value: s.ExposureOutOfControl},
	}
	steps, cut := s.Steps, []string(nil)
	if n := len(steps); a.format == output.Table && n > mostTableRows {
		steps = steps[n-mostTableRows:] // the end is what decides
		cut = []string{fmt.Sprintf("the last %d of %d rows are listed; --output csv has all", mostTableRows, n)}
	}
	return writeAll(a.config(), "steps", sprtColumns(perExposure), steps, append([]output.Note{
		a.headlineNote(words),
		{Text: cut},
		{Key: "test", Value: "sprt"},
		{Key: "plan", Value: plan, Text: []string{"plan: " + s.Plan}},
		{Key: "verdict", Value: s.Verdict.String()},
		{Key: "decided_at", Value: text(s.At)},
		{Key: "rows_after", Value: s.Unused},
	}, words.closing()...))
}
