package cli

import (
	"context"
	"fmt"
	"math"
	"time"

	"jointledger/internal/cli/output"
	"jointledger/internal/cli/timechart"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// drift lists how tools drifted, and draws the one that drifts fastest.
func (a *app) drift(ctx context.Context, client pb.ReadinessServiceClient, f *fields, o reliabilityFlags) error {
	if o.limit < 0 {
		return usage("--limit: expected a number of at least 0, got %d", o.limit)
	}
	w, err := output.New(a.config(), "drifts", driftColumns())
	if err != nil {
		return err
	}
	var drawn []*pb.ToolDrift
	var cautions []string
	read := func(size int32, token string) ([]*pb.ToolDrift, string, error) {
		// A page is so many tools, and each may have several test points.
		o.drifts.PageSize, o.drifts.PageToken = size, token
		page, err := client.ListToolDrifts(ctx, o.drifts)
		if err != nil {
			return nil, "", a.callFailure(err, listedNames(f, len(o.drifts.GetTypeClasses())))
		}
		cautions = page.GetCautions()
		return page.GetDrifts(), page.GetNextPageToken(), nil
	}
	err = pages(o.limit, read, func(d *pb.ToolDrift) error {
		switch {
		case len(o.drifts.GetTools()) > 0:
			drawn = append(drawn, d)
		case len(drawn) == 0:
			drawn = []*pb.ToolDrift{d}
		case math.Abs(d.GetPercentPerYear()) > math.Abs(drawn[0].GetPercentPerYear()):
			drawn[0] = d
		}
		return w.Row(d)
	})
	if err != nil {
		return err
	}
	notes := []output.Note{cautionNote(cautions)}
	if a.format == output.Table {
		notes = append([]output.Note{{Text: driftFigures(drawn)}}, notes...)
	}
	return w.Close(notes...)
}

func driftColumns() []output.Column[*pb.ToolDrift] {
	type drift = *pb.ToolDrift
	return []output.Column[drift]{
		{Name: "serial", Heading: "SERIAL", Value: func(d drift) any { return ledger.ShortName(d.GetTool()) }},
		{Name: "target_n_m", Heading: "AT N.m", Value: func(d drift) any { return d.GetTargetNewtonMetres() }},
		{Name: "limit_pct", Heading: "LIMIT %", Value: func(d drift) any { return pointed(d.LimitPercent) }, Text: func(d drift) string {
			if d.LimitPercent == nil {
				return "-"
			}
			return output.Number(d.GetLimitPercent())
		}},
		{Heading: "CALIBRATIONS", Text: func(d drift) string { return fmt.Sprint(len(d.GetPoints())) }},
		{Heading: "LAST %", Text: func(d drift) string {
			if v, ok := shownDeviation(newestPoint(d.GetPoints())); ok {
				return fmt.Sprintf("%+.2f", v)
			}
			return "-"
		}},
		{Name: "drift_pct_per_year", Heading: "% A YEAR", Value: func(d drift) any { return pointed(d.PercentPerYear) }, Text: func(d drift) string {
			if d.PercentPerYear == nil {
				return "-"
			}
			return fmt.Sprintf("%+.2f", d.GetPercentPerYear())
		}},
		{Heading: "INTERVAL", Text: func(d drift) string {
			if d.LowerPercentPerYear == nil || d.UpperPercentPerYear == nil {
				return "-"
			}
			return fmt.Sprintf("%+.2f to %+.2f", d.GetLowerPercentPerYear(), d.GetUpperPercentPerYear())
		}},
		{Name: "lower_pct_per_year", Value: func(d drift) any { return pointed(d.LowerPercentPerYear) }},
		{Name: "upper_pct_per_year", Value: func(d drift) any { return pointed(d.UpperPercentPerYear) }},
		{Name: "line_points", Value: func(d drift) any { return d.GetLinePoints() }},
		{Name: "points", Value: func(d drift) any { return output.ObjectsOf(driftPointColumns(), d.GetPoints()) }},
		{Name: "sentence", Value: func(d drift) any { return d.GetSentence() }},
	}
}

func driftPointColumns() []output.Column[*pb.DriftPoint] {
	type point = *pb.DriftPoint
	return []output.Column[point]{
		{Name: "at", Value: func(p point) any { return when(p.GetTime()) }},
		{Name: "found_pct", Value: func(p point) any { return pointed(p.FoundPercent) }},
		{Name: "left_pct", Value: func(p point) any { return pointed(p.LeftPercent) }},
		{Name: "undone_pct", Value: func(p point) any { return pointed(p.UndonePercent) }},
	}
}

func newestPoint(points []*pb.DriftPoint) *pb.DriftPoint {
	if len(points) == 0 {
		return nil
	}
	return points[len(points)-1]
}

// shownDeviation is the deviation as found, or as left where the tool was not
// looked at before; false for none.
func shownDeviation(p *pb.DriftPoint) (float64, bool) {
	switch {
	case p == nil:
		return 0, false
	case p.FoundPercent != nil:
		return p.GetFoundPercent(), true
	case p.LeftPercent != nil:
		return p.GetLeftPercent(), true
	}
	return 0, false
}

// driftFigures draw deviations in the order of the calibrations, with what the
// class allows.
func driftFigures(drifts []*pb.ToolDrift) []string {
	var lines []string
	for _, d := range drifts {
		chart := timechart.Chart{Centre: new(float64)}
		for _, p := range d.GetPoints() {
			v, ok := shownDeviation(p)
			if !ok {
				continue
			}
			point := timechart.Point{Value: v}
			if limit := d.GetLimitPercent(); limit > 0 {
				low := -limit
				point.Lower, point.Upper, point.Beyond = &low, &limit, math.Abs(v) > limit
			}
			chart.Points = append(chart.Points, point)
		}
		if len(chart.Points) < 2 {
			continue
		}
		chart.First = d.GetPoints()[0].GetTime().AsTime().Format(time.DateOnly)
		chart.Last = newestPoint(d.GetPoints()).GetTime().AsTime().Format(time.DateOnly)
		lines = append(lines, fmt.Sprintf("%s at %s N.m: deviation in %% of the reference, by calibration", ledger.ShortName(d.GetTool()), output.Number(d.GetTargetNewtonMetres())))
		lines = append(lines, timechart.Draw(chart)...)
		lines = append(lines, "o as found (as left where it was not looked at before)   X beyond the limit   . limit", d.GetSentence(), "")
	}
	return lines
}
