package cli

import (
	"fmt"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	"jointledger/internal/cli/timechart"
)

func (a *app) tellTrend(t analysis.TrendAnswer, perExposure bool, rows int) error {
	words := analysisWords{headline: []string{t.Headline}, method: t.Method, assumption: t.Assumption, cautions: t.Cautions}
	if err := a.lead(words.headline, trendDrawing(t)...); err != nil {
		return err
	}
	w, err := output.New(a.config(), "points", trendColumns())
	if err != nil {
		return err
	}
	notes := trendNotesOf(t, perExposure, rows, a.headlineNote(words))
	shown := 0
	for i, p := range t.Points {
		// A person has the drawing; of a long list the latest points and those beyond
		// limits tell.
		if a.format == output.Table && i < len(t.Points)-mostTableRows && p.Beyond == 0 {
			continue
		}
		shown++
		if err := w.Row(p); err != nil {
			return err
		}
	}
	if n := len(t.Points); shown < n {
		notes = append([]output.Note{{Text: []string{fmt.Sprintf("%d of %d points are listed: those beyond limits and the latest %d; --output csv has all", shown, n, mostTableRows)}}}, notes...)
	}
	return w.Close(append(notes, words.closing()...)...)
}

// mostTableRows is how many of the latest rows of a history a table lists.
const mostTableRows = 40

// trendDrawing is the control chart for a terminal.
func trendDrawing(t analysis.TrendAnswer) []string {
	if len(t.Points) == 0 {
		return nil
	}
	c := timechart.Chart{Centre: &t.Centre, First: t.Points[0].Label, Last: t.Points[len(t.Points)-1].Label}
	for _, p := range t.Points {
		c.Points = append(c.Points, timechart.Point{Value: p.Value, Lower: p.Lower, Upper: p.Upper, Beyond: p.Beyond != 0})
	}
	legend := "o point   X beyond its limits   - centre   . limits   in " + t.Unit
	lines := append(timechart.Draw(c), "", legend)
	if n := c.PerColumn(); n > 1 {
		lines = append(lines, fmt.Sprintf("each column stands for up to %d points, and shows the one furthest from the centre", n))
	}
	return lines
}

func trendColumns() []output.Column[analysis.TrendPoint] {
	type point = analysis.TrendPoint
	limit := func(v *float64) string {
		if v == nil {
			return "-"
		}
		return threeDigits(*v)
	}
	return []output.Column[point]{
		{Name: "label", Heading: "ROW", Value: func(p point) any { return p.Label }},
		{Name: "value", Heading: "VALUE", Value: func(p point) any { return p.Value }, Text: func(p point) string { return threeDigits(p.Value) }},
		{Name: "lower", Heading: "LOWER LIMIT", Value: func(p point) any { return pointed(p.Lower) }, Text: func(p point) string { return limit(p.Lower) }},
		{Name: "upper", Heading: "UPPER LIMIT", Value: func(p point) any { return pointed(p.Upper) }, Text: func(p point) string { return limit(p.Upper) }},
		{Name: "beyond", Heading: "BEYOND", Value: func(p point) any { return p.Beyond }, Text: func(p point) string {
			return map[int]string{-1: "below", 0: "", 1: "above"}[p.Beyond]
		}},
	}
}

// trendNotes are the names of the notes, besides those of every analysis.
var trendNotes = []string{"headline", "chart", "chart_reason", "unit", "centre", "dispersion", "rows", "failures", "attempts", "exposure", "runs", "change"}

func trendNotesOf(t analysis.TrendAnswer, perExposure bool, rows int, headline output.Note) []output.Note {
	var runs []output.Object
	var runText []string
	for _, r := range t.Runs {
		runs = append(runs, output.Object{{Key: "rule", Value: r.Rule}, {Key: "label", Value: r.Label}, {Key: "side", Value: r.Side}})
		side := "high"
		if r.Side < 0 {
			side = "low"
		}
		if len(runText) < 8 {
			runText = append(runText, fmt.Sprintf("run: %s, on the %s side, complete at %s", r.Rule, side, r.Label))
		}
	}
	if n := len(t.Runs) - len(runText); n > 0 {
		runText = append(runText, fmt.Sprintf("and %d more runs", n))
	}
	if runs == nil {
		runs = []output.Object{}
	}
	var attempts, exposure any = t.Attempts, nil
	if perExposure {
		attempts, exposure = nil, t.Exposure
	}
	chart := "chart: " + analysis.ChartKinds.Name(t.Kind) + ". " + t.KindReason
	if t.Dispersion != nil {
		chart += " Laney's sigma z " + threeDigits(*t.Dispersion) + "."
	}
	return []output.Note{
		headline,
		{Text: []string{fmt.Sprintf("centre: %s %s", threeDigits(t.Centre), t.Unit)}},
		{Key: "chart", Value: analysis.ChartKinds.Name(t.Kind), Text: []string{chart}},
		{Key: "chart_reason", Value: t.KindReason},
		{Key: "unit", Value: t.Unit}, {Key: "centre", Value: t.Centre}, {Key: "dispersion", Value: pointed(t.Dispersion)},
		{Key: "rows", Value: rows}, {Key: "failures", Value: t.Failures}, {Key: "attempts", Value: attempts}, {Key: "exposure", Value: exposure},
		{Key: "runs", Value: runs, Text: runText},
		trendChangeNote(t, perExposure),
	}
}

// trendChangeNote is when the rate most probably changed; null when that can't be said.
func trendChangeNote(t analysis.TrendAnswer, perExposure bool) output.Note {
	n := output.Note{Key: "change"}
	if t.Change == nil {
		return n
	}
	unit := "per_1000"
	if perExposure {
		unit = "per_unit"
	}
	c := t.Change
	n.Value = output.Object{
		{Key: "last_before", Value: c.LastBefore}, {Key: "first_after", Value: c.FirstAfter},
		{Key: "before_" + unit, Value: c.Before}, {Key: "after_" + unit, Value: c.After},
		{Key: "p_value", Value: c.PValue}, {Key: "beyond_chance", Value: c.BeyondChance},
	}
	if !c.BeyondChance {
		n.Text = []string{c.Sentence} // otherwise the headline has it
	}
	return n
}
