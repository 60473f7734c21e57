package analysis_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// twoWeeks is a site with one tower of 100 joints of 4 fasteners at 32 N·m ±10 %
// left, planned from Monday 2 March to Friday 13 March 2026: ten working days, so
// 10 joints and 40 fasteners a day.
func twoWeeks(t *testing.T, code string) analysis.CoverageSite {
	t.Helper()
	return analysis.CoverageSite{Code: code, Location: zone(t, "Europe/Dublin"), Towers: []analysis.CoverageTower{{
		Tower: "CT1", PlannedStart: "2026-03-02", PlannedFinish: "2026-03-13",
		Remaining: []analysis.RemainingJoints{{TorqueNewtonMetres: 32, TolerancePercent: 10, Joints: 100, Fasteners: 400}},
	}}}
}

func stationed(t *testing.T, serial, site string, months int) analysis.TrackedTool {
	t.Helper()
	w := trackedWrench(t, serial, 100)
	w.Due.Tool.HomeSite, w.Due.Tool.IntervalMonths = site, months
	return w
}

func coverage(t *testing.T, in analysis.CoverageInput, o analysis.CoverageOptions) analysis.CoverageAnswer {
	t.Helper()
	o.AsOf = at(t, "2026-03-02T07:00:00Z")
	a, err := analysis.Coverage(in, o)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Worked by hand: W1 was calibrated on 10 January for two months, so 10 March is
// its last day: the second week (Monday 9 March) has it on two days of five, and
// 30 joints of Wednesday to Friday stay open. LKS has two wrenches and no work.
func TestCoverageByDate(t *testing.T) {
	in := analysis.CoverageInput{
		Sites: []analysis.CoverageSite{twoWeeks(t, "RVB"), {Code: "LKS", Location: zone(t, "America/Chicago")}},
		Tools: []analysis.TrackedTool{stationed(t, "L2", "LKS", 12), stationed(t, "W1", "RVB", 2), stationed(t, "L1", "LKS", 12)},
	}
	a := coverage(t, in, analysis.CoverageOptions{})
	band := analysis.TorqueBand{LowerNewtonMetres: 25, UpperNewtonMetres: 40}
	if len(a.Cells) != 2 || len(a.Gaps) != 1 || len(a.Notes) != 0 {
		t.Fatalf("%+v", a)
	}
	first, second, gap := a.Cells[0], a.Cells[1], a.Gaps[0]
	if first.Site != "RVB" || first.Week != "2026-W10" || first.WeekStart != "2026-03-02" || first.Band != band ||
		first.Joints != 50 || first.Fasteners != 200 || !slices.Equal(first.Usable, []string{"W1"}) || first.Out != nil || first.OpenNewtonMetres != nil {
		t.Errorf("%+v", first)
	}
	if second.Week != "2026-W11" || second.Joints != 50 || second.Usable != nil || !slices.Equal(second.OpenNewtonMetres, []float64{32}) ||
		len(second.Out) != 1 || second.Out[0].Reason != analysis.RefusedDue || !second.Out[0].At.Equal(at(t, "2026-03-10T23:59:59Z")) {
		t.Errorf("%+v", second)
	}
	if gap.From != "2026-03-11" || gap.Through != "2026-03-13" || gap.Joints != 30 || gap.Fasteners != 120 || gap.Band != band || gap.Unclosed != nil {
		t.Errorf("%+v", gap)
	}
	if want := []analysis.GapRemedy{{Serial: "L1", FromSite: "LKS", By: "2026-03-10", NewtonMetres: []float64{32}, Reserve: []string{"L2"}}}; !reflect.DeepEqual(gap.Transfers, want) {
		t.Errorf("%+v; expected %+v", gap.Transfers, want)
	}
	if want := []analysis.GapRemedy{{Serial: "W1", By: "2026-03-10", NewtonMetres: []float64{32}}}; !reflect.DeepEqual(gap.Calibrations, want) {
		t.Errorf("%+v; expected %+v", gap.Calibrations, want)
	}
	want := "RVB, 25 to 40 N.m: no usable tool from 2026-03-11 through 2026-03-13 for 30 joints (120 fasteners) at 32 N.m. " +
		"Out: W1, calibration due on 2026-03-10 (2 months since the calibration on 2026-01-10 end on 2026-03-10). " +
		"To close it, send L1 from LKS by 2026-03-10 (L2 stays there), or calibrate W1 by 2026-03-10."
	if gap.Sentence != want {
		t.Errorf("%q; expected %q", gap.Sentence, want)
	}
}

// A site gives no tool away that it has only one of, that is lent or held, or
// that its own work needs.
func TestCoverageSparesTheOtherSite(t *testing.T) {
	lks := analysis.CoverageSite{Code: "LKS", Location: zone(t, "America/Chicago")}
	lent, held := stationed(t, "L2", "LKS", 12), stationed(t, "L2", "LKS", 12)
	lent.Custody = &analysis.ToolCustody{Kind: ledger.CustodyIssued, Site: "LKS", Holder: "j.weir", Since: at(t, "2026-02-01T00:00:00Z")}
	held.Holds = []analysis.ToolHold{{ID: uuid.New(), Since: at(t, "2026-02-01T00:00:00Z")}}
	busy := twoWeeks(t, "LKS")
	busy.Towers[0].Remaining[0].TorqueNewtonMetres = 90
	for name, c := range map[string]struct {
		site  analysis.CoverageSite
		tools []analysis.TrackedTool
		want  string
	}{
		"only one":               {lks, []analysis.TrackedTool{stationed(t, "L1", "LKS", 12)}, ""},
		"the other is lent":      {lks, []analysis.TrackedTool{stationed(t, "L1", "LKS", 12), lent}, "L1"},
		"the other is held":      {lks, []analysis.TrackedTool{stationed(t, "L1", "LKS", 12), held}, ""},
		"the other is due":       {lks, []analysis.TrackedTool{stationed(t, "L1", "LKS", 12), stationed(t, "L2", "LKS", 2)}, ""},
		"both do the work there": {busy, []analysis.TrackedTool{stationed(t, "L1", "LKS", 12), stationed(t, "L2", "LKS", 12)}, "L1"},
		// A wrench of 50 N·m keeps 32 N·m served at LKS, but not its own 90 N·m.
		"its own work needs it": {busy, []analysis.TrackedTool{stationed(t, "L1", "LKS", 12), sized(t, "L2", "LKS", 50)}, "L2"},
	} {
		in := analysis.CoverageInput{Sites: []analysis.CoverageSite{twoWeeks(t, "RVB"), c.site}, Tools: append(c.tools, stationed(t, "W1", "RVB", 2))}
		a := coverage(t, in, analysis.CoverageOptions{Sites: []string{"RVB"}})
		if len(a.Gaps) != 1 {
			t.Fatalf("%s: %+v", name, a.Gaps)
		}
		got := ""
		if len(a.Gaps[0].Transfers) > 0 {
			got = a.Gaps[0].Transfers[0].Serial
		}
		if got != c.want {
			t.Errorf("%s: %q is sent; expected %q", name, got, c.want)
		}
	}
}

func sized(t *testing.T, serial, site string, maximum float64) analysis.TrackedTool {
	t.Helper()
	w := trackedWrench(t, serial, maximum)
	w.Due.Tool.HomeSite = site
	return w
}

// One spare tool is promised once: to the gap that opens first.
func TestCoveragePromisesAToolOnce(t *testing.T) {
	in := analysis.CoverageInput{
		Sites: []analysis.CoverageSite{twoWeeks(t, "AAA"), twoWeeks(t, "BBB"), {Code: "LKS", Location: zone(t, "America/Chicago")}},
		Tools: []analysis.TrackedTool{stationed(t, "A1", "AAA", 2), stationed(t, "L1", "LKS", 12), stationed(t, "L2", "LKS", 12)},
	}
	a := coverage(t, in, analysis.CoverageOptions{})
	if len(a.Gaps) != 2 || a.Gaps[0].Site != "BBB" || a.Gaps[0].From != "2026-03-02" || a.Gaps[1].Site != "AAA" {
		t.Fatalf("%+v", a.Gaps)
	}
	if len(a.Gaps[0].Transfers) != 1 || len(a.Gaps[1].Transfers) != 0 || len(a.Gaps[1].Calibrations) != 1 {
		t.Errorf("%+v", a.Gaps)
	}
	if by := a.Gaps[0].Transfers[0].By; by != "2026-03-02" {
		t.Errorf("open from today, by %s", by)
	}
	in.Tools = in.Tools[:1]
	if s := coverage(t, in, analysis.CoverageOptions{}).Gaps[0].Sentence; !strings.HasSuffix(s, "at 32 N.m. Nothing on record closes it: hire or buy a tool, or move the work.") {
		t.Errorf("%q", s)
	}
}

// Worked by hand: 850 of 1,000 cycles are used, none in the last 28 days, so Due
// forecasts nothing. At 40 fasteners a day 970 are used after Wednesday 4 March
// and Thursday would make 1,010. Shared by two, 20 a day: 990 after Tuesday 10
// March, and Wednesday would make 1,010; the other goes on alone.
func TestCoveragePlanUsesCycles(t *testing.T) {
	w := stationed(t, "W1", "RVB", 12)
	w.Due.Tool.IntervalCycles = 1000
	w.Due.Uses = []analysis.Use{{At: at(t, "2026-01-20T12:00:00Z"), Fasteners: 850}}
	in := analysis.CoverageInput{Sites: []analysis.CoverageSite{twoWeeks(t, "RVB")}, Tools: []analysis.TrackedTool{w}}
	a := coverage(t, in, analysis.CoverageOptions{})
	if len(a.Gaps) != 1 || a.Gaps[0].From != "2026-03-05" || a.Gaps[0].Joints != 70 {
		t.Fatalf("%+v", a.Gaps)
	}
	out := a.Cells[0].Out
	if len(out) != 1 || out[0].Reason != analysis.RefusedPlanCycles || !out[0].At.Equal(at(t, "2026-03-05T23:59:59Z")) ||
		out[0].Detail != "the planned work uses up its 1000 cycles on 2026-03-05 (850 used since the calibration, 120 by the plan before that day)" {
		t.Errorf("%+v", out)
	}
	if c := a.Gaps[0].Calibrations; len(c) != 1 || c[0].By != "2026-03-04" {
		t.Errorf("%+v", c)
	}
	in.Tools = append(in.Tools, stationed(t, "W2", "RVB", 12))
	a = coverage(t, in, analysis.CoverageOptions{})
	if len(a.Gaps) != 0 || !slices.Equal(a.Cells[0].Usable, []string{"W1", "W2"}) || !slices.Equal(a.Cells[1].Usable, []string{"W2"}) ||
		!strings.Contains(a.Cells[1].Out[0].Detail, "on 2026-03-11 (850 used since the calibration, 140 by the plan before that day)") {
		t.Errorf("%+v", a.Cells)
	}
}

// The limit of class II-A is ±4 % above 10 N·m (ISO 6789-1:2017, trade.md F): it
// takes all of ±4 %, half of ±8 %, and more than ±3 %.
func TestCoverageClassAgainstTolerance(t *testing.T) {
	for _, c := range []struct {
		tolerance, share float64
		class            string
		covered          bool
	}{
		{4, 0, "II-A", true}, {3, 0, "II-A", false}, {8, 0.5, "II-A", true}, {7.9, 0.5, "II-A", false},
		{10, 0, "", false}, {0, 0, "", true},
	} {
		site := twoWeeks(t, "RVB")
		site.Towers[0].Remaining[0].TolerancePercent = c.tolerance
		w := stationed(t, "W1", "RVB", 12)
		w.Due.Tool.TypeClass = c.class
		a := coverage(t, analysis.CoverageInput{Sites: []analysis.CoverageSite{site}, Tools: []analysis.TrackedTool{w}}, analysis.CoverageOptions{LimitShare: c.share})
		if got := len(a.Gaps) == 0; got != c.covered {
			t.Errorf("%+v: covered %v", c, got)
		}
		if !c.covered && (len(a.Cells[0].Out) != 1 || a.Cells[0].Out[0].Reason != analysis.RefusedClass) {
			t.Errorf("%+v: %+v", c, a.Cells[0].Out)
		}
	}
}

// Two torques of one band that no one tool reaches are covered by two tools.
func TestCoverageJudgesEachTorque(t *testing.T) {
	site := twoWeeks(t, "RVB")
	site.Towers[0].Remaining = []analysis.RemainingJoints{
		{TorqueNewtonMetres: 26, TolerancePercent: 10, Joints: 10, Fasteners: 40}, {TorqueNewtonMetres: 39, TolerancePercent: 10, Joints: 10, Fasteners: 40},
	}
	in := analysis.CoverageInput{Sites: []analysis.CoverageSite{site}, Tools: []analysis.TrackedTool{sized(t, "LARGE", "RVB", 150), sized(t, "SMALL", "RVB", 30)}}
	if a := coverage(t, in, analysis.CoverageOptions{}); len(a.Gaps) != 0 || !slices.Equal(a.Cells[0].Usable, []string{"LARGE", "SMALL"}) {
		t.Errorf("%+v", a)
	}
	in.Tools = in.Tools[:1]
	if a := coverage(t, in, analysis.CoverageOptions{}); len(a.Gaps) != 1 || !slices.Equal(a.Gaps[0].OpenNewtonMetres, []float64{26}) || a.Gaps[0].Joints != 10 {
		t.Errorf("%+v", a.Gaps)
	}
}

// One torque is closed by a tool that LKS can spare, the other by calibrating one
// here: each alone leaves a part, together they close it. Without LKS 26 N·m is
// left to nothing.
func TestCoverageWaysThatClosePartGoTogether(t *testing.T) {
	site := twoWeeks(t, "RVB")
	site.Towers[0].Remaining = []analysis.RemainingJoints{
		{TorqueNewtonMetres: 26, TolerancePercent: 10, Joints: 10, Fasteners: 40}, {TorqueNewtonMetres: 39, TolerancePercent: 10, Joints: 10, Fasteners: 40},
	}
	large := sized(t, "LARGE", "RVB", 150) // from 30 N·m
	large.Due.Tool.IntervalMonths = 1
	in := analysis.CoverageInput{
		Sites: []analysis.CoverageSite{site, {Code: "LKS", Location: zone(t, "America/Chicago")}},
		Tools: []analysis.TrackedTool{large, sized(t, "L1", "LKS", 30), sized(t, "L2", "LKS", 30)},
	}
	g := coverage(t, in, analysis.CoverageOptions{}).Gaps[0]
	if g.Unclosed != nil || !strings.HasSuffix(g.Sentence, "To close it, send L1 from LKS by 2026-03-02 (L2 stays there) for 26 N.m, and calibrate LARGE by 2026-03-02 for 39 N.m.") {
		t.Errorf("%+v", g)
	}
	in.Tools = in.Tools[:1]
	g = coverage(t, in, analysis.CoverageOptions{}).Gaps[0]
	if !slices.Equal(g.Unclosed, []float64{26}) || !strings.HasSuffix(g.Sentence, "To close part of it, calibrate LARGE by 2026-03-02 for 39 N.m; nothing on record closes 26 N.m.") {
		t.Errorf("%+v", g)
	}
}

// A finish that has passed or is missing puts the work into the first two weeks
// and is said; a start to come waits; what is planned beyond the last week is
// left out. Four of the ten weeks from 2 March to 8 May make 40 of 100 joints.
func TestCoverageDatesOfTowers(t *testing.T) {
	for name, c := range map[string]struct {
		start, finish string
		weeks         int
		want          map[string]int64
		note          string
	}{
		"passed":        {"2025-10-01", "2026-02-20", 4, map[string]int64{"2026-W10": 50, "2026-W11": 50}, "RVB/CT1 was to be finished on 2026-02-20: its 100 joints left are put into the 2 weeks from 2026-03-02."},
		"missing":       {"2026-03-09", "", 4, map[string]int64{"2026-W11": 50, "2026-W12": 50}, "RVB/CT1 has no planned finish: its 100 joints left are put into the 2 weeks from 2026-03-09."},
		"no start":      {"", "2026-03-13", 4, map[string]int64{"2026-W10": 50, "2026-W11": 50}, "RVB/CT1 has no planned start: its work is taken to be going on, so its 100 joints left are spread from 2026-03-02 through 2026-03-13."},
		"to come":       {"2026-03-11", "2026-03-24", 4, map[string]int64{"2026-W11": 30, "2026-W12": 50, "2026-W13": 20}, ""},
		"beyond":        {"2026-03-02", "2026-05-08", 4, map[string]int64{"2026-W10": 10, "2026-W11": 10, "2026-W12": 10, "2026-W13": 10}, ""},
		"a weekend off": {"2026-03-07", "2026-03-08", 4, map[string]int64{"2026-W11": 50, "2026-W12": 50}, "RVB/CT1 is to be finished on 2026-03-08 with no working day left until then: its 100 joints left are put into the 2 weeks from 2026-03-07."},
	} {
		site := twoWeeks(t, "RVB")
		site.Towers[0].PlannedStart, site.Towers[0].PlannedFinish = c.start, c.finish
		a := coverage(t, analysis.CoverageInput{Sites: []analysis.CoverageSite{site}, Tools: []analysis.TrackedTool{stationed(t, "W1", "RVB", 12)}}, analysis.CoverageOptions{Weeks: c.weeks})
		got := map[string]int64{}
		for _, cell := range a.Cells {
			got[cell.Week] = cell.Joints
		}
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %v; expected %v", name, got, c.want)
		}
		if notes := strings.Join(a.Notes, "|"); notes != c.note {
			t.Errorf("%s: %q; expected %q", name, notes, c.note)
		}
	}
}

