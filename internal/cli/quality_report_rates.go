package cli

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	picture "jointledger/internal/report/figure"
	"jointledger/internal/stats"
)

// reportConfidence is that of every interval of the report.
const reportConfidence = 0.95

// comparedLot is a row of the forest with what it rests on.
type comparedLot struct {
	lotComparison
	row      picture.ForestRow
	headline string
}

// comparedLots sets each lot beside the others, what stands out first and then the
// greatest ratio.
func (r *reportAnswers) comparedLots() []comparedLot {
	var lots []comparedLot
	var p []float64
	for _, l := range r.lots {
		if l.got == nil {
			continue
		}
		c := comparedLot{lotComparison: l, headline: l.got.GetHeadline()}
		c.row = picture.ForestRow{Name: l.lot, Failures: l.got.GetA().GetFailures(), Attempts: l.got.GetA().GetAttempts()}
		s := l.got.GetStratified()
		chance := 1.0
		if risk := s.GetRelativeRisk(); risk.GetEstimate() > 0 || risk.GetUpper() > 0 || risk.GetLower() > 0 {
			lower := risk.GetLower()
			c.row.Value, c.row.Lower, c.row.Upper = clone(risk.Estimate), &lower, clone(risk.Upper)
			chance = s.GetCmh().GetPValue()
		}
		lots, p = append(lots, c), append(p, chance)
	}
	// The lots that were not compared are those that stand better; they count for the
	// allowance as if each had been tried and shown nothing.
	for range len(r.lotStanding.GetUnits()) - len(p) {
		p = append(p, 1)
	}
	adjusted, err := stats.BenjaminiHochberg(p)
	for i := range lots {
		row := &lots[i].row
		row.StandsOut = err == nil && adjusted[i] < 1-reportConfidence && row.Lower != nil && (*row.Lower > 1 || row.Upper != nil && *row.Upper < 1)
	}
	slices.SortStableFunc(lots, func(a, b comparedLot) int {
		return cmp.Or(-compareBools(a.worse(), b.worse()), cmp.Compare(valueOr(b.row.Value, -1), valueOr(a.row.Value, -1)), cmp.Compare(a.lot, b.lot))
	})
	return lots
}

// worse says whether the lot fails more often than chance explains.
func (c comparedLot) worse() bool { return c.row.StandsOut && c.row.Lower != nil && *c.row.Lower > 1 }

