package analysis

import (
	"cmp"
	"fmt"
	"slices"
)

// bands are those in which the site has a demand, ascending.
func (s *coverageState) bands() []TorqueBand {
	var bands []TorqueBand
	for _, d := range s.demands {
		if !slices.Contains(bands, d.band) {
			bands = append(bands, d.band)
		}
	}
	return bands
}

// weekDays are the first day of a week and the one after its last, as indices.
func (s *coverageState) weekDays(week int) (from, to int) {
	for i, d := range s.days {
		if d.week < week {
			from = i + 1
		}
		if d.week <= week {
			to = i + 1
		}
	}
	return from, to
}

// lastServed is how long a demand is served: to the latest day on which a tool
// that suits drops out. Nothing that dropped out comes back within the plan.
type lastServed struct {
	by           *stationedTool
	first, other int // the day from which it, and the best of the others, serve no more
}

func (l lastServed) without(t *stationedTool) int {
	if l.by == t {
		return l.other
	}
	return l.first
}

// rank finds how long each demand is served by tools that are not promised to
// another site.
func (s *coverageState) rank() {
	s.served = make([]lastServed, len(s.demands))
	for _, t := range s.tools {
		if t.promised != "" {
			continue
		}
		for j := range s.demands {
			l := &s.served[j]
			switch {
			case !t.suitsOwn[j]:
			case t.outDay > l.first:
				*l = lastServed{by: t, first: t.outDay, other: l.first}
			default:
				l.other = max(l.other, t.outDay)
			}
		}
	}
}

// cells gives the cells of the site in which something is planned.
func (s *coverageState) cells(o CoverageOptions) []CoverageCell {
	var cells []CoverageCell
	if len(s.days) == 0 {
		return nil
	}
	open := make([]int, len(s.demands))
	for j := range s.demands {
		open[j] = s.served[j].first
	}
	for week := s.days[0].week; week <= s.days[len(s.days)-1].week; week++ {
		from, to := s.weekDays(week)
		for _, band := range s.bands() {
			if c := s.cell(band, from, to, open, o); c.Joints > 0 || c.Fasteners > 0 {
				cells = append(cells, c)
			}
		}
	}
	return cells
}

// cell reckons one band over the days from one index to another; open is the day
// from which each demand is served no more.
func (s *coverageState) cell(band TorqueBand, from, to int, open []int, o CoverageOptions) CoverageCell {
	c := CoverageCell{Site: s.site.Code, Band: band}
	if from >= to {
		return c
	}
	start := monday(s.days[from].date)
	year, week := utcNoon(start).ISOWeek()
	c.Week, c.WeekStart = fmt.Sprintf("%04d-W%02d", year, week), dateText(start)
	last := make([]int, len(s.demands)) // the last day of the week with the demand
	for j, d := range s.demands {
		last[j] = -1
		if d.band != band {
			continue
		}
		for i := from; i < to; i++ {
			w := s.days[i].work[j]
			if !w.some() {
				continue
			}
			last[j] = i
			c.Joints += w.joints
			c.Fasteners += w.fasteners
		}
		if last[j] >= open[j] && !slices.Contains(c.OpenNewtonMetres, d.torque) {
			c.OpenNewtonMetres = append(c.OpenNewtonMetres, d.torque)
		}
	}
	for _, t := range s.tools {
		usable, out := t.over(last, o)
		if usable {
			c.Usable = append(c.Usable, t.serial())
		} else if out != nil {
			c.Out = append(c.Out, *out)
		}
	}
	return c
}

// over says whether the tool serves some demand through its last day, or why
// not; neither when no demand is in its range.
func (t *stationedTool) over(last []int, o CoverageOptions) (usable bool, out *ToolRefusal) {
	for j, day := range last {
		d := t.at.demands[j]
		if day < 0 || !t.inRange(d) {
			continue
		}
		switch {
		case !t.classDoes(d, o):
			if out == nil {
				out = t.classRefusal(d, o)
			}
		case t.outDay > day:
			return true, nil
		default:
			out = t.out
		}
	}
	return false, out
}

// openWork is one demand while nothing serves it.
type openWork struct {
	demand      int
	from, to    int // first and last day with work, as indices
	joints, all int64
}

// openGap is a gap while what closes it is sought.
type openGap struct {
	CoverageGap
	state *coverageState
	work  []openWork
	// sentClose and provedClose say whether tools sent, or early calibrations,
	// close all of it.
	sentClose, provedClose bool
}

// findGaps gives the gaps of the sites answered for, each with what closes it.
// They are gone through from the most urgent on, and a tool is promised once.
func findGaps(sites []*coverageState, o CoverageOptions) []CoverageGap {
	var gaps []*openGap
	for _, s := range sites {
		if o.answers(s.site.Code) {
			gaps = append(gaps, s.openGaps(o)...)
		}
	}
	slices.SortFunc(gaps, func(a, b *openGap) int {
		return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Site, b.Site),
			cmp.Compare(a.Band.LowerNewtonMetres, b.Band.LowerNewtonMetres))
	})
	var found []CoverageGap
	spare := spareTools(sites, o)
	for _, g := range gaps {
		g.remedy(spare, o)
		g.Sentence = g.sentence()
		found = append(found, g.CoverageGap)
	}
	return found
}

// openGaps gives one gap for each band, from the first day without a tool: a
// tool that dropped out does not come back within the plan.
func (s *coverageState) openGaps(o CoverageOptions) []*openGap {
	var gaps []*openGap
	for _, band := range s.bands() {
		g := &openGap{CoverageGap: CoverageGap{Site: s.site.Code, Band: band}, state: s}
		first, last := len(s.days), -1
		lasts := make([]int, len(s.demands))
		for j, d := range s.demands {
			lasts[j] = -1
			if d.band != band {
				continue
			}
			w := s.openFrom(j, s.served[j].first)
			if w.to < 0 {
				continue
			}
			lasts[j] = w.to
			first, last = min(first, w.from), max(last, w.to)
			g.work = append(g.work, w)
			g.Joints += w.joints
			g.Fasteners += w.all
			if !slices.Contains(g.OpenNewtonMetres, d.torque) {
				g.OpenNewtonMetres = append(g.OpenNewtonMetres, d.torque)
			}
		}
		if last < 0 {
			continue
		}
		g.From, g.Through = dateText(s.days[first].date), dateText(s.days[last].date)
		for _, t := range s.tools {
			if _, out := t.over(lasts, o); out != nil {
				g.Out = append(g.Out, *out)
			}
		}
		gaps = append(gaps, g)
	}
	return gaps
}

// openFrom gives the work of a demand from a day on; its to is -1 for none.
func (s *coverageState) openFrom(demand, day int) openWork {
	w := openWork{demand: demand, from: len(s.days), to: -1}
	for i := day; i < len(s.days); i++ {
		part := s.days[i].work[demand]
		if !part.some() {
			continue
		}
		w.from, w.to = min(w.from, i), i
		w.joints += part.joints
		w.all += part.fasteners
	}
	return w
}
