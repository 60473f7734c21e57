package analysis

import (
	"fmt"
	"slices"
	"strconv"

	"jointledger/internal/stats"
)

func sparesName(l SparesLine) string {
	name := standingName(l.Fastener)
	if l.Site != "" {
		name += " at " + l.Site
	}
	return name
}

func sparesPercent(p float64) string { return strconv.FormatFloat(100*p, 'g', 4, 64) + " %" }

func sparesLosses(n int64) string {
	if n == 1 {
		return "1 loss"
	}
	return strconv.FormatInt(n, 10) + " losses"
}

// sparesDay writes a date as the project's days are written.
const sparesDay = "2006-01-02"

// sparesSentence says what the item means for the crib.
func sparesSentence(i *SparesItem, o SparesOptions) string {
	name, l := sparesName(i.Line), i.Line
	switch {
	case l.Remaining == 0:
		return fmt.Sprintf("%s: nothing remains to be installed.", name)
	case i.LossPer1000 == nil && l.OnHand < l.Remaining:
		return fmt.Sprintf("%s: %d remain to be installed and %d are on hand; no attempts are on record anywhere, so how many will be lost on top is not known.", name, l.Remaining, l.OnHand)
	case i.LossPer1000 == nil:
		return fmt.Sprintf("%s: %d are on hand for %d installs; no attempts are on record anywhere, so whether that allows for losses is not known.", name, l.OnHand, l.Remaining)
	case i.Need == nil:
		return fmt.Sprintf("%s: so little is on record, or so much was lost, that no stock can be named that lasts at %s; find the cause before ordering.", name, sparesPercent(o.ServiceLevel))
	}
	text := fmt.Sprintf("%s: %d installs remain", name, l.Remaining)
	if i.MeanLosses != nil {
		text += fmt.Sprintf(" and %s losses are to be expected", standingFigure(*i.MeanLosses))
	}
	text += fmt.Sprintf("; at %s allow for %s, so %d are needed against %d on hand; probability of running out %s",
		sparesPercent(o.ServiceLevel), sparesLosses(*i.Losses), *i.Need, l.OnHand, standingProbability(*i.RunOut))
	switch {
	case *i.Short == 0:
		return text + "; no order needed."
	case i.OrderBy == nil:
		return text + fmt.Sprintf("; order %d; by when is not known without a plan of installs a day.", *i.Order)
	case i.Late:
		return text + fmt.Sprintf("; order %d now: the last day for it was %s, with a lead time of %d days.", *i.Order, i.OrderBy.Format(sparesDay), l.LeadTimeDays)
	}
	return text + fmt.Sprintf("; order %d by %s, with a lead time of %d days.", *i.Order, i.OrderBy.Format(sparesDay), l.LeadTimeDays)
}

func sparesWords(a *SparesAnswer, o SparesOptions) {
	a.Method = fmt.Sprintf("Loss rates by beta-binomial empirical Bayes, marginal maximum likelihood, over %d groups (Williams 1975). "+
		"A stock of S finishes N installs when at most S−N of its S attempts are lost, lost replacements included; losses are predicted by the beta-binomial distribution of the shrunk rate (Skellam 1948). "+
		"Need is the smallest stock that lasts with probability %s; order quantities are whole packs; the day to order by is when the installs that the stock covers at that probability are done, at the planned pace, less the lead time. Intervals of loss rates two-sided, confidence %s",
		a.Groups, strconv.FormatFloat(o.ServiceLevel, 'g', -1, 64), strconv.FormatFloat(sparesConfidence, 'g', -1, 64))
	a.Assumption = "What remains is lost at the same rate as what was installed, each fastener independently of the others; rates of the groups are drawn from one population; the plan is kept; stock on hand is all fit for use and not meant for other work."
	a.Cautions = sparesCautions(a)
}

func sparesCautions(a *SparesAnswer) []string {
	var cautions []string
	add := func(format string, args ...any) { cautions = append(cautions, fmt.Sprintf(format, args...)) }
	name := func(which func(*SparesItem) bool) []string {
		var names []string
		for i := range a.Items {
			if which(&a.Items[i]) {
				names = append(names, sparesName(a.Items[i].Line))
			}
		}
		slices.Sort(names)
		return names
	}
	if len(a.Items) == 0 {
		add("No fastener was asked about: there is nothing to forecast.")
		return cautions
	}
	if n := name(func(i *SparesItem) bool { return i.Line.unusable() && i.Line.Failures > 0 }); len(n) > 0 {
		add("The record of %s has failures without tightenings beside them, or more failures than attempts: it gives no rate and is not used.", list(n))
	}
	if a.Groups == 0 {
		add("No attempts are on record: there is no loss rate, and no forecast. Need is at least what remains to be installed.")
	} else {
		if n := name(func(i *SparesItem) bool { return i.Line.Attempts == 0 || i.Line.unusable() }); len(n) > 0 {
			add("No rate of its own is on record for %s: the forecast rests on the other groups alone.", list(n))
		}
		if words := sparesFallback[a.Shrinkage]; words != "" {
			add("%s", words)
		} else if a.Groups < standingFewUnits {
			add("Only %d groups have attempts on record: how much they differ is poorly known, and the forecast somewhat too sure.", a.Groups)
		}
	}
	if n := name(func(i *SparesItem) bool { return i.Line.OnHand < 0 }); len(n) > 0 {
		add("More was used than received of %s: the stock on record is negative; count it.", list(n))
	}
	return append(cautions,
		"Losses come in bursts: one bad lot, one driver, one cold week. The forecast spreads them evenly; keep lots apart, and forecast again after a burst (common practice, no source).",
		"Bolt, nut and washer are lost together: a galled bolt costs all three. Order them as sets, unless the record tells them apart (common practice, no source).")
}

var sparesFallback = map[stats.Fallback]string{
	stats.FewGroups:     "Fewer than " + strconv.Itoa(stats.LeastGroups) + " groups have attempts on record: rates are not drawn together; each keeps to its own record (Jeffreys' prior).",
	stats.NoSpread:      "The groups differ no more than chance makes them, so all are given the pooled loss rate. That is no proof that they are alike.",
	stats.EndlessSpread: "The groups differ without any limit that the counts show: rates are not drawn together; each keeps to its own record (Jeffreys' prior).",
}
