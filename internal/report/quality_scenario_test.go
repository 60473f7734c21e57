package report

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"jointledger/internal/report/figure"
)

// regionGulf is the report of an invented region in which one lot galls, one site's
// rank is a matter of its mix, and hardware and a tool run short.
func regionGulf(t *testing.T) *QualityDocument {
	t.Helper()
	at := time.Date(2026, 3, 16, 6, 0, 0, 0, time.UTC)
	return &QualityDocument{
		Scope: "region Gulf", Since: "2025-12-01", DataAsOf: at, PreparedBy: "m.okafor", Program: "trackctl 0.5",
		Actions: []Action{
			{"lot", "L-4471", "Take lot L-4471 out of use: it galls 4.9 times as often as the other lots at the same sites (95 % interval 2.8 to 8.4; 41 of 2,310 failed).", 640, PartLots},
			{"place", "RVB", "Order 1,200 of M10 x 40 A4-70 for RVB by 2026-03-20: what is on hand runs out with a probability of 92 %; at 95 % service 2,310 are needed and 1,150 are there.", 310, PartSpares},
			{"tool", "TW-0093", "Send TW-0093 to be calibrated or lend RVB another by 2026-03-27: from then on 180 planned joints have no tool that may tighten them.", 180, PartCoverage},
			{"place", "MRW", "Look into MRW: 2.1 times the failures that its lots and treatments lead one to expect (95 % interval 1.6 to 2.7), more than chance does.", 74, PartSites},
		},
		OrdersDiffer: "The crude order of the sites misleads: DNC has the highest crude rate (11.2 per 1,000) and stands only seventh of fourteen once its lots and treatments are allowed for; MRW is first then.",
		Lots:         forestOfLots(), Holds: openHolds(), Coverage: weeksAhead(), Spares: hardware(), Sites: funnelOfSites(t),
		Trends: []*figure.ControlChart{chartOfSite()}, Progress: curves(), Incidents: incidents(),
		LeftOut: []LeftOut{{"", "214 failures at site OLD", "no tightening stands beside them, so how many went well is not known"}},
		Cautions: []string{
			"The equipment maker's manual, the drawings and the decision of the licensed engineer come before anything that is written here.",
			"A difference that is more than chance is not yet a cause: lots, crews and weather come together.",
		},
		Chains: []SiteChain{{"RVB", Chain{Sequence: 48211, Link: "5e0c1d0f6a6f3a0c1f1b8b8d5c3b2a1908f7e6d5c4b3a29180706050403020100"[:64]}}},
	}
}

func caption(finding string) figure.Caption {
	return figure.Caption{Finding: finding, Method: "Mantel and Haenszel's ratio over sites with Robins, Breslow and Greenland's interval.",
		Assumption: "Attempts fail independently of one another within a site and treatment.",
		Cautions:   []string{"Fasteners of one joint are not independent; the intervals by joint are 1.3 times as wide."},
		LeftOut:    []string{"Two lots with fewer than 20 attempts."}}
}

func forestOfLots() *figure.Forest {
	f := &figure.Forest{Caption: caption("Lot L-4471 galls 4.9 times as often as the other lots at the same sites (95 % interval 2.8 to 8.4)."),
		Of: "lots", Measure: "ratio of failures to the other lots, same sites", Ratio: true, Confidence: 0.95, Reference: ptr(1.0), ReferenceLabel: "as often as the others"}
	add := func(name string, x, n int64, v, l, u *float64, out bool) {
		f.Rows = append(f.Rows, figure.ForestRow{Name: name, Failures: x, Attempts: n, Value: v, Lower: l, Upper: u, StandsOut: out})
	}
	add("L-4471", 41, 2310, ptr(4.9), ptr(2.8), ptr(8.4), true)
	add("L-4502 (replacement lot of the same heat, second delivery)", 9, 830, ptr(1.9), ptr(0.92), ptr(3.7), false)
	add("L-4466", 22, 5120, ptr(1.12), ptr(0.7), ptr(1.8), false)
	add("L-4390", 18, 5060, ptr(0.93), ptr(0.56), ptr(1.5), false)
	add("L-4410", 12, 4410, ptr(0.71), ptr(0.38), ptr(1.3), false)
	add("L-4333", 1, 40, ptr(6.1), ptr(0.15), nil, false)
	add("L-4488", 2, 1900, ptr(0.3), ptr(0.03), ptr(1.1), false)
	add("L-4499", 0, 310, ptr(0.0), nil, ptr(3.1), false)
	add("L-4500", 0, 0, nil, nil, nil, false)
	return f
}

