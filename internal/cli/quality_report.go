package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/report"
	picture "jointledger/internal/report/figure"
	"jointledger/internal/termfigure"
	pb "jointledger/proto/jointledger/v1"
)

// reportTimeout is how long each question of the report may take when --timeout says
// nothing else.
const reportTimeout = 2 * time.Minute

const reportHelp = `The page says first what to act on, then shows the figures: a forest plot of lots, the
open holds, tools due and work covered, spares at risk, a funnel of sites, control
charts, S-curves and a Pareto chart of incidents. It needs nothing else to be read: no
network, no script. It prints on A4 and US letter.

Choose --site, --region or --all. --since is the first day that counts. With --until,
tools due, coverage and spares are looked at from the end of that day; holds are those
open now in any case. A figure that can't be made is named on the page with the reason.

--figures draws the main figures in the terminal instead.

With --output json the whole report is one object with full precision, rows that the
page has no room for included:
  scope, since, data_as_of, prepared_by, program
  actions                 what to act on: kind, name, sentence, at_stake, part
  orders_differ           how the crude order of the sites misleads; empty if it does not
  lots, holds, coverage, spares, sites, trends, progress, incidents
                          the figures, each with finding, method, assumption, cautions
  left_out                part, what and why
  cautions, chains

`

// reportOptions are the flags of report.
type reportOptions struct {
	site, region string
	all          bool
	since, until string
	kinds        []pb.IncidentKind
	file         string
	figures      bool
	ascii        bool
	lead, pack   int64
}

// qualityReportCommand makes the command that writes the manager's page.
func (a *app) qualityReportCommand() *cobra.Command {
	o := &reportOptions{}
	cmd := a.command("report", "Write the manager's page: what to act on, and the figures that say so", reportHelp+caution)
	cmd.Example = "  trackctl report --all --since 2026-05-01 --out report.html\n" +
		"  trackctl report --region north --since 2026-05-01 --kind galling --figures\n" +
		"  trackctl report --site rvb --since 2026-05-01 --output json > rvb.json"
	f := newFields(cmd)
	f.bind("site", "", "SITE", "only this site", func(typed string) error {
		place, err := placeArg(typed, 1)
		o.site = place.Site
		return err
	})
	f.bind("region", "", "REGION", "only the sites of this region", func(typed string) error {
		if strings.TrimSpace(typed) == "" {
			return errors.New("expected the name of a region")
		}
		o.region = typed
		return nil
	})
	f.boolean(&o.all, "all", "", "all sites")
	f.day(&o.since, "since", "start_date", "first day that counts, at the site")
	f.day(&o.until, "until", "end_date", "last day that counts, at the site; today when not given")
	f.words("kind", "kinds", "kinds of incident that count as failures, all thread failures when not given", ledger.IncidentKinds.All(), func(word string) error {
		kind, err := ledger.IncidentKinds.Parse(word)
		o.kinds = append(o.kinds, pb.IncidentKind(kind))
		return err
	})
	fromZero(f, &o.lead, "lead-days", "lead_time_days", "spares: calendar days from order to delivery; 0 when not given")
	fromZero(f, &o.pack, "pack", "pack_size", "spares: pieces in a pack; 1 when not given")
	f.bind("out", "", "FILE", "write to this file instead of the standard output; an earlier one is replaced", func(text string) error {
		if text == "" {
			return errors.New("expected the name of a file")
		}
		o.file = text
		return nil
	})
	f.boolean(&o.figures, "figures", "", "draw the main figures in the terminal instead of writing the page")
	f.boolean(&o.ascii, "ascii", "", "with --figures: nothing but ASCII")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		if err := a.checkReport(f, o); err != nil {
			return err
		}
		if !cmd.Flags().Changed("timeout") {
			a.settings.timeout = reportTimeout
		}
		answers, err := a.askForReport(ctx, o)
		if err != nil {
			return err
		}
		d := answers.document()
		if err := d.Validate(); err != nil {
			return &failure{code: exitInternal, message: fmt.Sprintf("the report can't be laid out: %v", err)}
		}
		return a.tellReport(d, o)
	})
}

// fromZero makes a flag for a whole number of at least 0.
func fromZero(f *fields, dst *int64, name, path, help string) {
	f.bind(name, path, "N", help, func(text string) error {
		n, err := parseWhole(text)
		if err == nil && n < 0 {
			err = fmt.Errorf("expected a whole number of at least 0, got %d", n)
		}
		*dst = n
		return err
	})
}

func (a *app) checkReport(f *fields, o *reportOptions) error {
	chosen := 0
	for _, given := range []bool{o.site != "", o.region != "", o.all} {
		if given {
			chosen++
		}
	}
	switch {
	case chosen != 1:
		return usage("expected one of --site SITE, --region REGION and --all, got %d of them", chosen)
	case o.since == "":
		return f.require("since")
	case o.until != "" && o.until < o.since:
		return usage("--until: expected a day not before --since %s, got %s", o.since, o.until)
	case a.format != output.Table && a.format != output.JSON:
		return usage("--output: a report is a page (table, which is the default) or json, not %s; its rows are those of standing, trend, spares, rate and due", a.format)
	case o.figures && (o.file != "" || a.format == output.JSON):
		return usage("--figures draws in the terminal; it goes with neither --out nor --output json")
	case o.ascii && !o.figures:
		return usage("--ascii belongs to --figures")
	case a.format == output.Table && !o.figures && o.file == "" && isTerminal(os.Stdout):
		return usage("the page would fill this terminal; name a file with --out, such as --out report.html, or draw the main figures with --figures")
	}
	return nil
}

