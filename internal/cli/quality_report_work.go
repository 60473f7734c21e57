package cli

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"jointledger/internal/cli/forecast"
	"jointledger/internal/ledger"
	picture "jointledger/internal/report/figure"
	pb "jointledger/proto/jointledger/v1"
)

// strip sets the tools that come due beside the work that is planned, week by week.
func (r *reportAnswers) strip() *picture.Coverage {
	if r.coverage == nil || r.due == nil {
		return nil
	}
	f := &picture.Coverage{}
	first := mondayOf(r.asOf)
	place := map[string]int{}
	for i := range reportWeeks {
		monday := first.AddDate(0, 0, 7*i)
		year, week := monday.ISOWeek()
		f.Weeks = append(f.Weeks, picture.CoverageWeek{Name: fmt.Sprintf("%d-W%02d", year, week), Monday: picture.Day(monday.Format(time.DateOnly))})
		place[f.Weeks[i].Name] = i
	}
	sites := map[string]*picture.CoverageSite{}
	of := func(resource string) *picture.CoverageSite {
		code := ledger.ShortName(resource)
		if sites[code] == nil {
			sites[code] = &picture.CoverageSite{Name: code, Weeks: make([]picture.CoverageCell, reportWeeks)}
		}
		return sites[code]
	}
	for _, d := range r.due.GetItems() {
		at := d.GetDueTime().AsTime().Add(time.Duration(d.GetUtcOffsetMinutes()) * time.Minute)
		i := int(mondayOf(at).Sub(first) / (7 * 24 * time.Hour))
		switch {
		case d.GetPastDue():
			of(d.GetSite()).Overdue++
		case i >= 0 && i < reportWeeks:
			of(d.GetSite()).Weeks[i].Due++
		}
	}
	for _, c := range r.coverage.GetCells() {
		if i, ok := place[c.GetWeek()]; ok {
			cell := &of(c.GetSite()).Weeks[i]
			cell.Joints += c.GetJoints()
			if len(c.GetOpenNewtonMetres()) > 0 {
				cell.Gap = true
				cell.Open += c.GetJoints()
			}
		}
	}
	if len(sites) == 0 {
		return nil
	}
	for _, code := range slices.Sorted(maps.Keys(sites)) {
		f.Sites = append(f.Sites, *sites[code])
	}
	slices.SortStableFunc(f.Sites, func(a, b picture.CoverageSite) int {
		return cmp.Or(cmp.Compare(openJoints(b), openJoints(a)), cmp.Compare(b.Overdue, a.Overdue))
	})
	f.Method, f.Assumption = r.coverage.GetMethod(), r.coverage.GetAssumption()
	f.Cautions = append(slices.Clone(r.coverage.GetCautions()), r.due.GetCautions()...)
	f.Cautions = append(f.Cautions, "A week with a gap in one torque band counts all joints of that band and week as open, also those of days that are covered.")
	f.Cautions = append(f.Cautions, r.coverage.GetNotes()...) // what was assumed of towers, none of which is left out
	f.Finding = stripFinding(f)
	return f
}

// mondayOf is the first day of the week.
func mondayOf(t time.Time) time.Time {
	t = t.UTC()
	day := time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
	return day.AddDate(0, 0, -int(day.Weekday()+6)%7)
}

func openJoints(s picture.CoverageSite) int64 {
	n := int64(0)
	for _, c := range s.Weeks {
		n += c.Open
	}
	return n
}

func stripFinding(f *picture.Coverage) string {
	var open []string
	overdue, due := int64(0), int64(0)
	for _, s := range f.Sites {
		overdue += s.Overdue
		for _, c := range s.Weeks {
			due += c.Due
		}
		if n := openJoints(s); n > 0 {
			open = append(open, fmt.Sprintf("%s (%s)", s.Name, several(n, "joint")))
		}
	}
	tools := fmt.Sprintf("%s past due and %s due within %d weeks", countedNone(overdue, "action on tools is", "actions on tools are"), countedNone(due, "comes", "come"), reportWeeks)
	if len(open) == 0 {
		return "Every torque planned has a usable tool at its site; " + tools + "."
	}
	shown := open[:min(4, len(open))]
	if n := len(open) - len(shown); n > 0 {
		shown = append(shown[:len(shown):len(shown)], fmt.Sprintf("%d more sites", n))
	}
	return fmt.Sprintf("Planned work has no usable tool at %s; %s.", joined(shown), tools)
}

