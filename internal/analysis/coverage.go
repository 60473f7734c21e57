package analysis

import (
	"cmp"
	"slices"
	"time"
)

// CoverageInput is what coverage is reckoned from.
type CoverageInput struct {
	Sites []CoverageSite
	// Tools are all torque tools that could serve; other kinds are ignored.
	Tools []TrackedTool
}

// CoverageSite is a site with work ahead.
type CoverageSite struct {
	Code string
	// Location is the site's time zone.
	Location *time.Location
	Towers   []CoverageTower
}

// CoverageTower is what is left to do on one tower.
type CoverageTower struct {
	Tower string // as in its place, such as T2
	// PlannedStart and PlannedFinish are YYYY-MM-DD at the site, or empty.
	PlannedStart, PlannedFinish string
	Remaining                   []RemainingJoints
}

// RemainingJoints are joints not yet tightened, of one torque and tolerance,
// whose specification asks for a torque tool.
type RemainingJoints struct {
	TorqueNewtonMetres float64
	// TolerancePercent to either side; 0 when not given, and then no tool's
	// class is judged against it.
	TolerancePercent float64
	Joints           int64
	// Fasteners left in them.
	Fasteners int64
}

// CoverageOptions say how coverage is reckoned; zero values take the defaults.
type CoverageOptions struct {
	AsOf time.Time
	// Sites are those that are answered for; all when empty. The others still lend
	// their spare tools and keep what they need.
	Sites []string
	// Weeks is how many ISO weeks are looked at, the one of AsOf first; 1 to 104, 8 when 0.
	Weeks int
	// BandEdges part the torques, ascending, N·m: a band holds its lower edge. The
	// preferred numbers R5 of ISO 3 (1, 1.6, 2.5, 4, 6.3, 10, …) when empty.
	BandEdges []float64
	// WorkingDays are Monday to Friday when empty.
	WorkingDays []time.Weekday
	// OverdueWeeks is over how many weeks from now a tower is spread whose planned
	// finish has passed or is missing; 2 when 0.
	OverdueWeeks int
	// LimitShare is the largest share of a joint's tolerance that the permissible
	// deviation of a tool's class may take, above 0 and at most 1; 1 when 0.
	LimitShare float64
}

// CoverageAnswer is the answer to a coverage question.
type CoverageAnswer struct {
	// Cells are sorted by site, week and band.
	Cells []CoverageCell
	// Gaps are sorted by the day from which they are open, then by site and band.
	Gaps []CoverageGap
	// Notes say in one sentence each what was assumed about a tower.
	Notes      []string
	Method     string
	Assumption string
	Cautions   []string
}

// TorqueBand is a half-open interval of torque, N·m.
type TorqueBand struct {
	LowerNewtonMetres float64
	// UpperNewtonMetres is outside the band; 0 when it has no upper end.
	UpperNewtonMetres float64
}

// CoverageCell is the work planned at one site in one week in one torque band,
// and the tools for it.
type CoverageCell struct {
	Site string
	// Week is the ISO week, such as 2026-W09; WeekStart its Monday, YYYY-MM-DD.
	Week, WeekStart string
	Band            TorqueBand
	Joints          int64
	Fasteners       int64
	// Usable are the serials that suit some of the torques planned, and stay usable
	// through the last day in the week on which they are planned.
	Usable []string
	// Out are tools at the site whose range suits, but that drop out.
	Out []ToolRefusal
	// OpenNewtonMetres are the planned torques that no tool can serve on some day;
	// empty when the cell is covered.
	OpenNewtonMetres []float64
}

// CoverageGap is a run of days on which a site has work in a torque band that
// none of its tools can do.
type CoverageGap struct {
	Site string
	Band TorqueBand
	// From and Through are the first and last day without a tool, YYYY-MM-DD.
	From, Through string
	// Joints and Fasteners are those planned on such days.
	Joints, Fasteners int64
	OpenNewtonMetres  []float64
	// Out are the tools at the site whose range suits, and why they don't serve.
	Out []ToolRefusal
	// Transfers and Calibrations are two ways of closing it; both in full, in
	// part, or not at all.
	Transfers, Calibrations []GapRemedy
	// Unclosed are the torques that neither way closes.
	Unclosed []float64
	// Sentence says all of it.
	Sentence string
}

// GapRemedy is what closes a gap, or part of it.
type GapRemedy struct {
	Serial string
	// FromSite is where the tool comes from; empty when it is calibrated where it is.
	FromSite string
	// By is the last day on which it still helps, YYYY-MM-DD.
	By string
	// NewtonMetres are the open torques that it serves.
	NewtonMetres []float64
	// Reserve, for a transfer, are the serials that suit and stay at FromSite.
	Reserve []string
}

// Coverage sets the joints planned at each site, week and torque band against
// the tools there that will be in calibration and suit them, and names the gaps
// with what closes each.
//
// What is left of a tower is spread evenly over the working days from the later
// of AsOf and its planned start through its planned finish. A day's fasteners
// are shared evenly among the tools that can serve them, which may use up a
// tool's cycles before its date. A tool serves a day when it is in date through
// the end of it, is at the site (lent or not), has no hold, has the torque in
// its usable range, and is of a class whose permissible deviation takes no more
// than LimitShare of the joint's tolerance.
//
// The error is a *ledger.Error that names every wrong field, and a metrology
// error for uses that are out of order.
func Coverage(in CoverageInput, o CoverageOptions) (CoverageAnswer, error) {
	o = o.withDefaults()
	if err := checkCoverage(in, o); err != nil {
		return CoverageAnswer{}, err
	}
	in.Sites = slices.SortedFunc(slices.Values(in.Sites), func(a, b CoverageSite) int { return cmp.Compare(a.Code, b.Code) })
	var a CoverageAnswer
	sites := make([]*coverageState, 0, len(in.Sites))
	for _, s := range in.Sites {
		state := planSite(s, o)
		if o.answers(s.Code) {
			a.Notes = append(a.Notes, state.notes...)
		}
		sites = append(sites, state)
	}
	if err := stationTools(sites, in.Tools, o); err != nil {
		return CoverageAnswer{}, err
	}
	for _, s := range sites {
		s.serve(o)
	}
	for _, s := range sites {
		if o.answers(s.site.Code) {
			a.Cells = append(a.Cells, s.cells(o)...)
		}
	}
	a.Gaps = findGaps(sites, o)
	a.describe(o)
	return a, nil
}
