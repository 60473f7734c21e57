package analysis_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// trackedWrench is a wrench of class II-A in the crib at RVB, calibrated on 10
// January 2026 for a year, with a range from a tenth of its maximum.
func trackedWrench(t *testing.T, serial string, maximum float64) analysis.TrackedTool {
	t.Helper()
	tool := wrench(serial, 12, 0)
	tool.MinimumNewtonMetres, tool.MaximumNewtonMetres = maximum/10, maximum
	c := calibration(t, "2026-01-10T10:00:00Z")
	c.Points[0].TargetNewtonMetres, c.Points[0].ReadingsNewtonMetres = maximum/2, []float64{maximum / 2}
	return analysis.TrackedTool{Due: analysis.DueInput{Tool: tool, Location: zone(t, "Europe/Dublin"), Last: c}}
}

func readyOptions(t *testing.T) analysis.ReadyOptions {
	t.Helper()
	return analysis.ReadyOptions{Site: "RVB", Location: zone(t, "Europe/Dublin"), AsOf: at(t, "2026-03-02T07:00:00Z"), Finish: "2026-04-30"}
}

func torqueLine(quantity int, low, high float64) analysis.KitLine {
	return analysis.KitLine{Kind: ledger.ToolTorqueWrench, Quantity: quantity, LowestNewtonMetres: low, HighestNewtonMetres: high}
}

