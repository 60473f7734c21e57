package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) coverageCommand() *cobra.Command {
	request := &pb.QueryCoverageRequest{}
	cmd := a.command("coverage [SITE]...", "Whether each site has a tool for the torques planned, week by week",
		"The joints left of each tower are spread over the working days to its planned\n"+
			"finish, and set against the torque tools that are then at the site, in calibration,\n"+
			"not on hold, and of a range and class that suit. Gaps come first, each with the\n"+
			"transfer or the early calibration that closes it. Without a SITE all are answered\n"+
			"for; with some, the others still lend what they can spare. A joint counts until all\n"+
			"its fasteners reached torque in a first pass and its seal, if it needs one, is in.")
	cmd.Args = cobra.ArbitraryArgs
	cmd.Example = "  trackctl coverage --weeks 8\n  trackctl coverage rvb pcl --only-gaps\n  trackctl coverage rvb --bands 10,20,40,80"
	f := newFields(cmd)
	f.bind("weeks", "weeks", "N", "how many ISO weeks to look at, this one first, 1 to 52; 8 when not given", func(text string) error {
		n, err := parseWhole(text)
		if err == nil {
			weeks := int32(n)
			request.Weeks = &weeks
		}
		return err
	})
	f.bind("bands", "band_edges_newton_metres", "N.m,...", "torques that part the bands, rising, in N.m, such as 10,20,40,80; 1, 1.6, 2.5, 4, 6.3, 10, ... when not given", func(text string) error {
		request.BandEdgesNewtonMetres = nil
		for _, part := range strings.Split(text, ",") {
			v, problem := csvfile.ParseNumber(strings.TrimSpace(part))
			if problem != "" {
				return fmt.Errorf("expected torques in N.m parted by commas, such as 10,20,40,80: %s", problem)
			}
			request.BandEdgesNewtonMetres = append(request.BandEdgesNewtonMetres, v)
		}
		return nil
	})
	asOf := momentOf(f)
	cmd.Flags().BoolVar(&request.GapsOnly, "only-gaps", false, "only the gaps")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		for _, arg := range args {
			site, err := siteOf(arg)
			if err != nil {
				return err
			}
			if site == "" {
				return usage("SITE: expected the code of a site, got nothing")
			}
			request.Sites = append(request.Sites, site)
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		request.AsOfTime = stamp(*asOf)
		got, err := pb.NewReadinessServiceClient(conn).QueryCoverage(ctx, request)
		if err != nil {
			return a.callFailure(err, bandNames(f, len(request.BandEdgesNewtonMetres)))
		}
		return a.tellCoverage(got, request.GapsOnly)
	})
}

// bandNames are the flags of the fields, each torque of --bands by itself.
func bandNames(f *fields, bands int) map[string]string {
	names := f.names()
	for i := range bands {
		names[fmt.Sprintf("band_edges_newton_metres[%d]", i)] = fmt.Sprintf("--bands, torque %d", i+1)
	}
	return names
}

func (a *app) tellCoverage(got *pb.QueryCoverageResponse, gapsOnly bool) error {
	if a.format == output.Table {
		// What is missing comes first, above the table.
		if err := a.tellLines(append(gapLines(got), "")); err != nil {
			return err
		}
	}
	notes := []output.Note{
		{Key: "notes", Value: got.GetNotes(), Text: got.GetNotes()},
		{Key: "as_of", Value: when(got.GetAsOfTime())},
		{Key: "weeks", Value: got.GetWeeks()},
		{Key: "method", Value: got.GetMethod()},
		{Key: "assumption", Value: got.GetAssumption(), Text: given("assumed: ", got.GetAssumption())},
		cautionNote(got.GetCautions()),
	}
	if !gapsOnly {
		gaps := output.Note{Key: "gaps", Value: output.ObjectsOf(gapColumns(), got.GetGaps())}
		if a.format == output.CSV {
			gaps.Text = gapLines(got)
		}
		return told(a, "cells", cellCoverageColumns(), got.GetCells(), append([]output.Note{gaps}, notes...))
	}
	if a.format == output.Table {
		for _, n := range notes {
			if err := a.tellLines(n.Text); err != nil {
				return err
			}
		}
		return nil
	}
	return told(a, "gaps", gapColumns(), got.GetGaps(), notes)
}

// told writes rows that are all at hand.
func told[T any](a *app, key string, columns []output.Column[T], rows []T, notes []output.Note) error {
	w, err := output.New(a.config(), key, columns)
	if err != nil {
		return err
	}
	for _, row := range rows {
		if err := w.Row(row); err != nil {
			return err
		}
	}
	return w.Close(notes...)
}

// tellLines writes lines for a person.
func (a *app) tellLines(lines []string) error {
	for _, line := range lines {
		if _, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(line))); err != nil {
			return err
		}
	}
	return nil
}

func gapLines(got *pb.QueryCoverageResponse) []string {
	weeks := counted(int(got.GetWeeks()), "week")
	if len(got.GetGaps()) == 0 {
		return []string{"no gaps: in the " + weeks + " looked at, every torque planned has a tool"}
	}
	lines := []string{counted(len(got.GetGaps()), "gap") + " in the " + weeks + " looked at"}
	for _, g := range got.GetGaps() {
		lines = append(lines, "GAP  "+g.GetSentence())
	}
	return lines
}

