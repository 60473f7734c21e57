package store_test

import (
	"cmp"
	"math"
	"slices"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store/storetest"
)

// toolCard is what somebody at the hatch would write on the card of a tool: what happened
// to it by a moment, in the order of time.
type toolCard struct {
	tool         ledger.Tool
	zone         *time.Location // of its home site
	calibrations []*ledger.Calibration
	checks       []*ledger.ToolCheck
	uses         []*ledger.Tightening
	// harmed are the moments at which it was dropped, overloaded or repaired.
	harmed  []time.Time
	custody []*ledger.Custody
	held    []uuid.UUID // open holds
}

// card writes the card of a tool.
func (m *model) card(serial string, asOf time.Time) toolCard {
	c := toolCard{tool: m.tools[serial], zone: zoneOf(m.tools[serial].HomeSite)}
	for _, r := range byTime(m.counting()) {
		at := r.Head().OccurTime
		if at.After(asOf) {
			break
		}
		switch r := r.(type) {
		case *ledger.Calibration:
			// A declaration of conformance is for a new tool, with none before it.
			if r.Tool == serial && (len(c.calibrations) == 0 || r.Document != ledger.DeclarationOfConformance) {
				c.calibrations = append(c.calibrations, r)
			}
		case *ledger.ToolCheck:
			if r.Tool == serial {
				c.checks = append(c.checks, r)
			}
		case *ledger.Tightening:
			if r.Tool == serial {
				c.uses = append(c.uses, r)
			}
		case *ledger.Incident:
			if r.Tool == serial && r.Kind == ledger.DroppedTool {
				c.harmed = append(c.harmed, at)
			}
		case *ledger.Custody:
			if r.Tool == serial {
				c.custody = append(c.custody, r)
				if r.Kind == ledger.CustodyDropped || r.Kind == ledger.CustodyOverloaded || r.Kind == ledger.CustodyRepaired {
					c.harmed = append(c.harmed, at)
				}
			}
		case *ledger.Hold:
			if r.Tool == serial && r.Action == ledger.HoldPlaced && !m.releasedBy(r.ID, asOf) {
				c.held = append(c.held, r.ID)
			}
		}
	}
	return c
}

// releasedBy says whether a hold was released by a moment.
func (m *model) releasedBy(hold uuid.UUID, asOf time.Time) bool {
	release := m.byID[m.byID[hold].releasedBy]
	return release != nil && !release.record.Head().OccurTime.After(asOf)
}

func zoneOf(site string) *time.Location {
	for _, s := range storetest.NewFleet().Sites {
		if s.Code == site {
			zone, err := time.LoadLocation(s.TimeZone)
			if err != nil {
				panic(err)
			}
			return zone
		}
	}
	panic("no site " + site)
}

// whereabouts are the last entry that says who has the tool: a drop or an overload happens
// in somebody's hands and says so only when it is all there is. Nil for none.
func (c toolCard) whereabouts() *ledger.Custody {
	var last, any *ledger.Custody
	for _, r := range c.custody {
		any = r
		if r.Kind != ledger.CustodyDropped && r.Kind != ledger.CustodyOverloaded {
			last = r
		}
	}
	if last == nil {
		return any
	}
	return last
}

// site is where it is, or was last.
func (c toolCard) site() string {
	if at := c.whereabouts(); at != nil {
		return at.Site
	}
	return c.tool.HomeSite
}

func (c toolCard) is(kind ledger.CustodyKind) bool {
	at := c.whereabouts()
	return at != nil && at.Kind == kind
}

// holder is who has it; empty for nobody.
func (c toolCard) holder() string {
	if c.is(ledger.CustodyIssued) || c.is(ledger.CustodyDropped) || c.is(ledger.CustodyOverloaded) {
		return c.whereabouts().Holder
	}
	return ""
}

