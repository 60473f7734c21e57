package cli

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	"jointledger/internal/stats"
)

const sparesHelp = `For each fastener at each site: how many will be lost on the way to the last of the
remaining installs, whether the stock lasts, and what to order by when.

Without --from, the records of the server are asked: what joints still want, the stock of
lots that are fit for use, the pace by the planned finish of the towers or of the last 28
days. Loss rates are learnt from all sites.

The file has the columns fastener, failures, attempts (or successes), remaining (installs
that are still to be made) and stock (pieces on hand); and, where they are known, site,
per_day (installs a day), lead_days (days from order to delivery) and pack (pieces in a
pack). A row with nothing remaining still helps to estimate the loss rates of the others.

In JSON and CSV, losses and need are what must be allowed for at the service level;
run_out is the probability that the stock does not suffice; a figure that can't be told
is null.`

// sparesOptions are the flags of spares.
type sparesOptions struct {
	from, asOf string
	level      float64
	// lead and pack are for the server; a file has them in each row.
	lead, pack int32
	scope      *scope
}

func (a *app) sparesCommand() *cobra.Command {
	o := &sparesOptions{}
	cmd := a.command("spares", "Whether spare hardware lasts, and what to order by when", sparesHelp)
	cmd.Example = "  trackctl spares --site RVB --lead-days 21 --pack 100\n  trackctl spares --from spares.csv\n  trackctl spares --from spares.csv --service-level 0.99 --as-of 2026-04-01 -o csv"
	f := newFields(cmd)
	fromFlag(f, &o.from, "spares: fastener, site, failures, attempts, remaining, stock, per_day, lead_days, pack")
	shareFlag(f, &o.level, "service-level", "probability with which the hardware must last, above 0 and below 1; 0.95 when not given")
	f.day(&o.asOf, "as-of", "", "the day to look from; today when not given")
	o.scope = &scope{f: f}
	f.bind("site", "sites", "SITE", "on the server: only this site; again for another", o.scope.site)
	f.whole(&o.lead, "lead-days", "lead_time_days", "on the server: days from order to delivery; 0 when not given")
	f.whole(&o.pack, "pack", "pack_size", "on the server: pieces in a pack; 1 when not given")
	o.scope.also("site", "lead-days", "pack")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		if o.from == "" {
			return a.sparesOnServer(ctx, f, o)
		}
		if err := o.scope.noFile(); err != nil {
			return err
		}
		source, err := a.source(f, o.from)
		if err != nil {
			return err
		}
		return a.spares(ctx, source, o)
	})
}

func (a *app) spares(ctx context.Context, source rowSource, o *sparesOptions) error {
	lines, err := source.Stock(ctx)
	if err != nil {
		return err
	}
	asOf := a.now()
	if o.asOf != "" {
		asOf = dayOf(o.asOf)
	}
	answer, err := analysis.Spares(analysis.SparesInput{Lines: lines}, analysis.SparesOptions{ServiceLevel: o.level, AsOf: asOf})
	if err != nil {
		return analysisFailure(err, source, nil)
	}
	return a.tellSpares(answer, asOf)
}

// sparesHeadline says what to do first.
func sparesHeadline(s analysis.SparesAnswer) []string {
	var order, late, unknown int
	for _, i := range s.Items {
		switch {
		case i.Line.Remaining == 0:
		case i.Need == nil:
			unknown++
		case *i.Short > 0:
			order++
			if i.Late {
				late++
			}
		}
	}
	var lines []string
	level := percentText(s.ServiceLevel)
	switch {
	case order == 0 && unknown == 0:
		lines = append(lines, "Nothing needs to be ordered: what is on hand lasts with a probability of at least "+level+" in every line.")
	case order > 0:
		said := fmt.Sprintf("To last with a probability of %s, hardware must be ordered in %d of %s", level, order, counted(len(s.Items), "line"))
		if late > 0 {
			said += fmt.Sprintf(", and the last day for it is past in %d", late)
		}
		lines = append(lines, said+". "+firstOrder(s.Items))
	}
	if unknown > 0 {
		lines = append(lines, "What is needed can't be told for "+counted(unknown, "line")+".")
	}
	return lines
}

// firstOrder is the most urgent of the orders, which come first.
func firstOrder(items []analysis.SparesItem) string {
	for _, i := range items {
		if i.Order == nil || *i.Order == 0 {
			continue
		}
		said := fmt.Sprintf("First: %d of %s", *i.Order, i.Line.Fastener)
		if i.Line.Site != "" {
			said += " for " + i.Line.Site
		}
		if i.OrderBy != nil {
			said += " by " + i.OrderBy.Format(time.DateOnly)
		}
		return said + "."
	}
	return ""
}

