package analysis

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
	"jointledger/internal/reliability"
	"jointledger/internal/stats"
)

// Defaults of ReliabilityOptions; the cap and the fewest results are common
// practice, no source.
const (
	DefaultTargetReliability = 0.95
	DefaultGrowthCap         = 1.5
	DefaultLeastResults      = 20
)

// hoursPerMonth is the mean month of the Gregorian calendar, 365.2425/12 days.
const hoursPerMonth = 365.2425 / 12 * 24

// Reliability says how reliable each family of tools is at the end of its
// calibration interval and how long the interval should be. The error is a
// *stats.ArgumentError for an option out of range or cycles below 0.
func Reliability(intervals []ToolInterval, o ReliabilityOptions) (ReliabilityAnswer, error) {
	if err := o.complete(); err != nil {
		return ReliabilityAnswer{}, err
	}
	var a ReliabilityAnswer
	families := map[ToolFamily][]ToolInterval{}
	for _, i := range intervals {
		if i.Cycles < 0 || i.Cycles > stats.MaxCount {
			return ReliabilityAnswer{}, badImpact("cycles of tool "+i.Tool.Serial, strconv.FormatInt(i.Cycles, 10), "must be 0 to 2^40")
		}
		if !i.End.After(i.Start) {
			a.LeftOut++
			continue
		}
		f := FamilyOf(i.Tool)
		families[f] = append(families[f], i)
	}
	for f, members := range families {
		r, err := familyReliability(f, members, o)
		if err != nil {
			return ReliabilityAnswer{}, err
		}
		a.Families = append(a.Families, r)
	}
	slices.SortFunc(a.Families, func(x, y FamilyReliability) int {
		return cmp.Or(cmp.Compare(x.Reliability, y.Reliability), cmp.Compare(x.Family.String(), y.Family.String()))
	})
	describeReliability(&a, o)
	return a, nil
}

func (o *ReliabilityOptions) complete() error {
	fill := func(v *float64, fallback float64) {
		if *v == 0 {
			*v = fallback
		}
	}
	fill(&o.Target, DefaultTargetReliability)
	fill(&o.Confidence, 0.95)
	fill(&o.GrowthCap, DefaultGrowthCap)
	if o.LeastResults == 0 {
		o.LeastResults = DefaultLeastResults
	}
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	switch {
	case !(o.Target > 0 && o.Target < 1):
		return badImpact("target reliability", number(o.Target), "must be above 0 and below 1")
	case !(o.Confidence > 0 && o.Confidence < 1):
		return badImpact("confidence", number(o.Confidence), "must be above 0 and below 1")
	case !(o.GrowthCap >= 1) || math.IsInf(o.GrowthCap, 1):
		return badImpact("growth cap", number(o.GrowthCap), "must be finite and at least 1")
	case o.LeastResults < 1:
		return badImpact("fewest results for lengthening", strconv.Itoa(o.LeastResults), "must be at least 1")
	}
	return nil
}

// familyBands part tools by maximum torque, in N·m: at 10 as ISO 6789-1 does,
// beyond that as drives and lengths part them (common practice, no source).
var familyBands = []struct {
	upTo float64
	name string
}{
	{10, "up to 10 N·m"}, {100, "above 10 to 100 N·m"}, {400, "above 100 to 400 N·m"}, {math.Inf(1), "above 400 N·m"},
}

// FamilyOf gives the family of a tool.
func FamilyOf(t ledger.Tool) ToolFamily {
	f := ToolFamily{Kind: t.Kind, TypeClass: t.TypeClass}
	if c, err := metrology.ParseToolClass(t.TypeClass); err == nil {
		f.TypeClass = c.Code()
	}
	if t.MaximumNewtonMetres > 0 {
		for _, b := range familyBands {
			if t.MaximumNewtonMetres <= b.upTo {
				f.Band = b.name
				break
			}
		}
	}
	return f
}

// String gives the family in words, such as "torque-wrench II-A, above 10 to 100
// N·m".
func (f ToolFamily) String() string {
	s := ledger.ToolKinds.Name(f.Kind)
	if s == "" {
		s = "tool"
	}
	if f.TypeClass != "" {
		s += " " + f.TypeClass
	}
	if f.Band != "" {
		s += ", " + f.Band
	}
	return s
}

func familyReliability(f ToolFamily, members []ToolInterval, o ReliabilityOptions) (FamilyReliability, error) {
	r := FamilyReliability{Family: f, Calibrations: int64(len(members))}
	serials := map[string]bool{}
	var byMonths, byCycles []reliability.Observation
	for _, m := range members {
		serials[m.Tool.Serial] = true
		if m.InTolerance {
			r.InTolerance++
		}
		byMonths = append(byMonths, seen(months(m.End.Sub(m.Start)), m.InTolerance))
		if m.Cycles > 0 {
			byCycles = append(byCycles, seen(float64(m.Cycles), m.InTolerance))
		}
	}
	r.Tools = int64(len(serials))
	end, err := reliability.ObservedReliability(r.InTolerance, r.Calibrations, o.Target, o.Confidence)
	if err != nil {
		return FamilyReliability{}, err
	}
	r.Reliability, r.Lower, r.Upper, r.PBelowTarget = end.Reliability, end.Interval.Lower, end.Interval.Upper, end.PBelow
	present, policy := presentInterval(members,
		func(t ledger.Tool) int { return t.IntervalMonths },
		func(i ToolInterval) float64 { return months(i.End.Sub(i.Start)) })
	if r.Months, err = adviseInterval(byMonths, present, policy, "months", o); err != nil {
		return FamilyReliability{}, err
	}
	if len(byCycles) > 0 {
		present, policy = presentInterval(members,
			func(t ledger.Tool) int { return t.IntervalCycles },
			func(i ToolInterval) float64 { return float64(i.Cycles) })
		advice, err := adviseInterval(byCycles, present, policy, "cycles", o)
		if err != nil {
			return FamilyReliability{}, err
		}
		r.Cycles = &advice
	}
	r.Sentence = familySentence(r, o)
	return r, nil
}

// seen is what one calibration says: the tool was in tolerance at the end, or it
// went out at some time before.
func seen(t float64, in bool) reliability.Observation {
	if in {
		return reliability.StillIn(t, 1)
	}
	return reliability.OutBy(t, 1)
}

func months(d time.Duration) float64 { return d.Hours() / hoursPerMonth }

// presentInterval is the median policy of the tools that have one, each once; of
// the intervals on record where none has.
func presentInterval(members []ToolInterval, policy func(ledger.Tool) int, onRecord func(ToolInterval) float64) (float64, bool) {
	bySerial := map[string]float64{}
	var lengths []float64
	for _, m := range members {
		if p := policy(m.Tool); p > 0 {
			bySerial[m.Tool.Serial] = float64(p)
		}
		if l := onRecord(m); l > 0 {
			lengths = append(lengths, l)
		}
	}
	if len(bySerial) == 0 {
		return median(lengths), false
	}
	lengths = lengths[:0]
	for _, p := range bySerial {
		lengths = append(lengths, p)
	}
	return median(lengths), true
}

// median is the middle of a list that is not empty.
func median(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	return (values[(n-1)/2] + values[n/2]) / 2
}
