package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// KitLine is one line of a kit list: so many tools of a kind for a need.
type KitLine struct {
	Kind     ledger.ToolKind
	Quantity int
	// LowestNewtonMetres and HighestNewtonMetres are the torques that each tool of
	// the line must reach; both 0 for no such need.
	LowestNewtonMetres, HighestNewtonMetres float64
	// CapacityKilograms is the load that each must carry; 0 for no such need.
	CapacityKilograms float64
	Note              string
}

// ReadyOptions say where, when and through which day a kit is needed.
type ReadyOptions struct {
	// Site is the code of the site where the work is.
	Site string
	// Location is its time zone.
	Location *time.Location
	AsOf     time.Time
	// Finish is the last day on which the tools are needed, YYYY-MM-DD at the site.
	Finish string
}

// ReadyAnswer is the answer to a readiness question.
type ReadyAnswer struct {
	// Ready says whether every line is filled.
	Ready bool
	// Lines are in the order of the kit.
	Lines []ReadyLine
	// Verdict is one sentence.
	Verdict    string
	Method     string
	Assumption string
	Cautions   []string
}

// ReadyLine is what there is for one line of the kit.
type ReadyLine struct {
	Line KitLine
	Have int
	// Short is how many are missing; 0 when the line is filled.
	Short int
	// Tools are the serials that fill it, the smallest first; none fills two lines.
	Tools []string
	// Refused are the tools of the kind that do not count for the line, by serial.
	Refused []ToolRefusal
	// Sentence says all of it.
	Sentence string
}

// Limits of a kit list.
const (
	mostKitLines  = 500
	mostKitPlaces = 2000
)

// Ready says whether the tools at a site fill a kit list: each in date through
// the end of the finish day, not on hold, in the crib, and with a range or
// capacity that suits its line. No tool fills two lines; as many places are
// filled as can be, with the smallest tools that suffice. The error is a
// *ledger.Error that names every wrong line and option, and a metrology error
// for uses that are out of order.
func Ready(kit []KitLine, tools []TrackedTool, o ReadyOptions) (ReadyAnswer, error) {
	until, err := checkReady(kit, tools, o)
	if err != nil {
		return ReadyAnswer{}, err
	}
	fit := make([]TrackedTool, 0, len(tools))
	refused := map[string]ToolRefusal{}
	owed := false
	for _, t := range tools {
		items, err := t.items(o.AsOf)
		if err != nil {
			return ReadyAnswer{}, fmt.Errorf("tool %s: %w", t.Due.Tool.Serial, err)
		}
		if r := t.unready(items, o, until); r != nil {
			refused[t.Due.Tool.Serial] = *r
			continue
		}
		owed = owed || slices.ContainsFunc(items, func(i PolicyItem) bool { return i.BeforeUse })
		fit = append(fit, t)
	}
	assigned := assignKit(kit, fit)
	a := ReadyAnswer{Ready: true}
	for i, line := range kit {
		l := ReadyLine{Line: line, Have: len(assigned[i]), Tools: assigned[i]}
		l.Short = line.Quantity - l.Have
		a.Ready = a.Ready && l.Short == 0
		for _, t := range tools {
			if r := t.refusedFor(line, refused); r != nil {
				l.Refused = append(l.Refused, *r)
			}
		}
		slices.SortFunc(l.Refused, func(a, b ToolRefusal) int { return cmp.Compare(a.Serial, b.Serial) })
		l.Sentence = l.sentence(assigned, tools, i, refused)
		a.Lines = append(a.Lines, l)
	}
	a.describe(o, owed)
	return a, nil
}

// checkReady checks what was asked and gives the moment through which the tools
// must be good.
func checkReady(kit []KitLine, tools []TrackedTool, o ReadyOptions) (time.Time, error) {
	fields := checkTracked(tools)
	wrong := func(field, format string, args ...any) {
		fields = append(fields, ledger.FieldError{Field: field, Description: fmt.Sprintf(format, args...)})
	}
	var until time.Time
	if o.Site == "" {
		wrong("site", "is empty; expected the code of a site")
	}
	if o.AsOf.IsZero() {
		wrong("as_of", "is not given; expected a time")
	}
	finish, err := time.Parse(time.DateOnly, o.Finish)
	switch {
	case o.Location == nil:
		wrong("time_zone", "is not given; expected that of the site")
	case err != nil:
		wrong("finish", "%q is not a date; expected YYYY-MM-DD", o.Finish)
	default:
		until = metrology.DateOf(finish, time.UTC).EndIn(o.Location)
		if until.Before(o.AsOf) {
			wrong("finish", "%s is before the day looked from, %s", o.Finish, day(o.AsOf, o.Location))
		}
	}
	if len(kit) == 0 || len(kit) > mostKitLines {
		wrong("kit", "has %d lines; expected 1 to %d", len(kit), mostKitLines)
	}
	places := 0
	for i, l := range kit {
		places += min(max(l.Quantity, 0), mostKitPlaces+1)
		l.check(func(field, format string, args ...any) { wrong(fmt.Sprintf("kit[%d].%s", i, field), format, args...) })
	}
	if places > mostKitPlaces {
		wrong("kit", "asks for more than %d tools in all", mostKitPlaces)
	}
	return until, ledger.Invalid("kit list", fields)
}