func cellCoverageColumns() []output.Column[*pb.CoverageCell] {
	type cell = *pb.CoverageCell
	return []output.Column[cell]{
		{Name: "site", Heading: "SITE", Value: func(c cell) any { return ledger.ShortName(c.GetSite()) }},
		{Name: "week", Heading: "WEEK", Value: func(c cell) any { return c.GetWeek() }},
		{Name: "week_start", Heading: "FROM", Value: func(c cell) any { return c.GetWeekStart() }},
		{Heading: "N.m", Text: func(c cell) string { return coverageBandText(c.GetBand()) }},
		{Name: "band_lower_n_m", Value: func(c cell) any { return c.GetBand().GetLowerNewtonMetres() }},
		{Name: "band_upper_n_m", Value: func(c cell) any { return coverageBandUpper(c.GetBand()) }},
		{Name: "joints", Heading: "JOINTS", Value: func(c cell) any { return c.GetJoints() }},
		{Name: "fasteners", Heading: "FASTENERS", Value: func(c cell) any { return c.GetFasteners() }},
		{Name: "usable", Heading: "USABLE", Value: func(c cell) any { return shortNames(c.GetUsable()) }, Text: func(c cell) string {
			return fmt.Sprint(len(c.GetUsable()))
		}},
		{Name: "open_n_m", Heading: "WITHOUT A TOOL", Value: func(c cell) any { return c.GetOpenNewtonMetres() }, Text: func(c cell) string {
			if len(c.GetOpenNewtonMetres()) == 0 {
				return "-"
			}
			return torques(c.GetOpenNewtonMetres()) + " N.m"
		}},
		{Heading: "TOOLS", Text: func(c cell) string { return fewOf(shortNames(c.GetUsable())) }},
		{Name: "out", Value: func(c cell) any { return refusalObjects(c.GetOut()) }},
	}
}

func gapColumns() []output.Column[*pb.CoverageGap] {
	type gap = *pb.CoverageGap
	return []output.Column[gap]{
		{Name: "site", Heading: "SITE", Value: func(g gap) any { return ledger.ShortName(g.GetSite()) }},
		{Name: "first_day", Heading: "FROM", Value: func(g gap) any { return g.GetFirstDay() }},
		{Name: "last_day", Heading: "THROUGH", Value: func(g gap) any { return g.GetLastDay() }},
		{Name: "band_lower_n_m", Value: func(g gap) any { return g.GetBand().GetLowerNewtonMetres() }},
		{Name: "band_upper_n_m", Value: func(g gap) any { return coverageBandUpper(g.GetBand()) }},
		{Name: "joints", Heading: "JOINTS", Value: func(g gap) any { return g.GetJoints() }},
		{Name: "fasteners", Heading: "FASTENERS", Value: func(g gap) any { return g.GetFasteners() }},
		{Name: "open_n_m", Value: func(g gap) any { return g.GetOpenNewtonMetres() }},
		{Name: "out", Value: func(g gap) any { return refusalObjects(g.GetOut()) }},
		{Name: "transfers", Value: func(g gap) any { return remedyObjects(g.GetTransfers()) }},
		{Name: "calibrations", Value: func(g gap) any { return remedyObjects(g.GetCalibrations()) }},
		{Name: "unclosed_n_m", Value: func(g gap) any { return g.GetUnclosedNewtonMetres() }},
		{Name: "sentence", Value: func(g gap) any { return g.GetSentence() }},
	}
}

func refusalObjects(refusals []*pb.ToolRefusal) []output.Object {
	return output.ObjectsOf([]output.Column[*pb.ToolRefusal]{
		{Name: "serial", Value: func(r *pb.ToolRefusal) any { return ledger.ShortName(r.GetTool()) }},
		{Name: "reason", Value: func(r *pb.ToolRefusal) any { return text(wordOf(analysis.RefusalReasons, r.GetReason())) }},
		{Name: "at", Value: func(r *pb.ToolRefusal) any { return when(r.GetTime()) }},
		{Name: "detail", Value: func(r *pb.ToolRefusal) any { return text(r.GetDetail()) }},
	}, refusals)
}

func remedyObjects(remedies []*pb.GapRemedy) []output.Object {
	return output.ObjectsOf([]output.Column[*pb.GapRemedy]{
		{Name: "serial", Value: func(r *pb.GapRemedy) any { return ledger.ShortName(r.GetTool()) }},
		{Name: "from_site", Value: func(r *pb.GapRemedy) any { return text(ledger.ShortName(r.GetFromSite())) }},
		{Name: "latest_day", Value: func(r *pb.GapRemedy) any { return text(r.GetLatestDay()) }},
		{Name: "torques_n_m", Value: func(r *pb.GapRemedy) any { return r.GetNewtonMetres() }},
		{Name: "reserve", Value: func(r *pb.GapRemedy) any { return shortNames(r.GetReserve()) }},
	}, remedies)
}

func coverageBandUpper(b *pb.CoverageBand) any { return pointed(b.UpperNewtonMetres) }

func coverageBandText(b *pb.CoverageBand) string {
	if b.GetUpperNewtonMetres() == 0 {
		return output.Number(b.GetLowerNewtonMetres()) + " and above"
	}
	return output.Number(b.GetLowerNewtonMetres()) + " to " + output.Number(b.GetUpperNewtonMetres())
}

func torques(newtonMetres []float64) string {
	parts := make([]string, len(newtonMetres))
	for i, v := range newtonMetres {
		parts[i] = output.Number(v)
	}
	return strings.Join(parts, ", ")
}

func shortNames(names []string) []string {
	short := make([]string, len(names))
	for i, n := range names {
		short[i] = ledger.ShortName(n)
	}
	return short
}

// fewOf names the first of a list and counts the others.
func fewOf(names []string) string {
	const most = 3
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}
