package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"jointledger/internal/metrology"
)

// coverageState is one site while its coverage is reckoned.
type coverageState struct {
	site CoverageSite
	// days are the working days from the day of AsOf to the end of the last week.
	days    []planDay
	demands []planDemand
	tools   []*stationedTool
	// served says how long each demand is served.
	served []lastServed
	notes  []string
}

// planDay is one working day and the work planned on it, by demand.
type planDay struct {
	date metrology.Date
	end  time.Time
	week int // from 0
	work []planWork
}

// planWork is a day's part of a demand.
type planWork struct{ joints, fasteners int64 }

func (w planWork) some() bool { return w.joints > 0 || w.fasteners > 0 }

// planDemand is work of one torque and tolerance.
type planDemand struct {
	torque, tolerance float64
	band              TorqueBand
}

// dateText writes a date as YYYY-MM-DD.
func dateText(d metrology.Date) string {
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, int(d.Month), d.Day)
}

func utcNoon(d metrology.Date) time.Time {
	return time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, time.UTC)
}

// monday is the first day of the ISO week of a date.
func monday(d metrology.Date) metrology.Date {
	return dateAfter(d, -(int(utcNoon(d).Weekday())+6)%7)
}

func later(a, b metrology.Date) metrology.Date {
	if utcNoon(b).After(utcNoon(a)) {
		return b
	}
	return a
}

func (o CoverageOptions) works(d metrology.Date) bool {
	return slices.Contains(o.WorkingDays, utcNoon(d).Weekday())
}

// workingDays counts the working days from one date through another.
func (o CoverageOptions) workingDays(from, through metrology.Date) int64 {
	n := int64(utcNoon(through).Sub(utcNoon(from))/(24*time.Hour)) + 1
	if n <= 0 {
		return 0
	}
	count := n / 7 * int64(len(o.WorkingDays))
	for i := range int(n % 7) {
		if o.works(dateAfter(from, i)) {
			count++
		}
	}
	return count
}

// planSite spreads what is left at a site over its working days.
func planSite(site CoverageSite, o CoverageOptions) *coverageState {
	s := &coverageState{site: site, demands: demandsOf(site, o)}
	today := metrology.DateOf(o.AsOf, site.Location)
	first := monday(today)
	for d := today; utcNoon(d).Before(utcNoon(dateAfter(first, 7*o.Weeks))); d = dateAfter(d, 1) {
		if o.works(d) {
			week := int(utcNoon(d).Sub(utcNoon(first)) / (7 * 24 * time.Hour))
			s.days = append(s.days, planDay{date: d, end: d.EndIn(site.Location), week: week, work: make([]planWork, len(s.demands))})
		}
	}
	for _, t := range site.Towers {
		s.spread(t, today, o)
	}
	return s
}

func demandsOf(site CoverageSite, o CoverageOptions) []planDemand {
	var demands []planDemand
	for _, t := range site.Towers {
		for _, r := range t.Remaining {
			d := planDemand{r.TorqueNewtonMetres, r.TolerancePercent, o.band(r.TorqueNewtonMetres)}
			if r.Joints > 0 && !slices.Contains(demands, d) {
				demands = append(demands, d)
			}
		}
	}
	slices.SortFunc(demands, func(a, b planDemand) int {
		return cmp.Or(cmp.Compare(a.torque, b.torque), cmp.Compare(a.tolerance, b.tolerance))
	})
	return demands
}

// spread puts the work of a tower on the days. Of n joints over D days, the
// first k days get ⌊n·k/D⌋ together: whole joints, as even as can be, and all of
// them by the last day.
func (s *coverageState) spread(t CoverageTower, today metrology.Date, o CoverageOptions) {
	var joints int64
	for _, r := range t.Remaining {
		joints += r.Joints
	}
	if joints == 0 {
		return
	}
	from := today
	if start, ok := parsedDay(t.PlannedStart); ok {
		from = later(today, start)
	}
	var total int64
	finish, given := parsedDay(t.PlannedFinish)
	if given {
		total = o.workingDays(from, finish)
	}
	if total == 0 {
		total = int64(o.OverdueWeeks * len(o.WorkingDays))
		s.note(t, joints, given, from, today, o)
	} else if t.PlannedStart == "" {
		s.notes = append(s.notes, fmt.Sprintf("%s/%s has no planned start: its work is taken to be going on, so its %s left are spread from %s through %s.",
			s.site.Code, t.Tower, quantity(joints, "joint"), dateText(from), t.PlannedFinish))
	}
	k := int64(0)
	for i := range s.days {
		if utcNoon(s.days[i].date).Before(utcNoon(from)) {
			continue
		}
		if k++; k > total {
			break
		}
		for _, r := range t.Remaining {
			at := slices.Index(s.demands, planDemand{r.TorqueNewtonMetres, r.TolerancePercent, o.band(r.TorqueNewtonMetres)})
			if at < 0 {
				continue
			}
			w := &s.days[i].work[at]
			w.joints += r.Joints*k/total - r.Joints*(k-1)/total
			w.fasteners += r.Fasteners*k/total - r.Fasteners*(k-1)/total
		}
	}
}

// note says that a tower's dates do not place its work.
func (s *coverageState) note(t CoverageTower, joints int64, given bool, from, today metrology.Date, o CoverageOptions) {
	what := "has no planned finish"
	if given {
		what = fmt.Sprintf("was to be finished on %s", t.PlannedFinish)
		if finish, _ := parsedDay(t.PlannedFinish); !utcNoon(finish).Before(utcNoon(today)) {
			what = fmt.Sprintf("is to be finished on %s with no working day left until then", t.PlannedFinish)
		}
	}
	s.notes = append(s.notes, fmt.Sprintf("%s/%s %s: its %s left are put into the %s from %s.",
		s.site.Code, t.Tower, what, quantity(joints, "joint"), quantity(int64(o.OverdueWeeks), "week"), dateText(from)))
}

// parsedDay reads a date that was checked before; false for none.
func parsedDay(text string) (metrology.Date, bool) {
	t, err := time.Parse(time.DateOnly, text)
	return metrology.DateOf(t, time.UTC), err == nil
}
