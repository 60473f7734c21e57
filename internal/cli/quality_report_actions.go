package cli

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/forecast"
	"jointledger/internal/ledger"
	"jointledger/internal/report"
	picture "jointledger/internal/report/figure"
	pb "jointledger/proto/jointledger/v1"
)

// actions are all that the figures call for; MostPressing chooses among them.
func (r *reportAnswers) actions(d *report.QualityDocument) []report.Action {
	var all []report.Action
	if d.Lots != nil {
		all = append(all, r.lotActions()...)
	}
	if d.Spares != nil {
		all = append(all, r.sparesActions()...)
	}
	if d.Coverage != nil {
		all = append(all, r.coverageActions()...)
	}
	all = append(all, r.failedActions()...)
	if d.Sites != nil {
		all = append(all, r.siteActions()...)
	}
	if d.Holds != nil {
		all = append(all, r.holdActions()...)
	}
	if d.Progress != nil {
		all = append(all, r.progressActions(d.Progress)...)
	}
	return all
}

// lotActions take lots out of use. What is at stake is what the lot fails more than
// the others would, so far and in what is left of it.
func (r *reportAnswers) lotActions() []report.Action {
	var all []report.Action
	for _, l := range r.comparedLots() {
		if !l.worse() {
			continue
		}
		excess := 1.0
		if l.row.Value != nil {
			excess = 1 - 1 / *l.row.Value
		}
		rate := float64(l.row.Failures) / math.Max(1, float64(l.row.Attempts))
		do := fmt.Sprintf("Take lot %s out of use and quarantine what is left", l.lot)
		if l.onHand > 0 {
			do = fmt.Sprintf("Take lot %s out of use and quarantine the %s on hand", l.lot, several(l.onHand, "piece"))
		}
		all = append(all, report.Action{Kind: "lot", Name: l.lot, Part: report.PartLots, AtStake: excess * rate * (float64(l.row.Attempts) + float64(l.onHand)),
			Sentence: fmt.Sprintf("%s: it fails %s as often as the others within the same site, treatment and material (%s interval %s; %s of %s failed).",
				do, timesOf(l.row), picture.Percent(reportConfidence), intervalOf(l.row.Lower, l.row.Upper), commas(l.row.Failures), commas(l.row.Attempts))})
	}
	return all
}

// timesOf says how many times; where the others had no failure, at least how many.
func timesOf(row picture.ForestRow) string {
	if row.Value == nil {
		return "at least " + picture.Number(valueOr(row.Lower, 0)) + " times"
	}
	return picture.Number(*row.Value) + " times"
}

// intervalOf writes an interval that may have no end.
func intervalOf(lower, upper *float64) string {
	if upper == nil {
		return "above " + picture.Number(valueOr(lower, 0))
	}
	return picture.Number(valueOr(lower, 0)) + " to " + picture.Number(*upper)
}

// sparesActions order what runs out: at stake is what can't be installed without it.
func (r *reportAnswers) sparesActions() []report.Action {
	var all []report.Action
	for _, i := range r.spares.GetItems() {
		if i.Order == nil || i.GetOrder() == 0 || i.RunOut == nil || i.Need == nil {
			continue
		}
		site, by := ledger.ShortName(i.GetSite()), "now"
		if day := i.GetOrderByDate(); day != "" && !i.GetLate() {
			by = "by " + day
		}
		all = append(all, report.Action{Kind: "place", Name: site, Part: report.PartSpares, AtStake: float64(i.GetShort()),
			Sentence: fmt.Sprintf("Order %s of %s for %s %s: what is on hand runs out with a probability of %s; at %s service %s are needed and %s are there.",
				commas(i.GetOrder()), i.GetFastener(), site, by, picture.Percent(i.GetRunOut()), picture.Percent(r.spares.GetServiceLevel()), commas(i.GetNeed()), commas(i.GetOnHand()))})
	}
	return all
}

// coverageActions close the gaps in tools: at stake are the joints planned meanwhile.
func (r *reportAnswers) coverageActions() []report.Action {
	var all []report.Action
	for _, g := range r.coverage.GetGaps() {
		if g.GetJoints() == 0 {
			continue
		}
		site := ledger.ShortName(g.GetSite())
		action := report.Action{Kind: "place", Name: site, Part: report.PartCoverage, AtStake: float64(g.GetJoints())}
		do := fmt.Sprintf("Hire or buy a tool for %s, or move the work", site)
		switch {
		case len(g.GetTransfers()) > 0:
			t := g.GetTransfers()[0]
			action.Kind, action.Name = "tool", ledger.ShortName(t.GetTool())
			do = fmt.Sprintf("Send %s from %s to %s by %s", action.Name, ledger.ShortName(t.GetFromSite()), site, t.GetLatestDay())
		case len(g.GetCalibrations()) > 0:
			c := g.GetCalibrations()[0]
			action.Kind, action.Name = "tool", ledger.ShortName(c.GetTool())
			do = fmt.Sprintf("Have %s of %s calibrated by %s", action.Name, site, c.GetLatestDay())
		}
		action.Sentence = fmt.Sprintf("%s: from %s through %s %s planned there (%s) %s no usable tool for %s.", do, g.GetFirstDay(), g.GetLastDay(),
			several(g.GetJoints(), "joint"), several(g.GetFasteners(), "fastener"), oneOf(g.GetJoints(), "has", "have"), torquesOf(g))
		all = append(all, action)
	}
	return all
}