// calibrated is when it was calibrated last, and whether it failed then: the machine's
// readings lie on the target or a quarter off it, which no class allows. A tool without
// type and class has no limit to fail.
func (c toolCard) calibrated() (at time.Time, failed bool) {
	if len(c.calibrations) == 0 {
		return time.Time{}, false
	}
	last := c.calibrations[len(c.calibrations)-1]
	left := last.Points[len(last.Points)-1] // as left, when it was adjusted
	for _, reading := range left.ReadingsNewtonMetres {
		failed = failed || c.tool.TypeClass != "" && math.Abs(reading-left.TargetNewtonMetres) > left.TargetNewtonMetres/10
	}
	return last.OccurTime, failed
}

// done is when an action was done last, and whether the tool failed it.
func (c toolCard) done(action ledger.PolicyAction) (at time.Time, failed bool) {
	if action == ledger.ActionCalibration {
		return c.calibrated()
	}
	for _, check := range c.checks {
		if check.Action == action {
			at, failed = check.OccurTime, check.Result == ledger.InspectionFail
		}
	}
	return at, failed
}

// policies are what the tool must have done: its calibration, and the others.
func (c toolCard) policies() []ledger.Policy {
	own := ledger.Policy{Action: ledger.ActionCalibration, Months: c.tool.IntervalMonths, Cycles: c.tool.IntervalCycles, AfterEvent: c.tool.DueAfterEvent}
	if own == (ledger.Policy{Action: ledger.ActionCalibration}) {
		return c.tool.Policies
	}
	return append([]ledger.Policy{own}, c.tool.Policies...)
}

// dueLine is a line of the list of what is due.
type dueLine struct {
	Serial   string
	Action   ledger.PolicyAction
	At       time.Time
	Reason   analysis.DueReason
	Forecast bool
	PastDue  bool
	Done     time.Time // never: the zero time
	// Used and Allowed are cycles; both 0 where none are counted.
	Used, Allowed int64
	// Site is where the last change of hands was; empty for none.
	Site, Holder string
}

// due works out the first reason for which a policy makes its action due; false for none.
func (c toolCard) due(p ledger.Policy, asOf time.Time) (dueLine, bool) {
	done, failed := c.done(p.Action)
	calibration := p.Action == ledger.ActionCalibration
	line := dueLine{Serial: c.tool.Serial, Action: p.Action, Done: done, Allowed: int64(p.Cycles), Holder: c.holder()}
	if c.whereabouts() != nil {
		line.Site = c.site()
	}
	found := false
	// The earliest counts, and of two at one moment the graver, which is offered first.
	offer := func(at time.Time, reason, ofCalibration analysis.DueReason, forecast bool) {
		if calibration {
			reason = ofCalibration
		}
		if !found || at.Before(line.At) {
			line.At, line.Reason, line.Forecast, found = at, reason, forecast, true
		}
	}
	if failed {
		offer(done, analysis.DueFailed, analysis.DueCalibrationFailed, false)
	}
	if i := slices.IndexFunc(c.harmed, done.Before); i >= 0 && p.AfterEvent {
		offer(c.harmed[i], analysis.DueByEvent, analysis.DueByEvent, false)
	}
	if done.IsZero() && (p.Months > 0 || p.Days > 0 || p.Cycles > 0) {
		offer(asOf, analysis.DueNeverDone, analysis.DueNeverCalibrated, false)
	}
	if p.Cycles > 0 {
		at, forecast, used := c.cyclesEnd(done, int64(p.Cycles), asOf)
		if line.Used = used; !done.IsZero() && !at.IsZero() {
			offer(at, analysis.DueByCycles, analysis.DueByCycles, forecast)
		}
	}
	if p.Months > 0 && !done.IsZero() {
		offer(endOfDay(done.In(c.zone), p.Months, 0), analysis.DueByMonths, analysis.DueByMonths, false)
	}
	if p.Days > 0 && !done.IsZero() {
		offer(endOfDay(done.In(c.zone), 0, p.Days), analysis.DueByDays, analysis.DueByDays, false)
	}
	if p.EachShift {
		day := asOf.In(c.zone) // stands for the shift
		owed := time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, c.zone)
		if !done.Before(owed) {
			owed = owed.AddDate(0, 0, 1)
		}
		offer(owed, analysis.DueByShift, analysis.DueByShift, false)
	}
	line.PastDue = line.At.Before(asOf)
	return line, found
}