// The preferred numbers R5 of ISO 3, and bands of one's own.
func TestCoverageBands(t *testing.T) {
	for _, c := range []struct {
		torque       float64
		edges        []float64
		lower, upper float64
	}{
		{0.5, nil, 0, 1}, {25, nil, 25, 40}, {39.99, nil, 25, 40}, {40, nil, 40, 63}, {20000, nil, 10000, 0},
		{32, []float64{20, 50}, 20, 50}, {10, []float64{20, 50}, 0, 20}, {50, []float64{20, 50}, 50, 0},
	} {
		site := twoWeeks(t, "RVB")
		site.Towers[0].Remaining[0].TorqueNewtonMetres = c.torque
		a := coverage(t, analysis.CoverageInput{Sites: []analysis.CoverageSite{site}}, analysis.CoverageOptions{BandEdges: c.edges})
		if want := (analysis.TorqueBand{LowerNewtonMetres: c.lower, UpperNewtonMetres: c.upper}); a.Cells[0].Band != want {
			t.Errorf("%g: %+v; expected %+v", c.torque, a.Cells[0].Band, want)
		}
	}
}

func randomCoverage(t *testing.T, r *rand.Rand) analysis.CoverageInput {
	var in analysis.CoverageInput
	for s := range 3 {
		site := analysis.CoverageSite{Code: fmt.Sprintf("S%d", s), Location: zone(t, []string{"Europe/Dublin", "America/Chicago", "Asia/Tokyo"}[s])}
		for tower := range r.IntN(3) {
			ct := analysis.CoverageTower{
				Tower: fmt.Sprintf("T%d", tower), PlannedStart: "2026-03-0" + fmt.Sprint(1+r.IntN(9)), PlannedFinish: "2026-04-" + fmt.Sprint(10+r.IntN(15)),
			}
			for range 1 + r.IntN(3) {
				joints := int64(r.IntN(90))
				ct.Remaining = append(ct.Remaining, analysis.RemainingJoints{TorqueNewtonMetres: float64(15 + 15*r.IntN(6)), TolerancePercent: 10, Joints: joints, Fasteners: 4 * joints})
			}
			site.Towers = append(site.Towers, ct)
		}
		in.Sites = append(in.Sites, site)
	}
	for i := range r.IntN(8) {
		w := sized(t, fmt.Sprintf("W%d", i), fmt.Sprintf("S%d", r.IntN(3)), float64(40+40*r.IntN(4)))
		w.Due.Tool.IntervalMonths, w.Due.Tool.IntervalCycles = 2+r.IntN(3), 100*r.IntN(5)
		in.Tools = append(in.Tools, w)
	}
	return in
}