func openHolds() *figure.Holds {
	return &figure.Holds{Caption: caption("61 joints are on hold, 9 of them for more than 30 days, most for torque outside the window."), AgeBounds: []int{7, 30},
		Rules: []figure.HoldsRule{
			{Name: "torque outside window", ByAge: []int64{12, 14, 5}, OldestDays: 46, OldestPlace: "RVB/T2/C3/J014"},
			{Name: "tool past due", ByAge: []int64{9, 6, 0}, OldestDays: 21, OldestPlace: "MRW/T1/C1/J002"},
			{Name: "lot in quarantine", ByAge: []int64{0, 8, 4}, OldestDays: 63, OldestPlace: "DNC/T1/C2/J009"},
			{Name: "sealed too cold", ByAge: []int64{3, 0, 0}, OldestDays: 2, OldestPlace: "MRW/T1/C4/J030"},
		}}
}

func weeksAhead() *figure.Coverage {
	f := &figure.Coverage{Caption: caption("From week 13 RVB has 180 joints planned that no tool in calibration can tighten.")}
	monday := time.Date(2026, 3, 16, 0, 0, 0, 0, time.UTC)
	for i := range 8 {
		d := monday.AddDate(0, 0, 7*i)
		y, w := d.ISOWeek()
		f.Weeks = append(f.Weeks, figure.CoverageWeek{Name: fmt.Sprintf("%d-W%02d", y, w), Monday: figure.Day(d.Format(time.DateOnly))})
	}
	for i, name := range []string{"RVB", "MRW", "DNC", "ASH", "HLT"} {
		s := figure.CoverageSite{Name: name, Overdue: int64(i % 2)}
		for k := range 8 {
			c := figure.CoverageCell{Joints: int64(60 - 10*k + 5*i), Due: int64((i*k + k) % 5 / 3)}
			if c.Joints < 15 {
				c.Joints = 0
			}
			if i == 0 && k >= 1 && k <= 3 {
				c.Gap, c.Open = true, c.Joints
			}
			s.Weeks = append(s.Weeks, c)
		}
		f.Sites = append(f.Sites, s)
	}
	return f
}

func hardware() *figure.Spares {
	return &figure.Spares{Caption: caption("Two fasteners will probably run out before the work is done: M10 x 40 at RVB (92 %) and M8 x 30 at MRW (61 %)."), ServiceLevel: 0.95,
		Items: []figure.SparesItem{
			{Fastener: "M10 x 40 A4-70", Site: "RVB", Remaining: 2150, OnHand: 1150, Need: ptr(int64(2310)), MeanNeed: ptr(2221.5), RunOut: ptr(0.92), Order: ptr(int64(1200)), OrderBy: ptr(figure.Day("2026-03-20"))},
			{Fastener: "M8 x 30 A2-70", Site: "MRW", Remaining: 800, OnHand: 824, Need: ptr(int64(871)), MeanNeed: ptr(829.0), RunOut: ptr(0.61), Order: ptr(int64(100)), OrderBy: ptr(figure.Day("2026-03-02")), Late: true},
			{Fastener: "M12 x 50 8.8 hot-dip", Site: "DNC", Remaining: 300, OnHand: 1400, Need: ptr(int64(306)), MeanNeed: ptr(301.0), RunOut: ptr(0.001), Order: ptr(int64(0))},
			{Fastener: "M16 x 60 A4-80", Site: "ASH", Remaining: 40, OnHand: 44},
			{Fastener: "M6 x 20 A2-70", Site: "HLT", Remaining: 0, OnHand: 12, Need: ptr(int64(0)), MeanNeed: ptr(0.0), RunOut: ptr(0.0), Order: ptr(int64(0))},
		}}
}