func ready(t *testing.T, kit []analysis.KitLine, tools []analysis.TrackedTool) analysis.ReadyAnswer {
	t.Helper()
	a, err := analysis.Ready(kit, tools, readyOptions(t))
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Worked by hand: usable ranges are 8-40, 20-100 and 40-200 N·m. The first line
// (30 N·m) could take the small or the middle one, the second (60) the middle or
// the large one, the third (90) the middle or the large one: a greedy choice that
// gives the middle one to the first line leaves the third short.
func TestReadyNoLineStarvesAnother(t *testing.T) {
	tools := []analysis.TrackedTool{trackedWrench(t, "M", 100), trackedWrench(t, "L", 200), trackedWrench(t, "S", 40)}
	a := ready(t, []analysis.KitLine{torqueLine(1, 30, 30), torqueLine(1, 90, 90), torqueLine(1, 60, 60)}, tools)
	if !a.Ready || !slices.Equal(a.Lines[0].Tools, []string{"S"}) || !slices.Equal(a.Lines[1].Tools, []string{"L"}) || !slices.Equal(a.Lines[2].Tools, []string{"M"}) {
		t.Fatalf("%+v", a.Lines)
	}
	if want := "Ready: every line of the kit is filled at RVB through 2026-04-30."; a.Verdict != want {
		t.Errorf("%q; expected %q", a.Verdict, want)
	}
}

func TestReadySmallestSufficientFirst(t *testing.T) {
	tools := []analysis.TrackedTool{trackedWrench(t, "L", 200), trackedWrench(t, "M", 100), trackedWrench(t, "M2", 110)}
	a := ready(t, []analysis.KitLine{torqueLine(2, 50, 80)}, tools)
	if !a.Ready || !slices.Equal(a.Lines[0].Tools, []string{"M", "M2"}) {
		t.Errorf("%+v", a.Lines)
	}
	// 20 to 100 N·m are just the bounds of M's usable range (20 % of 100).
	if a := ready(t, []analysis.KitLine{torqueLine(1, 20, 100)}, tools); !a.Ready || !slices.Equal(a.Lines[0].Tools, []string{"M"}) {
		t.Errorf("%+v", a.Lines)
	}
	hoist := func(serial string, kg float64) analysis.TrackedTool {
		return analysis.TrackedTool{
			Due:               analysis.DueInput{Tool: ledger.Tool{Serial: serial, Kind: ledger.ToolHoist, HomeSite: "RVB"}, Location: zone(t, "Europe/Dublin")},
			CapacityKilograms: kg,
		}
	}
	a = ready(t, []analysis.KitLine{{Kind: ledger.ToolHoist, Quantity: 2, CapacityKilograms: 1000}},
		[]analysis.TrackedTool{hoist("H1", 3000), hoist("H2", 500), hoist("H3", 0), hoist("H4", 1000)})
	if !a.Ready || !slices.Equal(a.Lines[0].Tools, []string{"H4", "H1"}) {
		t.Errorf("%+v", a.Lines)
	}
	if r := a.Lines[0].Refused; len(r) != 2 || r[0].Detail != "carries 500 kg, needed 1000 kg" || r[1].Detail != "no capacity is on record, needed 1000 kg" {
		t.Errorf("%+v", r)
	}
}

// Each reason is named with its day: worked by hand from the records.
func TestReadyNamesWhyToolsAreRefused(t *testing.T) {
	since := at(t, "2026-02-20T09:00:00Z")
	held, lent, lost, sent, away := trackedWrench(t, "A-HELD", 100), trackedWrench(t, "B-LENT", 100), trackedWrench(t, "C-LOST", 100), trackedWrench(t, "D-SENT", 100), trackedWrench(t, "E-AWAY", 100)
	held.Holds = []analysis.ToolHold{{ID: uuid.New(), Since: since, Reason: "bent head."}}
	lent.Custody = &analysis.ToolCustody{Kind: ledger.CustodyIssued, Site: "RVB", Holder: "m.ortega", Since: since}
	lost.Custody = &analysis.ToolCustody{Kind: ledger.CustodyLost, Site: "RVB", Since: since}
	sent.Custody = &analysis.ToolCustody{Kind: ledger.CustodySent, Site: "RVB", Since: since}
	away.Custody = &analysis.ToolCustody{Kind: ledger.CustodyReceived, Site: "LKS", Since: since}
	soon, past, never, failed, small := trackedWrench(t, "F-SOON", 100), trackedWrench(t, "G-PAST", 100), trackedWrench(t, "H-NEVER", 100), trackedWrench(t, "I-FAILED", 100), trackedWrench(t, "J-SMALL", 40)
	soon.Due.Tool.IntervalMonths = 3
	past.Due.Tool.IntervalMonths = 1
	never.Due.Last = nil
	failed.Due.Tool.IntervalMonths, failed.Due.Tool.DueAfterEvent = 0, false
	failed.Due.Last.Points[0].ReadingsNewtonMetres = []float64{47} // (50 − 47)/47 = 6.4 %, beyond 4 %
	tools := []analysis.TrackedTool{small, failed, never, past, soon, away, sent, lost, lent, held}
	a := ready(t, []analysis.KitLine{torqueLine(2, 0, 80)}, tools)
	l := a.Lines[0]
	if a.Ready || l.Have != 0 || l.Short != 2 || len(l.Refused) != len(tools) {
		t.Fatalf("%+v", l)
	}
	for i, want := range []struct {
		reason analysis.RefusalReason
		detail string
	}{
		{analysis.RefusedHeld, "on hold since 2026-02-20: bent head"},
		{analysis.RefusedLent, "lent to m.ortega since 2026-02-20"},
		{analysis.RefusedLost, "reported lost on 2026-02-20"},
		{analysis.RefusedAway, "sent off on 2026-02-20 and not received since"},
		{analysis.RefusedElsewhere, "at site LKS since 2026-02-20"},
		{analysis.RefusedDue, "calibration due on 2026-04-10 (3 months since the calibration on 2026-01-10 end on 2026-04-10), before the finish on 2026-04-30"},
		{analysis.RefusedDue, "calibration past due since 2026-02-10 (1 month since the calibration on 2026-01-10 end on 2026-02-10)"},
		{analysis.RefusedNeverDone, "no calibration is on record"},
		{analysis.RefusedFailed, "the calibration on 2026-01-10 found a deviation of +6.4 % as left at 50 N.m, outside ±4 % for II-A (ISO 6789-1:2017)"},
		{analysis.RefusedRange, "usable from 8 to 40 N.m, needed 80 N.m"},
	} {
		if r := l.Refused[i]; r.Reason != want.reason || r.Detail != want.detail {
			t.Errorf("%s: %s %q; expected %s %q", r.Serial, analysis.RefusalReasons.Name(r.Reason), r.Detail, analysis.RefusalReasons.Name(want.reason), want.detail)
		}
	}
	if want := "Not ready: 2 tools short on 1 line of the kit at RVB through 2026-04-30."; a.Verdict != want {
		t.Errorf("%q; expected %q", a.Verdict, want)
	}
	if !strings.HasPrefix(l.Sentence, "torque-wrench for 80 N.m: 0 of 2, 2 short; refused: A-HELD, on hold since 2026-02-20: bent head; B-LENT, lent to m.ortega") ||
		!strings.HasSuffix(l.Sentence, "; and 2 more.") {
		t.Errorf("%q", l.Sentence)
	}
}

// Due on the finish day itself is in date through the end of it.
func TestReadyThroughTheFinishDay(t *testing.T) {
	w := trackedWrench(t, "W", 100)
	w.Due.Tool.IntervalMonths = 4 // to 10 May 2026
	o := readyOptions(t)
	for finish, want := range map[string]bool{"2026-05-09": true, "2026-05-10": true, "2026-05-11": false} {
		o.Finish = finish
		a, err := analysis.Ready([]analysis.KitLine{torqueLine(1, 50, 50)}, []analysis.TrackedTool{w}, o)
		if err != nil || a.Ready != want {
			t.Errorf("through %s: %v %+v", finish, err, a.Lines)
		}
	}
}

// Other policies count too; a check for each shift is said and not refused.
func TestReadyAsksEveryPolicy(t *testing.T) {
	harness := analysis.TrackedTool{
		Due:      analysis.DueInput{Tool: ledger.Tool{Serial: "HN1", Kind: ledger.ToolHarness, HomeSite: "RVB"}, Location: zone(t, "Europe/Dublin")},
		Policies: []ledger.Policy{{Action: ledger.ActionPeriodicInspection, Months: 12}, {Action: ledger.ActionPreUseCheck, EachShift: true}},
		Done:     []analysis.ActionDone{doneAt(t, ledger.ActionPeriodicInspection, "2025-06-01T08:00:00Z")},
	}
	kit := []analysis.KitLine{{Kind: ledger.ToolHarness, Quantity: 1}}
	a := ready(t, kit, []analysis.TrackedTool{harness})
	if !a.Ready || !slices.ContainsFunc(a.Cautions, func(c string) bool { return strings.Contains(c, "every shift") }) {
		t.Errorf("%+v", a)
	}
	harness.Done = nil
	if a := ready(t, kit, []analysis.TrackedTool{harness}); a.Ready || a.Lines[0].Refused[0].Detail != "no periodic inspection is on record" {
		t.Errorf("%+v", a.Lines)
	}
}

// Against brute force over all ways of filling small kits: as many places are
// filled as can be; and the answer does not depend on the order of the tools.
func TestReadyFillsTheMost(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 15))
	for n := range 200 {
		var tools []analysis.TrackedTool
		for i := range 1 + r.IntN(6) {
			tools = append(tools, trackedWrench(t, fmt.Sprintf("W%d", i), float64(20+20*r.IntN(10))))
		}
		var kit []analysis.KitLine
		for range 1 + r.IntN(3) {
			low := float64(5 + 5*r.IntN(20))
			kit = append(kit, torqueLine(1+r.IntN(3), low, low*(1+float64(r.IntN(3)))))
		}
		a := ready(t, kit, tools)
		have, seen := 0, map[string]bool{}
		for i, l := range a.Lines {
			have += l.Have
			if l.Have != len(l.Tools) || l.Have+l.Short != kit[i].Quantity {
				t.Fatalf("%d: %+v", n, l)
			}
			for _, s := range l.Tools {
				if seen[s] {
					t.Fatalf("%d: %s fills two places", n, s)
				}
				seen[s] = true
				for _, tool := range tools {
					if tool.Due.Tool.Serial == s && !kitSuits(tool, kit[i]) {
						t.Fatalf("%d: %s does not suit %+v", n, s, kit[i])
					}
				}
			}
		}
		left := make([]int, len(kit))
		for i, l := range kit {
			left[i] = l.Quantity
		}
		if most := mostFilled(tools, kit, left); have != most {
			t.Fatalf("%d: filled %d, could fill %d: %+v", n, have, most, a.Lines)
		}
		slices.Reverse(tools)
		b := ready(t, kit, tools)
		for i := range b.Lines {
			if !slices.Equal(a.Lines[i].Tools, b.Lines[i].Tools) {
				t.Fatalf("%d: the order of the tools matters: %v, %v", n, a.Lines[i].Tools, b.Lines[i].Tools)
			}
		}
	}
}