// failedActions go over what tools that came back failed did meanwhile: at stake are
// the joints that nobody has gone over again.
func (r *reportAnswers) failedActions() []report.Action {
	var all []report.Action
	for _, f := range r.failed {
		n := f.GetJoints() + f.GetWithoutTorque()
		if n == 0 {
			continue
		}
		tool := ledger.ShortName(f.GetTool())
		since := "for as long as it is on record"
		if f.GetStartTime() != nil {
			since = "since " + f.GetStartTime().AsTime().Format(time.DateOnly)
		}
		wrong := "it showed no torque at all"
		if f.WorstPercent != nil {
			wrong = fmt.Sprintf("it was out by %s %%", picture.Number(f.GetWorstPercent()))
		}
		all = append(all, report.Action{Kind: "tool", Name: tool, Part: report.PartCoverage, AtStake: float64(n),
			Sentence: fmt.Sprintf("Decide on %s that %s of %s tightened %s: at its calibration on %s %s. Whether the torque they got lies outside the window is told by trackctl impact %s.",
				several(n, "joint"), tool, ledger.ShortName(f.GetSite()), since, f.GetOccurTime().AsTime().Format(time.DateOnly), wrong, tool)})
	}
	return all
}

func torquesOf(g *pb.CoverageGap) string {
	var parts []string
	for _, t := range g.GetOpenNewtonMetres() {
		parts = append(parts, picture.Number(t))
	}
	return joined(parts) + " N.m"
}

// siteActions look into sites that stand out: at stake is what they fail more than
// expected, at the pace so far, in the weeks that the report looks ahead.
func (r *reportAnswers) siteActions() []report.Action {
	var all []report.Action
	last := r.asOf
	weeks := math.Max(1, last.Sub(dayOf(r.options.since)).Hours()/(24*7))
	for _, u := range standingFrom(r.siteStanding).Units {
		inScope := r.options.site == "" || u.Unit == r.options.site
		if u.Ratio == nil || u.Unit == "" || !inScope || u.Band != analysis.AboveTwoSigma && u.Band != analysis.AboveThreeSigma {
			continue
		}
		all = append(all, report.Action{Kind: "place", Name: u.Unit, Part: report.PartSites, AtStake: (float64(u.Failures) - u.Expected) / weeks * reportWeeks,
			Sentence: fmt.Sprintf("Look into %s: %s times the failures that its lots, treatments and materials lead one to expect (%s interval %s; %s where %s were to be expected), more than chance does.",
				u.Unit, picture.Number(*u.Ratio), picture.Percent(reportConfidence), intervalOf(u.RatioLower, u.RatioUpper), commas(u.Failures), picture.Number(u.Expected))})
	}
	return all
}

// holdActions decide on what has been held for a month: at stake is what stands still.
func (r *reportAnswers) holdActions() []report.Action {
	type held struct {
		things map[string]bool
		oldest int64
	}
	sites := map[string]*held{}
	for _, h := range r.holds {
		place, err := ledger.ParsePlaceResource(h.GetPlace())
		days := holdDays(h, r.begun)
		if err != nil || days < int64(holdAges[len(holdAges)-1]) {
			continue
		}
		if sites[place.Site] == nil {
			sites[place.Site] = &held{things: map[string]bool{}}
		}
		s := sites[place.Site]
		s.things[place.String()] = true
		s.oldest = max(s.oldest, days)
	}
	var all []report.Action
	for _, site := range slices.Sorted(maps.Keys(sites)) {
		s := sites[site]
		n := int64(len(s.things))
		all = append(all, report.Action{Kind: "place", Name: site, Part: report.PartHolds, AtStake: float64(n),
			Sentence: fmt.Sprintf("Decide at %s on %s that %s on hold for %d days or more, the longest for %d.", site, commas(n)+" "+oneOf(n, "joint or cell", "joints and cells"), oneOf(n, "has been", "have been"), holdAges[len(holdAges)-1], s.oldest)})
	}
	return all
}

// progressActions see to sites that will be late: at stake is what will not be done by
// the planned finish at the rate so far.
func (r *reportAnswers) progressActions(f *picture.Progress) []report.Action {
	var all []report.Action
	for _, s := range f.Sites {
		p := r.progress[s.Name]
		planned := dayOf(p.got.GetPlannedFinish())
		if s.Forecast == nil || planned.IsZero() || string(s.Forecast.Earliest) <= p.got.GetPlannedFinish() {
			continue // in time is within what the interval leaves possible
		}
		if p.finish.Idle >= forecast.Stopped {
			all = append(all, report.Action{Kind: "place", Name: s.Name, Part: report.PartProgress, AtStake: float64(p.left()),
				Sentence: fmt.Sprintf("See to %s: %s of %s %s still to be tightened and none was finished on the last %s; the planned finish is %s. Taken up again as before, the last is tightened on %s (%s interval %s).",
					s.Name, commas(p.left()), several(s.Whole, "joint"), oneOf(p.left(), "is", "are"), several(int64(p.finish.Idle), "working day"), p.got.GetPlannedFinish(),
					s.Forecast.Expected, picture.Percent(s.Forecast.Confidence), dayRange(s.Forecast))})
			continue
		}
		days := math.Max(0, planned.Sub(p.asOf).Hours()/24) * 5 / 7
		missing := math.Max(1, float64(p.left())-p.finish.Rate*days)
		all = append(all, report.Action{Kind: "place", Name: s.Name, Part: report.PartProgress, AtStake: missing,
			Sentence: fmt.Sprintf("See to %s: about %s will be missing at the planned finish %s; at the rate so far the last is tightened on %s (%s interval %s).",
				s.Name, several(int64(math.Round(missing)), "joint"), p.got.GetPlannedFinish(), s.Forecast.Expected, picture.Percent(s.Forecast.Confidence), dayRange(s.Forecast))})
	}
	return all
}