func funnelOfSites(t *testing.T) *figure.Funnel {
	t.Helper()
	f := &figure.Funnel{Caption: caption("MRW has 2.1 times the failures that its lots and treatments lead one to expect (95 % interval 1.6 to 2.7)."),
		Of: "sites", Measure: "failures over expected", Precision: "expected failures", Target: 1, OverDispersion: ptr(1.4)}
	limits, err := figure.RatioLimits(1.5, 90, 1.4)
	if err != nil {
		t.Fatal(err)
	}
	f.Limits = limits
	for i, p := range []figure.FunnelPoint{
		{Name: "MRW", Precision: 35, Value: 2.1, Sigma: 3, Lower: ptr(1.6), Upper: ptr(2.7)}, {Name: "RVB", Precision: 61, Value: 1.33, Sigma: 2},
		{Name: "HLT", Precision: 44, Value: 0.45, Sigma: -3}, {Name: "ASH", Precision: 40, Value: 0.6, Sigma: -2},
		{Name: "DNC", Precision: 88, Value: 1.04}, {Name: "QNB", Precision: 1.7, Value: 5.4}, {Name: "SLT", Precision: 3, Value: 0},
		{Name: "BRK", Precision: 12, Value: 1.3}, {Name: "FNT", Precision: 9, Value: 0.8}, {Name: "GRV", Precision: 22, Value: 0.9},
		{Name: "WLD", Precision: 27, Value: 1.15}, {Name: "TRN", Precision: 15, Value: 0.7}, {Name: "ELM", Precision: 33, Value: 1.02}, {Name: "OAK", Precision: 51, Value: 0.97},
	} {
		f.Points = append(f.Points, p)
		_ = i
	}
	return f
}

func chartOfSite() *figure.ControlChart {
	f := &figure.ControlChart{Caption: caption("At MRW the failure rate rose from 6.1 to 12.9 per 1,000 about week 6; weeks 8 and 10 lie beyond their limits."),
		Of: "failures at site MRW", Kind: "Laney p′ chart", Measure: "failures per 1,000 attempts", Centre: 8.4}
	r := rand.New(rand.NewPCG(1, 2))
	for i := range 16 {
		n := 300 + 200*r.Float64()
		mean := 6.1
		if i >= 6 {
			mean = 12.9
		}
		p := figure.ControlPoint{Label: fmt.Sprintf("2026-W%02d", i+1), Value: math.Max(0, mean+3*r.NormFloat64())}
		half := 3 * math.Sqrt(8.4*991.6/n)
		p.Lower, p.Upper = ptr(math.Max(0, 8.4-half)), ptr(8.4+half)
		if i == 7 || i == 9 {
			p.Value = *p.Upper + 2 + float64(i)/4
			p.Beyond = 1
		} else {
			p.Value = math.Min(p.Value, *p.Upper)
		}
		f.Points = append(f.Points, p)
	}
	f.Change = &figure.ControlChange{FirstAfter: "2026-W07", Before: 6.1, After: 12.9}
	return f
}

func curves() *figure.Progress {
	f := &figure.Progress{Caption: caption("RVB will probably be done on 2026-05-04, three weeks after its planned finish (95 % interval 2026-04-20 to 2026-06-01)."), Of: "joints tightened"}
	start := time.Date(2026, 1, 12, 0, 0, 0, 0, time.UTC)
	day := func(n int) figure.Day { return figure.Day(start.AddDate(0, 0, n).Format(time.DateOnly)) }
	for i, name := range []string{"RVB", "MRW", "DNC"} {
		s := figure.ProgressSite{Name: name, Whole: 1200, Planned: []figure.ProgressPoint{{Day: day(0), Total: 0}, {Day: day(20), Total: 200}, {Day: day(70), Total: 1000}, {Day: day(91), Total: 1200}}}
		for k := range 9 {
			s.Done = append(s.Done, figure.ProgressPoint{Day: day(7*k + 2), Total: int64((70 + 25*i) * k)})
		}
		switch i {
		case 0:
			s.Forecast = &figure.ProgressForecast{From: day(63), Earliest: day(98), Expected: day(112), Latest: ptr(day(140)), Confidence: 0.95}
		case 1:
			s.Forecast = &figure.ProgressForecast{From: day(63), Earliest: day(84), Expected: day(90), Confidence: 0.95}
		}
		f.Sites = append(f.Sites, s)
	}
	return f
}

func incidents() *figure.Pareto {
	return &figure.Pareto{Caption: caption("Galling and wrong lubricant make up 71 % of the incidents."), Of: "incidents", Kinds: []figure.ParetoKind{
		{Name: "galled", Count: 118}, {Name: "stripped thread", Count: 21}, {Name: "wrong lubricant", Count: 64}, {Name: "leak at seal", Count: 33},
		{Name: "dropped tool", Count: 9}, {Name: "broke in tightening", Count: 7}, {Name: "wrong hardware", Count: 5}, {Name: "never seen", Count: 0},
	}}
}

// quietSite is a report without any figure.
func quietSite() *QualityDocument {
	d := &QualityDocument{Scope: "site NEW", Since: "2026-03-02", DataAsOf: time.Date(2026, 3, 16, 6, 0, 0, 0, time.UTC), Program: "trackctl 0.5"}
	for _, p := range Parts() {
		d.LeftOut = append(d.LeftOut, LeftOut{p, "the figure of " + string(p), "nothing is on record yet"})
	}
	return d
}