func compareBools(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

func valueOr(v *float64, instead float64) float64 {
	if v == nil {
		return instead
	}
	return *v
}

func (r *reportAnswers) forest() *picture.Forest {
	lots := r.comparedLots()
	if len(lots) < 2 {
		return nil
	}
	one := 1.0
	f := &picture.Forest{Of: "lots", Measure: "failure rate over that of the other lots, same site, treatment and material", Ratio: true, Confidence: reportConfidence,
		Reference: &one, ReferenceLabel: "as often as the others", Most: reportLots}
	var silent []string
	for _, l := range lots {
		if l.row.Value == nil && l.row.Lower == nil {
			silent = append(silent, l.lot)
			continue
		}
		f.Rows = append(f.Rows, l.row)
	}
	if len(f.Rows) < 2 {
		return nil
	}
	if len(silent) > 0 {
		f.LeftOut = append(f.LeftOut, "No ratio can be given, because under like conditions neither the lot nor the others failed, or there were no others: "+joined(silent)+".")
	}
	first := lots[0]
	f.Method, f.Assumption = ended(first.got.GetMethod())+" Lots stand out when the Cochran-Mantel-Haenszel p-value, adjusted over all lots after Benjamini and Hochberg (1995), is below 0.05.", first.got.GetAssumption()
	if first.worse() {
		var rest string
		f.Finding, rest = firstSentence(first.headline)
		f.Cautions = appendGiven(f.Cautions, rest)
		f.Cautions = append(f.Cautions, first.got.GetCautions()...)
		for _, l := range lots[1:] {
			if l.worse() {
				finding, rest := firstSentence(l.headline)
				f.Cautions = appendGiven(f.Cautions, strings.TrimSpace("Also: "+finding+" "+rest))
			}
		}
	} else {
		f.Finding = fmt.Sprintf("No lot is shown to fail more often than the others within the same site, treatment and material; the highest ratio is that of %s, %s.",
			first.lot, picture.Estimate(first.row.Value, first.row.Lower, first.row.Upper))
		f.Cautions = append(f.Cautions, "That no lot stands out does not show that all are alike: with few failures a difference can hide.")
	}
	if rest := len(r.lotStanding.GetUnits()) - len(lots); rest > 0 {
		f.LeftOut = append(f.LeftOut, fmt.Sprintf("%s that %s better, or can't be compared because no other lot was used under like conditions.", several(int64(rest), "lot"), oneOf(int64(rest), "stands", "stand")))
	}
	return f
}

func appendGiven(list []string, text string) []string {
	if text == "" {
		return list
	}
	return append(list, text)
}

// sigma is beyond which limits of the funnel a band lies.
var sigma = map[analysis.StandingBand]int{analysis.AboveThreeSigma: 3, analysis.AboveTwoSigma: 2, analysis.BelowTwoSigma: -2, analysis.BelowThreeSigma: -3}

func (r *reportAnswers) funnel() *picture.Funnel {
	if r.siteStanding == nil {
		return nil
	}
	s := standingFrom(r.siteStanding)
	f := &picture.Funnel{Of: "sites", Measure: "failures over those expected for the mix", Precision: "expected failures", Target: 1, OverDispersion: s.OverDispersion}
	f.Method, f.Assumption, f.Cautions = s.Method, s.Assumption, slices.Clone(s.Cautions)
	var without []string
	least, greatest := 0.0, 0.0
	for _, u := range s.Units {
		if u.Ratio == nil {
			without = append(without, fmt.Sprintf("%s (%s of %s failed)", shownName(u.Unit), commas(u.Failures), commas(u.Attempts)))
			continue
		}
		f.Points = append(f.Points, picture.FunnelPoint{Name: shownName(u.Unit), Precision: u.Expected, Value: *u.Ratio, Sigma: sigma[u.Band], Lower: clone(u.RatioLower), Upper: clone(u.RatioUpper)})
		if least == 0 || u.Expected < least {
			least = u.Expected
		}
		greatest = max(greatest, u.Expected)
	}
	if len(f.Points) < 2 {
		return nil
	}
	if limits, err := picture.RatioLimits(least*0.9, greatest*1.1, valueOr(s.OverDispersion, 1)); err == nil {
		f.Limits = limits
	}
	if len(without) > 0 {
		f.LeftOut = append(f.LeftOut, "No ratio can be given, because nothing was to be expected or no other site shares lot, treatment and material: "+strings.Join(without, ", ")+".")
	}
	if r.allSitesStanding {
		f.Cautions = append(f.Cautions, fmt.Sprintf("%s is shown among all sites: one site alone can be compared with nothing.", r.options.site))
	}
	f.Finding = standingFinding(s)
	return f
}

// standingFinding says which sites stand out, after what the headline says of the
// order.
func standingFinding(s analysis.StandingAnswer) string {
	var worse []string
	for _, u := range s.Units {
		if u.Band == analysis.AboveTwoSigma || u.Band == analysis.AboveThreeSigma {
			worse = append(worse, fmt.Sprintf("%s has %s times the failures that its lots, treatments and materials lead one to expect (95 %% interval %s to %s)",
				shownName(u.Unit), picture.Number(*u.Ratio), picture.Number(valueOr(u.RatioLower, 0)), picture.Number(valueOr(u.RatioUpper, 0))))
		}
	}
	if len(worse) > 0 {
		return strings.Join(worse[:min(3, len(worse))], "; ") + "."
	}
	for _, h := range s.Headlines {
		if strings.HasPrefix(h, "No ") {
			return h
		}
	}
	if len(s.Headlines) > 0 {
		return s.Headlines[len(s.Headlines)-1]
	}
	return "No site stands out beyond chance once lots, treatments and materials are allowed for."
}

// ordersDiffer is what the standing says of the crude order where it misleads, with
// both orders.
func (r *reportAnswers) ordersDiffer() string {
	if r.siteStanding == nil {
		return ""
	}
	s := standingFrom(r.siteStanding)
	var crude, standardised []analysis.StandingUnit
	for _, u := range s.Units {
		if u.Ratio != nil {
			crude, standardised = append(crude, u), append(standardised, u)
		}
	}
	slices.SortStableFunc(crude, func(a, b analysis.StandingUnit) int { return cmp.Compare(a.CrudeRank, b.CrudeRank) })
	slices.SortStableFunc(standardised, func(a, b analysis.StandingUnit) int { return cmp.Compare(a.StandardisedRank, b.StandardisedRank) })
	byRate, byRatio := unitNames(crude), unitNames(standardised)
	if len(s.Headlines) == 0 || slices.Equal(byRate, byRatio) {
		return ""
	}
	const most = 8
	more := ""
	if len(byRate) > most {
		more = fmt.Sprintf(" (the first %d of %d)", most, len(byRate))
		byRate, byRatio = byRate[:most], byRatio[:most]
	}
	return fmt.Sprintf("%s Worst first by the crude rate%s: %s; at equal mix of lot, treatment and material: %s.", s.Headlines[0], more, strings.Join(byRate, ", "), strings.Join(byRatio, ", "))
}

func unitNames(units []analysis.StandingUnit) []string {
	var names []string
	for _, u := range units {
		names = append(names, shownName(u.Unit))
	}
	return names
}

// chartNames are what the charts are called.
var chartNames = map[analysis.ChartKind]string{
	analysis.ChartP: "p chart", analysis.ChartNP: "np chart", analysis.ChartC: "c chart", analysis.ChartU: "u chart", analysis.ChartLaneyP: "Laney p′ chart",
	analysis.ChartLaneyU: "Laney u′ chart", analysis.ChartG: "g chart", analysis.ChartT: "t chart", analysis.ChartEWMA: "moving average (EWMA)",
}

func (r *reportAnswers) charts() []*picture.ControlChart {
	var charts []*picture.ControlChart
	for _, t := range r.trends {
		if t.got == nil || len(t.got.GetPoints()) == 0 {
			continue
		}
		a := trendFrom(t.got)
		f := &picture.ControlChart{Of: t.of, Kind: chartNames[a.Kind], Measure: a.Unit, Centre: a.Centre}
		f.Method, f.Assumption, f.Cautions = ended(a.Method)+" "+a.KindReason, a.Assumption, slices.Clone(a.Cautions)
		var rest string
		f.Finding, rest = firstSentence(a.Headline)
		f.Cautions = appendGiven(f.Cautions, rest)
		for _, p := range a.Points {
			f.Points = append(f.Points, picture.ControlPoint{Label: p.Label, Value: p.Value, Lower: clone(p.Lower), Upper: clone(p.Upper), Beyond: p.Beyond})
		}
		f.Change = chartChange(f, a)
		charts = append(charts, f)
	}
	slices.SortStableFunc(charts, func(a, b *picture.ControlChart) int { return cmp.Compare(alarming(b), alarming(a)) })
	return charts
}

// chartChange is the change in the chart's measure; nil where the chart has no point at
// it, or measures something else than a rate.
func chartChange(f *picture.ControlChart, a analysis.TrendAnswer) *picture.ControlChange {
	if a.Change == nil || !a.Change.BeyondChance || a.Kind == analysis.ChartG || a.Kind == analysis.ChartT {
		return nil
	}
	c := &picture.ControlChange{FirstAfter: a.Change.FirstAfter, Before: a.Change.Before, After: a.Change.After}
	if a.Kind == analysis.ChartNP || a.Kind == analysis.ChartC {
		// These chart a number in rows of equal size, and the change is given as a rate.
		if a.Attempts == 0 || len(a.Points) == 0 {
			return nil
		}
		size := float64(a.Attempts) / float64(len(a.Points)) / 1000
		c.Before, c.After = c.Before*size, c.After*size
	}
	f.Change = c
	defer func() { f.Change = nil }()
	if f.ChangeAt() == 0 {
		return nil
	}
	return c
}

// alarming is how many points lie beyond the upper limit, a change upwards counted
// with them.
func alarming(f *picture.ControlChart) int {
	n := 0
	for _, p := range f.Points {
		if p.Beyond > 0 {
			n++
		}
	}
	if f.Change != nil && f.Change.After > f.Change.Before {
		n += len(f.Points)
	}
	return n
}

func (r *reportAnswers) pareto() *picture.Pareto {
	f := &picture.Pareto{Of: "incidents"}
	fasteners := int64(0)
	for _, n := range r.incidents {
		f.Kinds = append(f.Kinds, picture.ParetoKind{Name: wordOf(ledger.IncidentKinds, n.GetKind()), Count: n.GetIncidents()})
		fasteners += n.GetFasteners()
	}
	total := f.Total()
	if total == 0 {
		return nil
	}
	f.Method = "Incidents of each kind, each counted once however many fasteners it names, corrections taken in, added up in the order of their number (Juran 1951)."
	f.Assumption = "Every incident is on record with the right kind."
	f.Cautions = []string{"How often a kind is reported is not how much it costs, and zeal in reporting differs from site to site.",
		fmt.Sprintf("Incidents are counted here and fasteners in the rates: one incident may name several, and these name %s together.", several(fasteners, "fastener"))}
	bars := f.Bars()
	sum, names := int64(0), []string{}
	for _, b := range bars {
		sum, names = sum+b.Count, append(names, b.Name)
		if float64(sum) >= 0.7*float64(total) || len(names) == 3 {
			break
		}
	}
	f.Finding = fmt.Sprintf("%s %s up %s of the %s.", capitalised(joined(names)), oneOf(int64(len(names)), "makes", "make"), picture.Percent(float64(sum)/float64(total)), several(total, "incident"))
	return f
}

// joined writes a list as a sentence has it.
func joined(names []string) string {
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return strings.Join(names, "")
}

// capitalised begins a sentence.
func capitalised(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}
