package analysis

import (
	"cmp"
	"math"
	"slices"
	"time"

	"jointledger/internal/metrology"
)

// remedyOffer is a tool and the open demands that it would serve.
type remedyOffer struct {
	tool    *stationedTool
	serves  []openWork
	reserve []string
}

// spareTool is a tool that another site could send, with what rules it out
// soonest kept beside it: every gap goes through all of them.
type spareTool struct {
	tool   *stationedTool
	usable metrology.TorqueInterval
	// cycles are those left to it at most, until its date.
	cycles float64
	until  time.Time
}

// spareTools are the tools that any site could send, the smallest first: in the
// crib, without a hold, and in date at least now.
func spareTools(sites []*coverageState, o CoverageOptions) []spareTool {
	var spare []spareTool
	for _, s := range sites {
		for _, t := range s.tools {
			if t.lent() || len(t.Holds) > 0 || !t.hasRange || !t.inDate(o.AsOf) {
				continue
			}
			e := spareTool{tool: t, usable: t.usable, cycles: math.MaxFloat64}
			if n := t.Due.Tool.IntervalCycles; n > 0 {
				e.cycles = float64(n) - t.used - t.plannedThrough(len(s.days)-1)
			}
			if t.due != nil {
				e.until = t.due.At
			}
			spare = append(spare, e)
		}
	}
	slices.SortFunc(spare, func(a, b spareTool) int { return bySizeStationed(a.tool, b.tool) })
	return spare
}

// within gives the spare tools that could serve some of the gap.
func (g *openGap) within(spare []spareTool) []*stationedTool {
	var tools []*stationedTool
	for i := range spare {
		e := &spare[i]
		for _, w := range g.work {
			if rangeReaches(e.usable, g.state.demands[w.demand].torque) && e.cycles >= float64(w.all) &&
				(e.until.IsZero() || !e.until.Before(g.state.days[w.to].end)) {
				tools = append(tools, e.tool)
				break
			}
		}
	}
	return tools
}

func bySizeStationed(a, b *stationedTool) int { return bySize(a.TrackedTool, b.TrackedTool) }

// remedy seeks two ways of closing the gap: tools from other sites, and an early
// calibration of tools here.
func (g *openGap) remedy(spare []spareTool, o CoverageOptions) {
	byTransfer := g.choose(g.within(spare), func(t *stationedTool, left []openWork) (remedyOffer, bool) {
		return g.transfer(t, left, o)
	}, func(offer *remedyOffer) bool {
		// Looked into for the best only: it goes through the tools of a whole site.
		offer.reserve = g.reserve(*offer, o)
		if len(offer.reserve) == 0 || !offer.tool.spared() {
			return false
		}
		offer.tool.promised = g.Site
		for _, w := range offer.serves {
			offer.tool.given += float64(w.all)
		}
		offer.tool.at.rank()
		g.Transfers = append(g.Transfers, g.remedyOf(*offer, offer.tool.at.site.Code, o))
		return true
	})
	here := slices.SortedFunc(slices.Values(g.state.tools), bySizeStationed)
	byCalibration := g.choose(here, func(t *stationedTool, left []openWork) (remedyOffer, bool) {
		return g.calibrate(t, left, o)
	}, func(offer *remedyOffer) bool {
		for _, w := range offer.serves {
			offer.tool.anew += float64(w.all)
		}
		g.Calibrations = append(g.Calibrations, g.remedyOf(*offer, "", o))
		return true
	})
	g.sentClose, g.provedClose = len(byTransfer) == 0, len(byCalibration) == 0
	for _, w := range byTransfer {
		torque := g.state.demands[w.demand].torque
		if slices.ContainsFunc(byCalibration, func(c openWork) bool { return c.demand == w.demand }) && !slices.Contains(g.Unclosed, torque) {
			g.Unclosed = append(g.Unclosed, torque)
		}
	}
}

// choose takes the best offer that can be taken, again and again until all is
// served or none is left, and gives what stays open. The best serves the most
// demands; of those the smallest tool, in whose order the tools are.
func (g *openGap) choose(tools []*stationedTool, offer func(*stationedTool, []openWork) (remedyOffer, bool), take func(*remedyOffer) bool) []openWork {
	left := slices.Clone(g.work)
	for len(left) > 0 {
		best, ok := bestOffer(tools, left, offer, take)
		if !ok {
			break
		}
		left = slices.DeleteFunc(left, func(w openWork) bool {
			return slices.ContainsFunc(best.serves, func(s openWork) bool { return s.demand == w.demand })
		})
	}
	return left
}

