package analysis

import (
	"fmt"
	"math"
	"slices"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// Limits of a coverage question.
const (
	coverageWeeks     = 8
	mostCoverageWeeks = 104
	overdueWeeks      = 2
	mostPlanned       = 1_000_000_000
)

// preferredBands are the preferred numbers R5 of ISO 3 (from memory) over the
// torques of bolting, N·m. A tool usable from 20 to 100 % spans three of them.
var preferredBands = []float64{
	1, 1.6, 2.5, 4, 6.3, 10, 16, 25, 40, 63, 100, 160, 250, 400, 630, 1000, 1600, 2500, 4000, 6300, 10000,
}

func (o CoverageOptions) withDefaults() CoverageOptions {
	if o.Weeks == 0 {
		o.Weeks = coverageWeeks
	}
	if o.OverdueWeeks == 0 {
		o.OverdueWeeks = overdueWeeks
	}
	if o.LimitShare == 0 {
		o.LimitShare = 1
	}
	if len(o.BandEdges) == 0 {
		o.BandEdges = preferredBands
	}
	if len(o.WorkingDays) == 0 {
		o.WorkingDays = []time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday}
	}
	return o
}

func (o CoverageOptions) answers(site string) bool {
	return len(o.Sites) == 0 || slices.Contains(o.Sites, site)
}

// band gives the band that holds a torque.
func (o CoverageOptions) band(newtonMetres float64) TorqueBand {
	var b TorqueBand
	for _, edge := range o.BandEdges {
		if newtonMetres < edge {
			b.UpperNewtonMetres = edge
			break
		}
		b.LowerNewtonMetres = edge
	}
	return b
}

func checkCoverage(in CoverageInput, o CoverageOptions) error {
	fields := append(o.check(), checkTracked(in.Tools)...)
	first := map[string]int{}
	for i, s := range in.Sites {
		wrong := func(field, format string, args ...any) {
			fields = append(fields, ledger.FieldError{Field: fmt.Sprintf("sites[%d].%s", i, field), Description: fmt.Sprintf(format, args...)})
		}
		if s.Code == "" {
			wrong("code", "is empty")
		} else if at, twice := first[s.Code]; twice {
			wrong("code", "%s is that of sites[%d] too; expected each once", s.Code, at)
		}
		first[s.Code] = i
		if s.Location == nil {
			wrong("time_zone", "is not given; expected that of the site")
		}
		for j, t := range s.Towers {
			t.check(func(field, format string, args ...any) {
				wrong(fmt.Sprintf("towers[%d].%s", j, field), format, args...)
			})
		}
	}
	for i, code := range o.Sites {
		if _, known := first[code]; !known {
			fields = append(fields, ledger.FieldError{Field: fmt.Sprintf("sites[%d]", i), Description: fmt.Sprintf("%q is none of the sites given", code)})
		}
	}
	return ledger.Invalid("coverage", fields)
}

func (o CoverageOptions) check() []ledger.FieldError {
	var fields []ledger.FieldError
	wrong := func(field, format string, args ...any) {
		fields = append(fields, ledger.FieldError{Field: field, Description: fmt.Sprintf(format, args...)})
	}
	if o.AsOf.IsZero() {
		wrong("as_of", "is not given; expected a time")
	}
	if o.Weeks < 1 || o.Weeks > mostCoverageWeeks {
		wrong("weeks", "%d is out of range; expected 1 to %d", o.Weeks, mostCoverageWeeks)
	}
	if o.OverdueWeeks < 1 || o.OverdueWeeks > mostCoverageWeeks {
		wrong("overdue_weeks", "%d is out of range; expected 1 to %d", o.OverdueWeeks, mostCoverageWeeks)
	}
	if !(o.LimitShare > 0 && o.LimitShare <= 1) {
		wrong("limit_share", "%v is out of range; expected above 0 and at most 1", o.LimitShare)
	}
	for i, edge := range o.BandEdges {
		if !(edge > 0) || math.IsInf(edge, 0) || i > 0 && edge <= o.BandEdges[i-1] {
			wrong(fmt.Sprintf("band_edges[%d]", i), "%v N.m; expected torques above 0, each above the one before", edge)
		}
	}
	for i, d := range o.WorkingDays {
		if d < time.Sunday || d > time.Saturday || slices.Contains(o.WorkingDays[:i], d) {
			wrong(fmt.Sprintf("working_days[%d]", i), "%d; expected days of the week, each once", d)
		}
	}
	return fields
}

func (t CoverageTower) check(wrong func(field, format string, args ...any)) {
	if t.Tower == "" {
		wrong("tower", "is empty")
	}
	for _, f := range []struct{ name, text string }{{"planned_start", t.PlannedStart}, {"planned_finish", t.PlannedFinish}} {
		if _, err := time.Parse(time.DateOnly, f.text); f.text != "" && err != nil {
			wrong(f.name, "%q is not a date; expected YYYY-MM-DD", f.text)
		}
	}
	// Dates of this form are in the order of their letters.
	if t.PlannedStart != "" && t.PlannedFinish != "" && t.PlannedFinish < t.PlannedStart {
		wrong("planned_finish", "%s is before planned_start %s", t.PlannedFinish, t.PlannedStart)
	}
	for i, r := range t.Remaining {
		field := func(name string) string { return fmt.Sprintf("remaining[%d].%s", i, name) }
		if metrology.CheckPositive("torque", r.TorqueNewtonMetres, "N.m") != nil {
			wrong(field("torque"), "%v N.m; expected a torque above 0", r.TorqueNewtonMetres)
		}
		if !(r.TolerancePercent >= 0 && r.TolerancePercent <= 100) {
			wrong(field("tolerance"), "%v %%; expected 0 for not given, or up to 100", r.TolerancePercent)
		}
		if r.Joints < 0 || r.Joints > mostPlanned {
			wrong(field("joints"), "%d is out of range; expected 0 to %d", r.Joints, mostPlanned)
		}
		if r.Fasteners < r.Joints || r.Fasteners > mostPlanned {
			wrong(field("fasteners"), "%d is out of range; expected %d (one a joint) to %d", r.Fasteners, r.Joints, mostPlanned)
		}
	}
}