// countedNone writes "none comes", "1 comes", "3 come".
func countedNone(n int64, one, more string) string {
	if n == 0 {
		if strings.HasPrefix(one, "action") {
			return "no " + one
		}
		return "none " + one
	}
	return commas(n) + " " + oneOf(n, one, more)
}

// hardware is the spares at risk, the most urgent first as the server has them.
func (r *reportAnswers) hardware() *picture.Spares {
	if r.spares == nil || len(r.spares.GetItems()) == 0 {
		return nil
	}
	f := &picture.Spares{ServiceLevel: r.spares.GetServiceLevel()}
	f.Method, f.Assumption, f.Cautions, f.Finding = r.spares.GetMethod(), r.spares.GetAssumption(), slices.Clone(r.spares.GetCautions()), r.spares.GetHeadline()
	for _, i := range r.spares.GetItems() {
		item := picture.SparesItem{
			Fastener: i.GetFastener(), Site: ledger.ShortName(i.GetSite()), Remaining: i.GetRemaining(), OnHand: i.GetOnHand(),
			Need: clone(i.Need), RunOut: clone(i.RunOut), Order: clone(i.Order), Late: i.GetLate(),
		}
		if i.MeanLosses != nil {
			mean := float64(i.GetRemaining()) + i.GetMeanLosses()
			item.MeanNeed = &mean
		}
		if day := picture.Day(i.GetOrderByDate()); day != "" {
			item.OrderBy = &day
		}
		f.Items = append(f.Items, item)
	}
	f.Most = sparesShown(f.Items)
	if r.options.lead == 0 {
		f.Cautions = append(f.Cautions, "No lead time was given (--lead-days): days to order by are those on which the stock runs short.")
	}
	return f
}

// fewestSpares are drawn in any case, so that a page without a shortage shows how far
// off one is.
const fewestSpares = 5

// sparesShown is how many items are drawn: all that may run out, which the server gives
// first, and no more than the figure holds. The others are in the JSON.
func sparesShown(items []picture.SparesItem) int {
	risky := 0
	for i, item := range items {
		if item.Order != nil && *item.Order > 0 || item.OnHand < item.Remaining || item.RunOut == nil || *item.RunOut >= 0.01 {
			risky = i + 1
		}
	}
	return min(max(risky, fewestSpares), 20)
}

// curves are the S-curves of the sites with work to do, the latest first.
func (r *reportAnswers) curves() *picture.Progress {
	f := &picture.Progress{Of: "joints tightened"}
	late := map[string]float64{}
	var finished, without, cautions []string
	for _, code := range slices.Sorted(maps.Keys(r.progress)) {
		p := r.progress[code]
		switch {
		case p.got.GetJoints() == 0:
			without = append(without, code)
			continue
		case p.left() <= 0:
			finished = append(finished, code)
			continue
		}
		s := siteCurve(code, p)
		if len(s.Done)+len(s.Planned) == 0 {
			without = append(without, code)
			continue
		}
		f.Sites = append(f.Sites, s)
		late[code] = p.daysLate()
		for _, c := range p.cautions {
			cautions = append(cautions, code+": "+c+".")
		}
	}
	if len(f.Sites) == 0 {
		return nil
	}
	slices.SortStableFunc(f.Sites, func(a, b picture.ProgressSite) int {
		return cmp.Or(cmp.Compare(late[b.Name], late[a.Name]), cmp.Compare(r.progress[b.Name].left(), r.progress[a.Name].left()))
	})
	f.Method = forecast.Method + "."
	f.Assumption = "Work goes on at the rate of the days on record, with as many people and in the same weather."
	f.Cautions = append(cautions, "A joint counts on the day on which its last fastener reached torque; sealing, inspection and release come on top.",
		"The planned line runs straight from the first joint to the planned finish: how work was meant to be spread is not on record.")
	if len(finished) > 0 {
		f.LeftOut = append(f.LeftOut, "All joints are tightened at "+joined(finished)+".")
	}
	if len(without) > 0 {
		f.LeftOut = append(f.LeftOut, "No joint with a planned or finished day is on record at "+joined(without)+".")
	}
	f.Finding = curvesFinding(f.Sites[0], r.progress[f.Sites[0].Name])
	return f
}