func (l KitLine) check(wrong func(field, format string, args ...any)) {
	if !ledger.ToolKinds.Known(l.Kind) {
		wrong("kind", "is not given; expected one of %s", strings.Join(ledger.ToolKinds.All(), ", "))
	}
	if l.Quantity < 1 || l.Quantity > mostKitPlaces {
		wrong("quantity", "%d is out of range; expected 1 to %d", l.Quantity, mostKitPlaces)
	}
	for _, f := range []struct {
		name  string
		value float64
		unit  string
	}{
		{"lowest_torque", l.LowestNewtonMetres, "N.m"}, {"highest_torque", l.HighestNewtonMetres, "N.m"},
		{"capacity", l.CapacityKilograms, "kg"},
	} {
		if metrology.CheckNotNegative(f.name, f.value, f.unit) != nil {
			wrong(f.name, "%v is out of range; expected 0 for no need, or a number above 0 (%s)", f.value, f.unit)
		}
	}
	torque := l.LowestNewtonMetres != 0 || l.HighestNewtonMetres != 0
	if torque && l.HighestNewtonMetres < l.LowestNewtonMetres {
		wrong("highest_torque", "%g N.m is below the lowest, %g N.m", l.HighestNewtonMetres, l.LowestNewtonMetres)
	}
	if torque && !measuresTorque(l.Kind) && l.Kind != ledger.ToolImpactWrench {
		wrong("highest_torque", "a torque is asked of a tool that turns nothing (%s)", ledger.ToolKinds.Name(l.Kind))
	}
}

// unready says why the tool fills no line at all.
func (t TrackedTool) unready(items []PolicyItem, o ReadyOptions, until time.Time) *ToolRefusal {
	if r := t.notAt(o.Site); r != nil {
		return r
	}
	if r := t.heldBack(); r != nil {
		return r
	}
	if t.lent() {
		return t.refusal(RefusedLent, t.Custody.Since, "lent to %s since %s", t.Custody.Holder, day(t.Custody.Since, o.Location))
	}
	r := t.outdated(items, o.AsOf, until)
	if r != nil && r.Reason == RefusedDue && !r.At.Before(o.AsOf) {
		r.Detail += ", before the finish on " + o.Finish
	}
	return r
}

// refusedFor says why the tool does not count for one line: nil when it could,
// and when it is of another kind.
func (t TrackedTool) refusedFor(line KitLine, refused map[string]ToolRefusal) *ToolRefusal {
	if t.Due.Tool.Kind != line.Kind {
		return nil
	}
	if r, ok := refused[t.Due.Tool.Serial]; ok {
		return &r
	}
	return t.unsuited(line)
}

// unsuited says why the tool's range or capacity does not do for the line.
func (t TrackedTool) unsuited(line KitLine) *ToolRefusal {
	if line.HighestNewtonMetres > 0 {
		r, known := kitRange(t.Due.Tool)
		switch {
		case !known:
			return t.refusal(RefusedRange, time.Time{}, "no usable torque range is on record")
		case !rangeReaches(r, line.HighestNewtonMetres), line.LowestNewtonMetres > 0 && !rangeReaches(r, line.LowestNewtonMetres):
			return t.refusal(RefusedRange, time.Time{}, "usable from %.4g to %.4g N.m, needed %s", r.Low, r.High, line.torque())
		}
	}
	if line.CapacityKilograms > 0 && t.CapacityKilograms < line.CapacityKilograms {
		if t.CapacityKilograms == 0 {
			return t.refusal(RefusedCapacity, time.Time{}, "no capacity is on record, needed %g kg", line.CapacityKilograms)
		}
		return t.refusal(RefusedCapacity, time.Time{}, "carries %g kg, needed %g kg", t.CapacityKilograms, line.CapacityKilograms)
	}
	return nil
}

// kitRange is the usable range. An impact wrench measures nothing: for it only
// the torque that it can give counts.
func kitRange(t ledger.Tool) (metrology.TorqueInterval, bool) {
	if t.Kind == ledger.ToolImpactWrench {
		return metrology.TorqueInterval{Low: t.MinimumNewtonMetres, High: t.MaximumNewtonMetres}, t.MaximumNewtonMetres > 0
	}
	return toolUsableRange(t)
}

func (l KitLine) torque() string {
	if l.LowestNewtonMetres == 0 || l.LowestNewtonMetres == l.HighestNewtonMetres {
		return fmt.Sprintf("%g N.m", l.HighestNewtonMetres)
	}
	return fmt.Sprintf("%g to %g N.m", l.LowestNewtonMetres, l.HighestNewtonMetres)
}
