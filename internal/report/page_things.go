package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/quantity"
)

type specificationRow struct {
	Name, Fastener, Torque, Window, Threads, Seal string
}

type lotRow struct{ Number, Supplier, Heat, Fastener, State string }

type toolRow struct {
	Serial, What, Interval string
	Calibrations           []calibrationRow
}

type calibrationRow struct{ Number, Day, Laboratory, Certificate, AsFound, AsLeft string }

type personRow struct{ Person, Records, Span string }

// revisionName is the name of a revision as records carry it.
func revisionName(s Specification) string { return fmt.Sprintf("%s@%d", s.Code, s.Revision) }

// revisionText is that name as a person reads it.
func revisionText(name Text) string {
	code, revision, ok := strings.Cut(string(name), "@")
	if !ok {
		return code
	}
	return code + " revision\u00a0" + revision
}

func (v *view) fastener(f Fastener) string {
	size := f.Thread
	if f.LengthMM != nil {
		size += " × " + unbroken(quantity.Length(*f.LengthMM).Format(quantity.Millimetre))
	}
	var rest []string
	if f.Coating != "" {
		rest = append(rest, string(f.Coating))
	}
	if f.Head != "" {
		rest = append(rest, string(f.Head)+" head")
	}
	return joined(", ", size, joined(" ", string(f.Material), string(f.PropertyClass)), strings.Join(rest, ", "))
}

func (v *view) specifications() []specificationRow {
	rows := make([]specificationRow, len(v.h.Specifications))
	for i, s := range v.h.Specifications {
		torque := fmt.Sprintf("%s ±%s\u00a0%%", v.units.torque(s.TorqueNM), number(s.TolerancePct))
		threads := []string{"treatment " + string(s.Treatment), "locking " + string(s.Locking), "torque for " + string(s.Basis) + " threads"}
		if s.NutFactor != nil {
			threads = append(threads, "nut factor "+number(*s.NutFactor))
		}
		if s.TorqueToolRequired {
			threads = append(threads, "final torque with a torque tool")
		}
		seal := "none"
		if s.Sealant != "" {
			parts := []string{string(s.Sealant)}
			if s.SealWidthMM != nil {
				parts = append(parts, v.units.length(*s.SealWidthMM)+" wide")
			}
			if s.MinimumSurfaceC != nil {
				parts = append(parts, "surface at least "+v.units.temperature(*s.MinimumSurfaceC))
			}
			seal = strings.Join(parts, ", ")
		}
		rows[i] = specificationRow{Name: revisionText(Text(revisionName(s))), Fastener: v.fastener(s.Fastener), Torque: torque,
			Window: v.units.window(s.LowNM, s.HighNM), Threads: strings.Join(threads, ", "), Seal: seal}
	}
	return rows
}

func (v *view) lots() []lotRow {
	rows := make([]lotRow, len(v.h.Lots))
	for i, l := range v.h.Lots {
		rows[i] = lotRow{l.Number, string(l.Supplier), or(string(l.Heat), "–"),
			joined("; ", v.fastener(l.Fastener), string(l.Description)), strings.ToUpper(spoken(l.State))}
		if l.State == Text(ledger.LotStates.Name(ledger.LotReleased)) {
			rows[i].State = string(l.State)
		}
	}
	return rows
}

func (v *view) tools() []toolRow {
	rows := make([]toolRow, len(v.h.Tools))
	for i, t := range v.h.Tools {
		what := []string{spoken(t.Kind)}
		if t.TypeClass != "" {
			what = append(what, "ISO 6789-1 type and class "+string(t.TypeClass))
		}
		switch {
		case t.MinimumNM != nil && t.MaximumNM != nil:
			what = append(what, v.units.window(*t.MinimumNM, *t.MaximumNM))
		case t.MaximumNM != nil:
			what = append(what, "up to "+v.units.torque(*t.MaximumNM))
		}
		var every []string
		if t.IntervalMonths > 0 {
			every = append(every, counted(int(t.IntervalMonths), "month"))
		}
		if t.IntervalCycles > 0 {
			every = append(every, counted(int(t.IntervalCycles), "cycle"))
		}
		interval := "no calibration interval on register"
		if len(every) > 0 {
			interval = "to be calibrated every " + strings.Join(every, " or ") + ", whichever comes first"
		}
		if len(every) == 1 {
			interval = "to be calibrated every " + every[0]
		}
		rows[i] = toolRow{Serial: t.Serial, What: strings.Join(what, ", "), Interval: interval}
		for _, c := range t.Calibrations {
			rows[i].Calibrations = append(rows[i].Calibrations, calibrationRow{
				Number: sequence(c.Sequence), Day: c.At.Format(time.DateOnly),
				Laboratory: or(string(c.Laboratory), "not given"), Certificate: or(string(c.Certificate), "not given"),
				AsFound: c.AsFound.loud(), AsLeft: c.AsLeft.loud(),
			})
		}
	}
	return rows
}

func (v *view) people() []personRow {
	rows := make([]personRow, len(v.h.People))
	for i, p := range v.h.People {
		kinds := map[string]int{}
		var first, last time.Time
		for _, r := range v.records {
			if r.Person != p {
				continue
			}
			kinds[r.Kind]++
			if first.IsZero() || r.At.Before(first) {
				first = r.At
			}
			if r.At.After(last) {
				last = r.At
			}
		}
		var counts []string
		for _, k := range ledger.RecordKinds.All() {
			if kinds[k] > 0 {
				counts = append(counts, counted(kinds[k], k))
			}
		}
		rows[i] = personRow{Person: string(p), Records: or(strings.Join(counts, ", "), "of records that are not about a joint"), Span: "–"}
		if !first.IsZero() {
			days := []string{first.Format(time.DateOnly), last.Format(time.DateOnly)}
			rows[i].Span = strings.Join(slices.Compact(days), " to ")
		}
	}
	return rows
}

// number writes a figure with all of its digits.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// sequence is the number of a record in the chain of its site; a record that has
// none has not been taken in.
func sequence(n int64) string {
	if n == 0 {
		return "–"
	}
	return strconv.FormatInt(n, 10)
}

// sentenceCase gives the first letter its capital.
func sentenceCase(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