func openJoints(a analysis.CoverageAnswer) (n int64) {
	for _, g := range a.Gaps {
		n += g.Joints
	}
	return n
}

// Whatever the plan: nothing is lost or made in spreading it; the answer does not
// depend on the order of sites and tools; a gap's torques are open in a cell and
// the other way round; what a remedy sends really serves; one more tool never
// leaves more work open.
func TestCoverageProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(2026, 3))
	for n := range 150 {
		in := randomCoverage(t, r)
		a := coverage(t, in, analysis.CoverageOptions{Weeks: 12})
		var planned, cells int64
		for _, s := range in.Sites {
			for _, tower := range s.Towers {
				for _, rest := range tower.Remaining {
					planned += rest.Joints
				}
			}
		}
		open := false
		for _, c := range a.Cells {
			cells += c.Joints
			open = open || len(c.OpenNewtonMetres) > 0
		}
		if cells != planned || open != (len(a.Gaps) > 0) {
			t.Fatalf("%d: %d joints in cells, %d planned; open %v, %d gaps", n, cells, planned, open, len(a.Gaps))
		}
		shuffled := analysis.CoverageInput{Sites: slices.Clone(in.Sites), Tools: slices.Clone(in.Tools)}
		r.Shuffle(len(shuffled.Tools), func(i, j int) { shuffled.Tools[i], shuffled.Tools[j] = shuffled.Tools[j], shuffled.Tools[i] })
		slices.Reverse(shuffled.Sites)
		b := coverage(t, shuffled, analysis.CoverageOptions{Weeks: 12})
		if !reflect.DeepEqual(a.Gaps, b.Gaps) || !reflect.DeepEqual(a.Cells, b.Cells) {
			t.Fatalf("%d: the order matters:\n%+v\n%+v", n, a.Gaps, b.Gaps)
		}
		sent := map[string]string{}
		for _, g := range a.Gaps {
			for _, m := range g.Transfers {
				if to, twice := sent[m.Serial]; twice && to != g.Site || m.FromSite == g.Site || len(m.Reserve) == 0 || slices.Contains(m.Reserve, m.Serial) {
					t.Fatalf("%d: %+v", n, g)
				}
				sent[m.Serial] = g.Site
			}
		}
		more := in
		more.Tools = append(slices.Clone(in.Tools), sized(t, "EXTRA", "S0", 100))
		if was, is := openJoints(a), openJoints(coverage(t, more, analysis.CoverageOptions{Weeks: 12})); is > was {
			t.Fatalf("%d: one more tool leaves %d open, before %d", n, is, was)
		}
	}
}