// crowded is a report with far more of everything than a page holds, and names that
// are not nice.
func crowded() *QualityDocument {
	name := func(i int) string {
		return []string{`<script>alert("x")</script>`, "אתר הצפון", strings.Repeat("W", 120), "北部現場", `a "quoted" & long name of a lot that goes on and on and on`, "plain"}[i%6] + fmt.Sprint(" ", i)
	}
	d := quietSite()
	d.LeftOut, d.Scope = nil, `region "<b>" `+strings.Repeat("long ", 30)
	d.Actions = []Action{{"lot", name(0), "Look into " + name(0) + ": 12 times as often (3 to 40).", 5, PartLots}}
	said := caption("Far too many stand out, among them " + name(0) + " and " + name(1) + ".")
	d.Lots = &figure.Forest{Caption: said, Of: "lots", Measure: "ratio", Ratio: true, Confidence: 0.95, Reference: ptr(1.0), ReferenceLabel: name(2)}
	d.Holds = &figure.Holds{Caption: said, AgeBounds: []int{7, 30}}
	d.Coverage = &figure.Coverage{Caption: said}
	for k := range 30 {
		d.Coverage.Weeks = append(d.Coverage.Weeks, figure.CoverageWeek{Name: fmt.Sprintf("2026-W%02d", 12+k), Monday: figure.Day(time.Date(2026, 3, 16+7*k, 0, 0, 0, 0, time.UTC).Format(time.DateOnly))})
	}
	d.Spares = &figure.Spares{Caption: said, ServiceLevel: 0.95}
	d.Sites = &figure.Funnel{Caption: said, Of: "sites", Measure: "failures over expected", Precision: "expected failures", Target: 1}
	chart := &figure.ControlChart{Caption: said, Of: name(3), Kind: "u chart", Measure: "failures per 1,000 attempts", Centre: 8}
	d.Trends = []*figure.ControlChart{chart, chart}
	d.Progress = &figure.Progress{Caption: said, Of: "joints tightened"}
	d.Incidents = &figure.Pareto{Caption: said, Of: "incidents"}
	for i := range 500 {
		v := 20 / (1 + float64(i))
		d.Lots.Rows = append(d.Lots.Rows, figure.ForestRow{Name: name(i), Failures: 123456, Attempts: 123456789, Value: &v, Lower: ptr(v / 3), StandsOut: i%2 == 0})
		d.Holds.Rules = append(d.Holds.Rules, figure.HoldsRule{Name: name(i), ByAge: []int64{1, int64(i % 50), 2}, OldestDays: 400, OldestPlace: name(i)})
		s := figure.CoverageSite{Name: name(i), Overdue: int64(i % 3), Weeks: make([]figure.CoverageCell, 30)}
		for k := range s.Weeks {
			s.Weeks[k] = figure.CoverageCell{Due: int64((i + k) % 4 * 7), Joints: int64(k), Gap: k%3 == 1, Open: int64(k / 2)}
		}
		d.Coverage.Sites = append(d.Coverage.Sites, s)
		d.Spares.Items = append(d.Spares.Items, figure.SparesItem{Fastener: name(i), Site: name(i + 1), Remaining: int64(i * 1000), OnHand: int64(500 * 1000), Need: ptr(int64(1100*i + 5)), RunOut: ptr(0.5), Order: ptr(int64(123456)), OrderBy: ptr(figure.Day("2026-04-01"))})
		d.Sites.Points = append(d.Sites.Points, figure.FunnelPoint{Name: name(i), Precision: 0.1 + float64(i*i%997), Value: v, Sigma: []int{0, 2, 3, -2, -3, 0}[i%6]})
		chart.Points = append(chart.Points, figure.ControlPoint{Label: name(i), Value: v, Upper: ptr(15.0), Beyond: map[bool]int{true: 1}[v > 15]})
		d.Progress.Sites = append(d.Progress.Sites, figure.ProgressSite{Name: name(i), Whole: 1234567, Done: []figure.ProgressPoint{{Day: "2026-01-01"}, {Day: "2026-02-01", Total: int64(i)}},
			Forecast: &figure.ProgressForecast{From: "2026-02-02", Earliest: "2026-05-01", Expected: "2026-06-01", Confidence: 0.95}})
		d.Incidents.Kinds = append(d.Incidents.Kinds, figure.ParetoKind{Name: name(i), Count: int64(1000 / (i + 1))})
	}
	return d
}