// daysLate is by how many days the expected finish lies after the planned one; what has
// no expected finish counts by what is left.
func (p *progress) daysLate() float64 {
	planned := dayOf(p.got.GetPlannedFinish())
	switch {
	case planned.IsZero():
		return -1e6
	case p.finish == nil || p.finish.Expected.IsZero():
		return p.asOf.Sub(planned).Hours() / 24
	}
	return p.finish.Expected.Sub(planned).Hours() / 24
}

func siteCurve(code string, p *progress) picture.ProgressSite {
	s := picture.ProgressSite{Name: code, Whole: p.got.GetJoints()}
	for _, d := range p.days {
		s.Done = append(s.Done, picture.ProgressPoint{Day: picture.Day(d.day.Format(time.DateOnly)), Total: d.sum})
	}
	if planned := p.got.GetPlannedFinish(); planned != "" && (len(s.Done) == 0 || string(s.Done[0].Day) < planned) {
		if len(s.Done) > 0 {
			s.Planned = append(s.Planned, picture.ProgressPoint{Day: s.Done[0].Day})
		}
		s.Planned = append(s.Planned, picture.ProgressPoint{Day: picture.Day(planned), Total: p.got.GetJoints()})
	}
	if p.finish != nil && !p.finish.Earliest.IsZero() && !p.finish.Expected.IsZero() {
		day := func(t time.Time) picture.Day { return picture.Day(t.Format(time.DateOnly)) }
		s.Forecast = &picture.ProgressForecast{From: day(p.asOf), Earliest: day(p.finish.Earliest), Expected: day(p.finish.Expected), Confidence: p.confidence}
		if !p.finish.Latest.IsZero() {
			latest := day(p.finish.Latest)
			s.Forecast.Latest = &latest
		}
	}
	return s
}

// dayRange writes the interval of a finish.
func dayRange(f *picture.ProgressForecast) string {
	if f.Latest == nil {
		return "from " + string(f.Earliest) + ", without end"
	}
	return string(f.Earliest) + " to " + string(*f.Latest)
}

func curvesFinding(s picture.ProgressSite, p *progress) string {
	left, planned := p.left(), p.got.GetPlannedFinish()
	if s.Forecast == nil {
		text := fmt.Sprintf("%s has %s of %s left to tighten", s.Name, several(left, "joint"), commas(s.Whole))
		if planned != "" {
			text += ", planned for " + planned
		}
		return text + "; when the rest will be done can't be told from the days on record."
	}
	text := fmt.Sprintf("%s will probably be tightened by %s (%s interval %s)", s.Name, s.Forecast.Expected, picture.Percent(s.Forecast.Confidence), dayRange(s.Forecast))
	if p.finish.Idle >= forecast.Stopped {
		return fmt.Sprintf("At %s nothing was finished on the last %s and %s of %s %s left; taken up again as before, the last is tightened by %s (%s interval %s).",
			s.Name, several(int64(p.finish.Idle), "working day"), commas(left), several(s.Whole, "joint"), oneOf(left, "is", "are"), s.Forecast.Expected, picture.Percent(s.Forecast.Confidence), dayRange(s.Forecast))
	}
	if planned != "" {
		switch days := int64(p.daysLate()); {
		case days > 0:
			text += fmt.Sprintf(", %s after the planned finish %s", several(days, "day"), planned)
		default:
			text += ", in time for the planned finish " + planned
		}
	}
	return text + fmt.Sprintf(": %s of %s %s left.", several(left, "joint"), commas(s.Whole), oneOf(left, "is", "are"))
}