// scope says what the report is about.
func (o *reportOptions) scope() string {
	switch {
	case o.site != "":
		return "site " + o.site
	case o.region != "":
		return "region " + o.region
	}
	return "all sites"
}

// filters are those of the counts.
func (o *reportOptions) filters() []*pb.GroupValue {
	switch {
	case o.site != "":
		return []*pb.GroupValue{{Grouping: pb.Grouping_GROUPING_SITE, Value: o.site}}
	case o.region != "":
		return []*pb.GroupValue{{Grouping: pb.Grouping_GROUPING_REGION, Value: o.region}}
	}
	return nil
}

// asOf is the moment looked from: now, or the end of the last day when that is past.
func (o *reportOptions) asOf(now time.Time) time.Time {
	if o.until == "" {
		return now
	}
	end := dayOf(o.until).AddDate(0, 0, 1).Add(-time.Second)
	if end.After(now) {
		return now
	}
	return end
}

// tellReport writes the page, the JSON or the figures.
func (a *app) tellReport(d *report.QualityDocument, o *reportOptions) error {
	if o.figures {
		return a.drawReport(d, o)
	}
	write := report.Quality
	if a.format == output.JSON {
		write = report.QualityJSON
	}
	var b bytes.Buffer
	if err := write(&b, d); err != nil {
		return &failure{code: exitInternal, message: fmt.Sprintf("the report can't be laid out: %v", err)}
	}
	if o.file == "" {
		if _, err := a.out.Write(b.Bytes()); err != nil {
			return err
		}
	} else if err := replaceFile(o.file, b.Bytes()); err != nil {
		return &failure{code: exitCantWrite, message: fmt.Sprintf("the report can't be written: %v", err)}
	}
	for _, line := range reportSummary(d) {
		fmt.Fprintln(a.err, output.Wrap(output.Printable(line)))
	}
	if o.file != "" {
		fmt.Fprintf(a.err, "written to %s\n", output.Printable(o.file))
	}
	fmt.Fprintln(a.err, caution)
	return nil
}

// reportSummary is what to read first.
func reportSummary(d *report.QualityDocument) []string {
	var lines []string
	for i, action := range d.Actions {
		lines = append(lines, fmt.Sprintf("%d. %s", i+1, action.Sentence))
	}
	if len(lines) == 0 {
		lines = append(lines, "nothing on record calls for action by itself")
	}
	if d.OrdersDiffer != "" {
		lines = append(lines, string(d.OrdersDiffer))
	}
	for _, l := range d.LeftOut {
		lines = append(lines, fmt.Sprintf("not in the report: %s: %s", l.What, l.Why))
	}
	return lines
}

// drawReport draws the main figures as wide as the terminal.
func (a *app) drawReport(d *report.QualityDocument, o *reportOptions) error {
	options := termfigure.Options{Width: a.columns(), ASCII: o.ascii}
	lines := append([]string{"Quality report: " + d.Scope + ", since " + string(d.Since), ""}, reportSummary(d)...)
	for _, placed := range d.Figures() {
		var drawn []string
		switch f := placed.Figure.(type) {
		case *picture.Forest:
			drawn = termfigure.Forest(f, options)
		case *picture.Funnel:
			drawn = termfigure.Funnel(f, options)
		case *picture.ControlChart:
			drawn = termfigure.ControlChart(f, options)
		case *picture.Pareto:
			drawn = termfigure.Pareto(f, options)
		default:
			drawn = []string{placed.Figure.Name(), placed.Figure.Words().Finding}
		}
		lines = append(append(lines, ""), drawn...)
	}
	for _, line := range append(lines, "", caution) {
		for _, part := range brokenAt(output.Printable(line), options.Width) {
			if _, err := fmt.Fprintln(a.out, part); err != nil {
				return err
			}
		}
	}
	return nil
}

// brokenAt breaks a line between words so that none is wider; a line that fits is left
// as it is.
func brokenAt(line string, width int) []string {
	if utf8.RuneCountInString(line) <= width {
		return []string{line}
	}
	var lines []string
	now := ""
	for _, word := range strings.Fields(line) {
		if now != "" && utf8.RuneCountInString(now)+1+utf8.RuneCountInString(word) > width {
			lines, now = append(lines, now), " "
		}
		if now != "" {
			now += " "
		}
		now += word
	}
	return append(lines, now)
}

// columns is the width of the terminal as the environment tells it; 80 where it does
// not.
func (a *app) columns() int {
	if n, err := strconv.Atoi(a.getenv("COLUMNS")); err == nil && n > 0 {
		return min(n, 200)
	}
	return terminalColumns(os.Stdout)
}