func (a *app) tellSpares(s analysis.SparesAnswer, asOf time.Time) error {
	words := analysisWords{headline: sparesHeadline(s), method: s.Method, assumption: s.Assumption, cautions: s.Cautions}
	if err := a.lead(words.headline); err != nil {
		return err
	}
	w, err := output.New(a.config(), "items", sparesColumns())
	if err != nil {
		return err
	}
	var sentences []string
	for _, i := range s.Items {
		if err := w.Row(i); err != nil {
			return err
		}
		if i.Line.Remaining > 0 {
			sentences = append(sentences, i.Sentence)
		}
	}
	notes := []output.Note{
		a.headlineNote(words),
		{Text: sentences},
		{Key: "as_of", Value: asOf.Format(time.DateOnly)},
		{Key: "service_level", Value: s.ServiceLevel},
		{Key: "groups", Value: s.Groups},
		{Key: "shrinkage", Value: s.Shrinkage.String()},
		{Key: "prior", Value: sparesPrior(s)},
	}
	return w.Close(append(notes, words.closing()...)...)
}

// sparesNotes are the names of the notes, besides those of every analysis.
var sparesNotes = []string{"headline", "as_of", "service_level", "groups", "shrinkage", "prior"}

// sparesPrior is what the loss rates were drawn towards; nil where nothing was fitted.
func sparesPrior(s analysis.SparesAnswer) any {
	if s.Groups == 0 || s.Shrinkage != stats.Fitted {
		return nil
	}
	return output.Object{{Key: "alpha", Value: s.Prior.Alpha}, {Key: "beta", Value: s.Prior.Beta}}
}

func sparesColumns() []output.Column[analysis.SparesItem] {
	type item = analysis.SparesItem
	whole := func(name, heading string, value func(item) *int64) output.Column[item] {
		return output.Column[item]{Name: name, Heading: heading, Value: func(i item) any {
			if value(i) == nil {
				return nil
			}
			return *value(i)
		}}
	}
	maybe := func(name string, value func(item) *float64) output.Column[item] {
		return output.Column[item]{Name: name, Value: func(i item) any { return pointed(value(i)) }}
	}
	return []output.Column[item]{
		{Name: "fastener", Heading: "FASTENER", Value: func(i item) any { return i.Line.Fastener }},
		{Name: "site", Heading: "SITE", Value: func(i item) any { return text(i.Line.Site) }},
		{Name: "failures", Value: func(i item) any { return i.Line.Failures }},
		{Name: "attempts", Value: func(i item) any { return i.Line.Attempts }},
		{Name: "remaining", Heading: "REMAIN", Value: func(i item) any { return i.Line.Remaining }},
		{Name: "stock", Heading: "STOCK", Value: func(i item) any { return i.Line.OnHand }},
		{Name: "installs_per_day", Value: func(i item) any { return figure(i.Line.InstallsPerDay) }},
		{Name: "lead_days", Value: func(i item) any { return i.Line.LeadTimeDays }},
		{Name: "pack", Value: func(i item) any { return i.Line.PackSize }},
		maybe("loss_per_1000", func(i item) *float64 { return i.LossPer1000 }),
		maybe("loss_lower_per_1000", func(i item) *float64 { return i.LossLowerPer1000 }),
		maybe("loss_upper_per_1000", func(i item) *float64 { return i.LossUpperPer1000 }),
		maybe("mean_losses", func(i item) *float64 { return i.MeanLosses }),
		whole("losses", "LOSSES", func(i item) *int64 { return i.Losses }),
		whole("need", "NEED", func(i item) *int64 { return i.Need }),
		{Name: "run_out", Heading: "RUNS OUT", Value: func(i item) any { return pointed(i.RunOut) }, Text: func(i item) string { return probabilityText(i.RunOut) }},
		whole("short", "", func(i item) *int64 { return i.Short }),
		whole("order", "ORDER", func(i item) *int64 { return i.Order }),
		{Name: "order_by", Heading: "BY", Value: func(i item) any {
			if i.OrderBy == nil {
				return nil
			}
			return i.OrderBy.Format(time.DateOnly)
		}, Text: func(i item) string {
			switch {
			case i.OrderBy == nil:
				return "-"
			case i.Late:
				return i.OrderBy.Format(time.DateOnly) + " past"
			}
			return i.OrderBy.Format(time.DateOnly)
		}},
		{Name: "late", Value: func(i item) any { return i.Late }},
		whole("covers_installs", "", func(i item) *int64 { return i.CoversInstalls }),
		{Name: "sentence", Value: func(i item) any { return i.Sentence }},
	}
}