func TestCoverageQuestionsThatAreWrong(t *testing.T) {
	for field, spoil := range map[string]func(*analysis.CoverageInput, *analysis.CoverageOptions){
		"as_of":           func(_ *analysis.CoverageInput, o *analysis.CoverageOptions) { o.AsOf = time.Time{} },
		"weeks":           func(_ *analysis.CoverageInput, o *analysis.CoverageOptions) { o.Weeks = 105 },
		"overdue_weeks":   func(_ *analysis.CoverageInput, o *analysis.CoverageOptions) { o.OverdueWeeks = -1 },
		"limit_share":     func(_ *analysis.CoverageInput, o *analysis.CoverageOptions) { o.LimitShare = math.NaN() },
		"band_edges[1]":   func(_ *analysis.CoverageInput, o *analysis.CoverageOptions) { o.BandEdges = []float64{5, 5} },
		"working_days[1]": func(_ *analysis.CoverageInput, o *analysis.CoverageOptions) { o.WorkingDays = []time.Weekday{1, 1} },
		"sites[0]":        func(_ *analysis.CoverageInput, o *analysis.CoverageOptions) { o.Sites = []string{"XXX"} },
		"sites[1].code": func(in *analysis.CoverageInput, _ *analysis.CoverageOptions) {
			in.Sites = append(in.Sites, in.Sites[0])
		},
		"sites[0].time_zone": func(in *analysis.CoverageInput, _ *analysis.CoverageOptions) { in.Sites[0].Location = nil },
		"sites[0].towers[0].planned_start": func(in *analysis.CoverageInput, _ *analysis.CoverageOptions) {
			in.Sites[0].Towers[0].PlannedStart, in.Sites[0].Towers[0].PlannedFinish = "1 March", ""
		},
		"sites[0].towers[0].planned_finish": func(in *analysis.CoverageInput, _ *analysis.CoverageOptions) {
			in.Sites[0].Towers[0].PlannedFinish = "2026-03-01"
		},
		"sites[0].towers[0].remaining[0].torque": func(in *analysis.CoverageInput, _ *analysis.CoverageOptions) {
			in.Sites[0].Towers[0].Remaining[0].TorqueNewtonMetres = math.Inf(1)
		},
		"sites[0].towers[0].remaining[0].tolerance": func(in *analysis.CoverageInput, _ *analysis.CoverageOptions) {
			in.Sites[0].Towers[0].Remaining[0].TolerancePercent = math.NaN()
		},
		"sites[0].towers[0].remaining[0].fasteners": func(in *analysis.CoverageInput, _ *analysis.CoverageOptions) {
			in.Sites[0].Towers[0].Remaining[0].Fasteners = 99
		},
	} {
		in := analysis.CoverageInput{Sites: []analysis.CoverageSite{twoWeeks(t, "RVB")}, Tools: []analysis.TrackedTool{stationed(t, "W1", "RVB", 12)}}
		o := analysis.CoverageOptions{AsOf: at(t, "2026-03-02T07:00:00Z")}
		spoil(&in, &o)
		_, err := analysis.Coverage(in, o)
		wrongField(t, field, err)
	}
}
