package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// stationedTool is a torque tool at a site while coverage is reckoned.
type stationedTool struct {
	TrackedTool
	at       *coverageState
	usable   metrology.TorqueInterval
	hasRange bool
	// limit is the permissible deviation of its class, percent; 0 when not known.
	limit float64
	// out says why it drops out; nil when it lasts. It is out from outDay on, an
	// index into the days of its site; past the last when it lasts.
	out    *ToolRefusal
	outDay int
	// due is what makes it fall out by its date, whatever the plan uses.
	due *ToolRefusal
	// otherDue is when an action that is no calibration falls due; zero for never.
	otherDue time.Time
	// suitsOwn says for each demand of its site whether range and class do.
	suitsOwn []bool
	// used are the cycles since the last calibration; planned what the plan adds
	// through each day of its site, nil while it adds nothing.
	used    float64
	planned []float64
	// promised is the site that it is to be sent to, given the cycles meant for it.
	promised string
	given    float64
	// anew are the cycles meant for it after an early calibration.
	anew float64
}

// stationTools puts each torque tool at the site where custody says it is. Those
// that are lost, in transit, or at a site that was not given are at none.
func stationTools(sites []*coverageState, tools []TrackedTool, o CoverageOptions) error {
	byCode := map[string]*coverageState{}
	for _, s := range sites {
		byCode[s.site.Code] = s
	}
	for _, t := range tools {
		s := byCode[t.station()]
		if s == nil || !measuresTorque(t.Due.Tool.Kind) || t.notAt(s.site.Code) != nil {
			continue
		}
		st, err := newStationed(t, s, o)
		if err != nil {
			return fmt.Errorf("tool %s: %w", t.Due.Tool.Serial, err)
		}
		s.tools = append(s.tools, st)
	}
	for _, s := range sites {
		slices.SortFunc(s.tools, func(a, b *stationedTool) int { return cmp.Compare(a.serial(), b.serial()) })
	}
	return nil
}

func newStationed(t TrackedTool, s *coverageState, o CoverageOptions) (*stationedTool, error) {
	items, err := t.items(o.AsOf)
	if err != nil {
		return nil, err
	}
	st := &stationedTool{TrackedTool: t, at: s, outDay: len(s.days)}
	st.usable, st.hasRange = toolUsableRange(t.Due.Tool)
	if class, err := metrology.ParseToolClass(t.Due.Tool.TypeClass); err == nil {
		if limit, err := class.LimitPercent(t.Due.Tool.MaximumNewtonMetres); err == nil {
			st.limit = limit
		}
	}
	for _, u := range t.Due.Uses {
		st.used += float64(u.Fasteners)
	}
	for _, i := range items {
		if i.Action != ledger.ActionCalibration && !i.BeforeUse && (st.otherDue.IsZero() || i.DueAt.Before(st.otherDue)) {
			st.otherDue = i.DueAt
		}
	}
	// A year more than is looked at: tools sent on may be needed in other zones.
	st.due = t.outdated(items, o.AsOf, o.AsOf.AddDate(1, 0, 7*o.Weeks))
	if r := t.heldBack(); r != nil {
		st.out, st.outDay = r, 0
		return st, nil
	}
	for i, d := range s.days {
		if !st.inDate(d.end) {
			st.out, st.outDay = st.due, i
			break
		}
	}
	return st, nil
}

func (t *stationedTool) serial() string { return t.Due.Tool.Serial }

// inDate says whether the tool's dates hold through a moment.
func (t *stationedTool) inDate(until time.Time) bool {
	return t.due == nil || t.due.Reason == RefusedDue && !t.due.At.Before(until)
}

// suits says whether range and class do for a demand.
func (t *stationedTool) suits(d planDemand, o CoverageOptions) bool {
	return t.inRange(d) && t.classDoes(d, o)
}

func (t *stationedTool) inRange(d planDemand) bool {
	return t.hasRange && rangeReaches(t.usable, d.torque)
}

// classDoes says whether the class's permissible deviation leaves enough of the
// joint's tolerance; a tool of no class does only where no tolerance is given.
func (t *stationedTool) classDoes(d planDemand, o CoverageOptions) bool {
	return d.tolerance == 0 || t.limit > 0 && t.limit <= o.LimitShare*d.tolerance*(1+reachSlack)
}

func (t *stationedTool) classRefusal(d planDemand, o CoverageOptions) *ToolRefusal {
	if t.limit == 0 {
		return t.refusal(RefusedClass, time.Time{}, "no type and class on record, so its limit can't be set against ±%g %%", d.tolerance)
	}
	return t.refusal(RefusedClass, time.Time{}, "its class allows ±%g %%, more than ±%.3g %% that the joint leaves it", t.limit, o.LimitShare*d.tolerance)
}

// serve goes through the days and uses up cycles: a day's fasteners of each
// demand are shared evenly among the tools that can serve it. A tool that its
// share would take beyond its interval drops out on that day, and the others
// share anew.
func (s *coverageState) serve(o CoverageOptions) {
	for _, t := range s.tools {
		t.suitsOwn = make([]bool, len(s.demands))
		for j, d := range s.demands {
			t.suitsOwn[j] = t.suits(d, o)
		}
	}
	for day := range s.days {
		for {
			load := s.share(day)
			if !s.dropOut(day, load) {
				s.consume(day, load)
				break
			}
		}
	}
	s.rank()
}

// share gives each tool's fasteners on a day.
func (s *coverageState) share(day int) []float64 {
	load := make([]float64, len(s.tools))
	for j, w := range s.days[day].work {
		if w.fasteners == 0 {
			continue
		}
		servers := 0
		for _, t := range s.tools {
			if t.suitsOwn[j] && t.outDay > day {
				servers++
			}
		}
		for i, t := range s.tools {
			if t.suitsOwn[j] && t.outDay > day {
				load[i] += float64(w.fasteners) / float64(servers)
			}
		}
	}
	return load
}

// dropOut puts out every tool whose cycles do not last the day; false for none.
func (s *coverageState) dropOut(day int, load []float64) bool {
	dropped := false
	for i, t := range s.tools {
		interval := t.Due.Tool.IntervalCycles
		if load[i] == 0 || interval == 0 || t.outDay <= day {
			continue
		}
		if t.used+t.plannedThrough(day-1)+load[i] > float64(interval)*(1+reachSlack) {
			t.outDay, dropped = day, true
			t.out = t.refusal(RefusedPlanCycles, s.days[day].end, "the planned work uses up its %s on %s (%.0f used since the calibration, %.0f by the plan before that day)",
				quantity(int64(interval), "cycle"), dateText(s.days[day].date), t.used, t.plannedThrough(day-1))
		}
	}
	return dropped
}

func (s *coverageState) consume(day int, load []float64) {
	for i, t := range s.tools {
		if load[i] == 0 && t.planned == nil {
			continue
		}
		if t.planned == nil {
			t.planned = make([]float64, len(s.days))
		}
		t.planned[day] = t.plannedThrough(day-1) + load[i]
	}
}

// plannedThrough are the cycles that the plan adds through a day.
func (t *stationedTool) plannedThrough(day int) float64 {
	if day < 0 || t.planned == nil {
		return 0
	}
	return t.planned[min(day, len(t.planned)-1)]
}