// endOfDay is the last second of the local day so many months and days later; the last
// day of a month that is shorter.
func endOfDay(from time.Time, months, days int) time.Time {
	month := time.Date(from.Year(), from.Month()+time.Month(months), 1, 0, 0, 0, 0, time.UTC)
	lastDay := month.AddDate(0, 1, -1).Day()
	return time.Date(month.Year(), month.Month(), min(from.Day(), lastDay)+days, 23, 59, 59, 0, from.Location())
}

// hourOfUse is what a tool was used in an hour, up to the last time in it.
type hourOfUse struct {
	last      time.Time
	fasteners int64
}

// hours is the use of the tool since its calibration, by the hour.
func (c toolCard) hours() []hourOfUse {
	var hours []hourOfUse
	calibrated, _ := c.calibrated()
	for _, use := range c.uses {
		if !use.OccurTime.After(calibrated) {
			continue
		}
		n := len(hours)
		if n == 0 || !hours[n-1].last.Truncate(time.Hour).Equal(use.OccurTime.Truncate(time.Hour)) {
			hours, n = append(hours, hourOfUse{}), n+1
		}
		hours[n-1].last = use.OccurTime
		hours[n-1].fasteners += int64(use.Fasteners)
	}
	return hours
}

// cyclesEnd is when so many cycles since an action are used up: in the hour that did it, or
// when they will be at the pace of the last 28 days, or since then if that is less; the zero
// time when the tool lies unused.
func (c toolCard) cyclesEnd(done time.Time, allowed int64, asOf time.Time) (end time.Time, forecast bool, used int64) {
	days, recent := 28.0, int64(0)
	from := asOf.AddDate(0, 0, -28)
	if done.After(from) {
		from, days = done, max(1, asOf.Sub(done).Hours()/24)
	}
	for _, h := range c.hours() {
		if !h.last.After(done) {
			continue
		}
		used += h.fasteners
		if used >= allowed && end.IsZero() {
			end = h.last
		}
		if h.last.After(from) {
			recent += h.fasteners
		}
	}
	if !end.IsZero() || recent == 0 {
		return end, false, used
	}
	left := float64(allowed-used) * days / float64(recent) // days
	return asOf.Add(time.Duration(math.Round(left*24*60*60)) * time.Second), true, used
}

// due is the list of what is due of the tools that a question is about by asOf and within
// a time after it.
func (m *model) due(q analysis.TrackedQuery, within time.Duration, shifts bool) (lines []dueLine) {
	for _, c := range m.cards(q) {
		for _, p := range c.policies() {
			line, found := c.due(p, q.AsOf)
			if found && !line.At.After(q.AsOf.Add(within)) && (shifts || line.Reason != analysis.DueByShift) {
				lines = append(lines, line)
			}
		}
	}
	slices.SortFunc(lines, func(a, b dueLine) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Serial, b.Serial), cmp.Compare(a.Action, b.Action))
	})
	return lines
}

// cards are those of the tools that a question is about, in the order of their serials.
func (m *model) cards(q analysis.TrackedQuery) (cards []toolCard) {
	for serial, tool := range m.tools {
		c := m.card(serial, q.AsOf)
		at := slices.Contains(q.Sites, tool.HomeSite) || q.Visiting && slices.Contains(q.Sites, c.site())
		if (len(q.Sites) == 0 || at) && (q.Holder == "" || c.holder() == q.Holder) && (!q.Lent || c.holder() != "") &&
			(len(q.Serials) == 0 || slices.Contains(q.Serials, serial)) {
			cards = append(cards, c)
		}
	}
	slices.SortFunc(cards, func(a, b toolCard) int { return cmp.Compare(a.tool.Serial, b.tool.Serial) })
	return cards
}