func bestOffer(tools []*stationedTool, left []openWork, offer func(*stationedTool, []openWork) (remedyOffer, bool), take func(*remedyOffer) bool) (remedyOffer, bool) {
	var parts []remedyOffer
	for _, t := range tools {
		made, ok := offer(t, left)
		switch {
		case !ok:
		case len(made.serves) < len(left):
			parts = append(parts, made)
		case take(&made):
			// The smallest that serves all that is left: none can be better.
			return made, true
		}
	}
	slices.SortStableFunc(parts, func(a, b remedyOffer) int { return cmp.Compare(len(b.serves), len(a.serves)) })
	for _, part := range parts {
		if take(&part) {
			return part, true
		}
	}
	return remedyOffer{}, false
}

// transfer says which of the open demands a spare tool of another site could
// serve.
func (g *openGap) transfer(t *stationedTool, left []openWork, o CoverageOptions) (remedyOffer, bool) {
	// A tool promised to this site for another band may serve this one too.
	if t.at == g.state || t.promised != "" && t.promised != g.Site {
		return remedyOffer{}, false
	}
	offer := remedyOffer{tool: t}
	used := t.used + t.given + t.plannedThrough(len(t.at.days)-1)
	for _, w := range left {
		if t.suits(g.state.demands[w.demand], o) && t.inDate(g.state.days[w.to].end) && t.cyclesFor(w.all, used) {
			offer.serves = append(offer.serves, w)
			used += float64(w.all)
		}
	}
	if len(offer.serves) == 0 {
		return remedyOffer{}, false
	}
	return offer, true
}

// cyclesFor says whether so many more fasteners stay within the interval.
func (t *stationedTool) cyclesFor(fasteners int64, used float64) bool {
	interval := t.Due.Tool.IntervalCycles
	return interval == 0 || used+float64(fasteners) <= float64(interval)
}

// reserve gives the tools that stay at the other site and serve all that the one
// sent would serve here, through the same day.
func (g *openGap) reserve(offer remedyOffer, o CoverageOptions) []string {
	var serials []string
	for _, t := range offer.tool.at.tools {
		if t == offer.tool || t.promised != "" || len(t.Holds) > 0 {
			continue
		}
		if !slices.ContainsFunc(offer.serves, func(w openWork) bool {
			return !t.suits(g.state.demands[w.demand], o) || !t.inDate(g.state.days[w.to].end) || t.planOutBefore(g.state.days[w.to].date)
		}) {
			serials = append(serials, t.serial())
		}
	}
	return serials
}

// planOutBefore says whether the tool drops out at its own site by a day.
func (t *stationedTool) planOutBefore(d metrology.Date) bool {
	return t.outDay < len(t.at.days) && !utcNoon(t.at.days[t.outDay].date).After(utcNoon(d))
}

// spared says whether the tool's own site is served without it for as long as
// with it, in everything planned there.
func (t *stationedTool) spared() bool {
	for j := range t.at.demands {
		if !t.suitsOwn[j] {
			continue
		}
		without := t.at.served[j].without(t)
		if t.outDay <= without {
			continue
		}
		if alone, with := t.at.openFrom(j, without), t.at.openFrom(j, t.outDay); alone.all > with.all || alone.joints > with.joints {
			return false
		}
	}
	return true
}

// calibrate says which of the open demands a tool of this site would serve if it
// were calibrated in time. A tool on hold, or one that failed, needs more.
func (g *openGap) calibrate(t *stationedTool, left []openWork, o CoverageOptions) (remedyOffer, bool) {
	if t.out == nil || t.promised != "" || len(t.Holds) > 0 || t.due != nil && t.due.Reason == RefusedFailed {
		return remedyOffer{}, false
	}
	offer := remedyOffer{tool: t}
	used := t.anew
	by, _ := parsedDay(g.by(left, o))
	for _, w := range left {
		end := g.state.days[w.to].end
		months := t.Due.Tool.IntervalMonths
		lasts := months == 0 || !by.AddMonths(months).EndIn(t.Due.Location).Before(end)
		other := t.otherDue.IsZero() || !t.otherDue.Before(end)
		if t.suits(g.state.demands[w.demand], o) && lasts && other && t.cyclesFor(w.all, used) {
			offer.serves = append(offer.serves, w)
			used += float64(w.all)
		}
	}
	return offer, len(offer.serves) > 0
}

// by is the last working day before the first of the open work, and not before
// the day looked from.
func (g *openGap) by(work []openWork, o CoverageOptions) string {
	first := len(g.state.days)
	for _, w := range work {
		first = min(first, w.from)
	}
	if first == 0 {
		return dateText(metrology.DateOf(o.AsOf, g.state.site.Location))
	}
	return dateText(g.state.days[first-1].date)
}

func (g *openGap) remedyOf(offer remedyOffer, from string, o CoverageOptions) GapRemedy {
	r := GapRemedy{Serial: offer.tool.serial(), FromSite: from, By: g.by(offer.serves, o), Reserve: offer.reserve}
	for _, w := range offer.serves {
		if torque := g.state.demands[w.demand].torque; !slices.Contains(r.NewtonMetres, torque) {
			r.NewtonMetres = append(r.NewtonMetres, torque)
		}
	}
	return r
}