// holdAges part the classes of age, in days: what waits over a week waits for
// somebody, over a month it is forgotten (a choice of this project).
var holdAges = []int{7, 30}

// openHolds counts the open holds by rule and age, the rules with the most old ones
// first.
func (r *reportAnswers) openHolds() *picture.Holds {
	if len(r.holds) == 0 {
		return nil
	}
	f := &picture.Holds{AgeBounds: holdAges}
	rules := map[string]*picture.HoldsRule{}
	things, old := map[string]bool{}, map[string]bool{}
	for _, h := range r.holds {
		name := strings.ReplaceAll(h.GetRule(), "-", " ")
		if name == "" {
			name = "placed by a person"
		}
		if rules[name] == nil {
			rules[name] = &picture.HoldsRule{Name: name, ByAge: make([]int64, len(holdAges)+1), OldestDays: -1}
		}
		days := holdDays(h, r.begun)
		class := 0
		for class < len(holdAges) && days >= int64(holdAges[class]) {
			class++
		}
		rule := rules[name]
		rule.ByAge[class]++
		what := heldThing(h)
		things[what] = true
		if class == len(holdAges) {
			old[what] = true
		}
		if days > rule.OldestDays {
			rule.OldestDays, rule.OldestPlace = days, what
		}
	}
	for _, name := range slices.Sorted(maps.Keys(rules)) {
		f.Rules = append(f.Rules, *rules[name])
	}
	slices.SortStableFunc(f.Rules, func(a, b picture.HoldsRule) int {
		return cmp.Or(cmp.Compare(b.ByAge[2], a.ByAge[2]), cmp.Compare(b.ByAge[1], a.ByAge[1]), cmp.Compare(b.ByAge[0], a.ByAge[0]))
	})
	most := slices.MaxFunc(f.Rules, func(a, b picture.HoldsRule) int { return cmp.Compare(ruleHolds(a), ruleHolds(b)) })
	f.Finding = fmt.Sprintf("%s %s open on %s, %s of them for %d days or more; the most by the rule %s (%s).", several(int64(len(r.holds)), "hold"), oneOf(int64(len(r.holds)), "is", "are"),
		heldWords(int64(len(things))), noneOr(int64(len(old))), holdAges[1], most.Name, commas(ruleHolds(most)))
	f.Method = "Holds that were placed and neither released nor withdrawn by a correction, by the rule that placed them; ages in days from the time of the hold to the reading."
	f.Assumption = "Every release is on record."
	f.Cautions = []string{"A hold that a rule placed is dated when its record came in, not when the work was done: after a late upload or an import ages are too short.",
		"One joint may be held by several rules and is then counted under each."}
	if r.options.site != "" {
		f.LeftOut = []string{"Holds of lots and tools: only what is held at the site itself is counted."}
	}
	return f
}

func ruleHolds(r picture.HoldsRule) int64 {
	n := int64(0)
	for _, k := range r.ByAge {
		n += k
	}
	return n
}

// holdDays is the age of a hold in whole days, at least 0.
func holdDays(h *pb.Hold, now time.Time) int64 {
	return max(0, int64(now.Sub(h.GetEntry().GetOccurTime().AsTime())/(24*time.Hour)))
}

// heldThing is what is held, by the name that people know.
func heldThing(h *pb.Hold) string {
	if place, err := ledger.ParsePlaceResource(h.GetPlace()); err == nil {
		return place.String()
	}
	if lot := h.GetLot(); lot != "" {
		return "lot " + ledger.ShortName(lot)
	}
	return "tool " + ledger.ShortName(h.GetTool())
}

// heldWords counts what is held, of whatever kind.
func heldWords(n int64) string {
	return commas(n) + " " + oneOf(n, "joint, cell, lot or tool", "joints, cells, lots and tools")
}

func noneOr(n int64) string {
	if n == 0 {
		return "none"
	}
	return commas(n)
}
