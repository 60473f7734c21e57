package cli

import (
	"context"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
)

const historyFileHelp = `The file has a row for each day, week, lot or record, oldest first: x (or failures) for
what failed, and n (or attempts, or successes) or exposure for among how many or in how
much; and, to name the rows, one of label (any text), day or date (YYYY-MM-DD), month
(YYYY-MM) or time (RFC 3339). Rows that are not in order are refused.`

const trendHelp = `A control chart, and when the rate most probably changed.

Without --from, the records of the server are charted by month, or by week or day with
--by, narrowed by --kind, --site, --lot and so on, --since and --until.

` + historyFileHelp + `

The chart is chosen unless --chart names one; the answer says why. p and np for failures
among attempts, c and u for events in an exposure, laney-p and laney-u where rows vary
more than chance makes them, g and t for rare failures by the gaps between them, ewma for
small lasting changes. In the drawing o is a point, X one beyond its limits, - the
centre, . the limits.

In JSON and CSV, centre, values and limits are in the unit that "unit" names; beyond is
-1 below the lower limit and 1 above the upper one; a limit that can't be crossed is
null.`

// trendOptions are the flags of trend.
type trendOptions struct {
	from     string
	standard float64
	period   int // of trendPeriods, from 1; 0 when not given
	scope    *scope
	analysis.TrendOptions
}

// autoChart has the chart chosen.
const autoChart = "auto"

func (a *app) trendCommand() *cobra.Command {
	o := &trendOptions{}
	cmd := a.command("trend", "Whether a rate changed, and when", trendHelp)
	cmd.Example = "  trackctl trend --kind galling --site RVB --by week\n  trackctl trend --from weeks.csv\n  trackctl trend --from leaks.csv --chart u --unit cell --standard 0.2 -o json"
	f := newFields(cmd)
	fromFlag(f, &o.from, "rows in order of time")
	f.words("chart", "", "the control chart; auto when not given", append([]string{autoChart}, analysis.ChartKinds.All()...), func(word string) error {
		if word == autoChart {
			o.Kind = 0
			return nil
		}
		var err error
		o.Kind, err = analysis.ChartKinds.Parse(word)
		return err
	})
	rateFlag(f, &o.standard, "standard", "the rate to hold the rows against, failures per attempt or events per unit; that of the rows when not given")
	f.text(&o.ExposureUnit, "unit", "", "what exposure is measured in, in the singular, such as day or cell")
	shareFlag(f, &o.Weight, "weight", "weight of the newest row in an ewma; 0.2 when not given")
	o.scope = newScope(f, true, scopeGroupings()...)
	f.words("by", "period", "on the server: what a row is; month when not given", trendPeriods, func(word string) error {
		var err error
		o.period, err = chosen("period", trendPeriods, word)
		return err
	})
	o.scope.also("by")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		if o.from == "" {
			return a.trendOnServer(ctx, f, o)
		}
		if err := o.scope.noFile(); err != nil {
			return err
		}
		source, err := a.source(f, o.from)
		if err != nil {
			return err
		}
		return a.trend(ctx, f, source, o)
	})
}

func (a *app) trend(ctx context.Context, f *fields, source rowSource, o *trendOptions) error {
	history, err := source.History(ctx)
	if err != nil {
		return err
	}
	o.PerExposure = history.PerExposure
	if f.isGiven("unit") && !o.PerExposure {
		return usage("--unit belongs to an exposure, and %s has attempts", source.Name())
	}
	if f.isGiven("standard") {
		o.Centre = &o.standard
	}
	flags := map[string]string{"chart": "chart", "centre": "standard"}
	answer, err := analysis.Trend(history.Rows, o.TrendOptions)
	if err != nil {
		return analysisFailure(err, source, flags)
	}
	return a.tellTrend(answer, history.PerExposure, len(history.Rows))
}