// kitSuits: 20 to 100 % of the maximum, reckoned here anew.
func kitSuits(t analysis.TrackedTool, l analysis.KitLine) bool {
	top := t.Due.Tool.MaximumNewtonMetres
	return l.LowestNewtonMetres*5 >= top*(1-1e-9) && l.HighestNewtonMetres <= top*(1+1e-9)
}

func mostFilled(tools []analysis.TrackedTool, kit []analysis.KitLine, left []int) int {
	if len(tools) == 0 {
		return 0
	}
	best := mostFilled(tools[1:], kit, left)
	for i := range kit {
		if left[i] > 0 && kitSuits(tools[0], kit[i]) {
			left[i]--
			best = max(best, 1+mostFilled(tools[1:], kit, left))
			left[i]++
		}
	}
	return best
}

func TestReadyQuestionsThatAreWrong(t *testing.T) {
	w := trackedWrench(t, "W", 100)
	good := torqueLine(1, 50, 50)
	for field, spoil := range map[string]func(*[]analysis.KitLine, *[]analysis.TrackedTool, *analysis.ReadyOptions){
		"kit": func(k *[]analysis.KitLine, _ *[]analysis.TrackedTool, _ *analysis.ReadyOptions) { *k = nil },
		"kit[0].kind": func(k *[]analysis.KitLine, _ *[]analysis.TrackedTool, _ *analysis.ReadyOptions) {
			*k = []analysis.KitLine{{Quantity: 1}}
		},
		"kit[0].quantity": func(k *[]analysis.KitLine, _ *[]analysis.TrackedTool, _ *analysis.ReadyOptions) { (*k)[0].Quantity = 0 },
		"kit[0].highest_torque": func(k *[]analysis.KitLine, _ *[]analysis.TrackedTool, _ *analysis.ReadyOptions) {
			(*k)[0].HighestNewtonMetres = 40
		},
		"kit[0].capacity": func(k *[]analysis.KitLine, _ *[]analysis.TrackedTool, _ *analysis.ReadyOptions) {
			(*k)[0].CapacityKilograms = -1
		},
		"tools[1].serial": func(_ *[]analysis.KitLine, s *[]analysis.TrackedTool, _ *analysis.ReadyOptions) { *s = append(*s, w) },
		"tools[0].time_zone": func(_ *[]analysis.KitLine, s *[]analysis.TrackedTool, _ *analysis.ReadyOptions) {
			(*s)[0].Due.Location = nil
		},
		"site": func(_ *[]analysis.KitLine, _ *[]analysis.TrackedTool, o *analysis.ReadyOptions) { o.Site = "" },
		"finish": func(_ *[]analysis.KitLine, _ *[]analysis.TrackedTool, o *analysis.ReadyOptions) {
			o.Finish = "2026-02-30"
		},
	} {
		kit, tools, o := []analysis.KitLine{good}, []analysis.TrackedTool{w}, readyOptions(t)
		spoil(&kit, &tools, &o)
		_, err := analysis.Ready(kit, tools, o)
		wrongField(t, field, err)
	}
	o := readyOptions(t)
	o.Finish = "2026-03-01"
	_, err := analysis.Ready([]analysis.KitLine{good}, []analysis.TrackedTool{w}, o)
	wrongField(t, "finish", err)
}
