package analysis_test

import (
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

func policyItems(t *testing.T, in analysis.PolicyInput, asOf string, within time.Duration) []analysis.PolicyItem {
	t.Helper()
	if in.Location == nil {
		in.Location = zone(t, "Europe/Dublin")
	}
	if in.Tool.Serial == "" {
		in.Tool = ledger.Tool{Serial: "S1", Kind: ledger.ToolSling, HomeSite: "RVB"}
	}
	items, err := analysis.PolicyDue([]analysis.PolicyInput{in}, at(t, asOf), within)
	if err != nil {
		t.Fatal(err)
	}
	return items
}

func doneAt(t *testing.T, action ledger.PolicyAction, when string) analysis.ActionDone {
	t.Helper()
	return analysis.ActionDone{Action: action, At: at(t, when)}
}

// Worked by hand. Month arithmetic clamps (31 August and six months end on 28
// February 2026); seven days from 10 February end on 17 February; the day ends
// at 23:59:59 in Dublin, which is on UTC in winter.
func TestPolicyIntervals(t *testing.T) {
	for name, c := range map[string]struct {
		policy ledger.Policy
		done   string
		due    string
		reason analysis.PolicyReason
		detail string
	}{
		"months clamp": {
			ledger.Policy{Action: ledger.ActionPeriodicInspection, Months: 6}, "2025-08-31T10:00:00Z", "2026-02-28T23:59:59Z",
			analysis.PolicyByMonths, "6 months since the periodic inspection on 2025-08-31 end on 2026-02-28.",
		},
		"days": {
			ledger.Policy{Action: ledger.ActionPreUseCheck, Days: 7}, "2026-02-10T07:00:00Z", "2026-02-17T23:59:59Z",
			analysis.PolicyByDays, "7 days since the check before use on 2026-02-10 end on 2026-02-17.",
		},
		"the earlier of two": {
			ledger.Policy{Action: ledger.ActionProofTest, Months: 1, Days: 20}, "2026-02-05T07:00:00Z", "2026-02-25T23:59:59Z",
			analysis.PolicyByDays, "20 days since the proof test on 2026-02-05 end on 2026-02-25.",
		},
	} {
		in := analysis.PolicyInput{Policies: []ledger.Policy{c.policy}, Done: []analysis.ActionDone{doneAt(t, c.policy.Action, c.done)}}
		items := policyItems(t, in, "2026-02-12T00:00:00Z", 60*days)
		if len(items) != 1 || !items[0].DueAt.Equal(at(t, c.due)) || items[0].Reason != c.reason || items[0].Detail != c.detail || items[0].PastDue {
			t.Errorf("%s: %+v", name, items)
		}
		if items := policyItems(t, in, "2026-02-12T00:00:00Z", days); len(items) != 0 {
			t.Errorf("%s: due within a day: %+v", name, items)
		}
		if items := policyItems(t, in, "2026-03-02T00:00:00Z", 0); len(items) != 1 || !items[0].PastDue {
			t.Errorf("%s: not past due in March: %+v", name, items)
		}
	}
}

func TestPolicyWithoutAnythingDone(t *testing.T) {
	in := analysis.PolicyInput{Policies: []ledger.Policy{
		{Action: ledger.ActionPeriodicInspection, Months: 12},
		{Action: ledger.ActionProofTest, AfterEvent: true},
	}}
	items := policyItems(t, in, "2026-02-12T08:00:00Z", 0)
	if len(items) != 1 || items[0].Action != ledger.ActionPeriodicInspection || items[0].Reason != analysis.PolicyNeverDone {
		t.Fatalf("%+v; an action that only an event makes due waits for one", items)
	}
	in.Events = []analysis.Event{{At: at(t, "2026-02-11T09:00:00Z"), Custody: ledger.CustodyOverloaded}}
	items = policyItems(t, in, "2026-02-12T08:00:00Z", 0)
	if len(items) != 2 || items[0].Action != ledger.ActionProofTest || items[0].Reason != analysis.PolicyByEvent || !items[0].PastDue {
		t.Fatalf("%+v", items)
	}
	if want := "Overloaded on 2026-02-11, with no proof test on record."; items[0].Detail != want {
		t.Errorf("%q; expected %q", items[0].Detail, want)
	}
}

// An event counts for each action until that action is done again.
func TestPolicyEventIsCountedByAction(t *testing.T) {
	in := analysis.PolicyInput{
		Policies: []ledger.Policy{
			{Action: ledger.ActionCalibration, AfterEvent: true},
			{Action: ledger.ActionPeriodicInspection, AfterEvent: true},
		},
		Done: []analysis.ActionDone{
			doneAt(t, ledger.ActionCalibration, "2026-01-20T08:00:00Z"),
			doneAt(t, ledger.ActionPeriodicInspection, "2026-01-10T08:00:00Z"),
		},
		Events: []analysis.Event{
			{At: at(t, "2026-01-15T08:00:00Z"), Kind: ledger.DroppedTool},
			{At: at(t, "2026-01-16T08:00:00Z"), Kind: ledger.DroppedTool},
		},
	}
	items := policyItems(t, in, "2026-02-01T00:00:00Z", 0)
	if len(items) != 1 || items[0].Action != ledger.ActionPeriodicInspection || !items[0].DueAt.Equal(at(t, "2026-01-15T08:00:00Z")) {
		t.Fatalf("%+v", items)
	}
	if want := "Dropped on 2026-01-15, after the periodic inspection on 2026-01-10, and 1 more such event after that."; items[0].Detail != want {
		t.Errorf("%q; expected %q", items[0].Detail, want)
	}
}

func TestPolicyFailedStaysDueUntilPassed(t *testing.T) {
	failed := doneAt(t, ledger.ActionPeriodicInspection, "2026-01-10T08:00:00Z")
	failed.Failed = true
	in := analysis.PolicyInput{
		Policies: []ledger.Policy{{Action: ledger.ActionPeriodicInspection, Months: 12}},
		Done:     []analysis.ActionDone{failed, doneAt(t, ledger.ActionPeriodicInspection, "2025-12-01T08:00:00Z")},
	}
	items := policyItems(t, in, "2026-02-01T00:00:00Z", 0)
	if len(items) != 1 || items[0].Reason != analysis.PolicyFailed || !items[0].DueAt.Equal(failed.At) {
		t.Fatalf("%+v", items)
	}
	in.Done = append(in.Done, doneAt(t, ledger.ActionPeriodicInspection, "2026-01-12T08:00:00Z"))
	if items := policyItems(t, in, "2026-02-01T00:00:00Z", 0); len(items) != 0 {
		t.Errorf("passed since, yet %+v", items)
	}
}

// 29 CFR 1926.451(f)(3), as trade.md H has it: a scaffold before each shift and
// after any event.
func TestEachShift(t *testing.T) {
	scaffold := analysis.DefaultPolicies(ledger.ToolScaffold)
	if len(scaffold) != 1 {
		t.Fatalf("%+v", scaffold)
	}
	in := analysis.PolicyInput{
		Policies: []ledger.Policy{scaffold[0].Policy},
		Shift:    analysis.Shift{Start: at(t, "2026-02-12T07:00:00Z"), End: at(t, "2026-02-12T15:00:00Z")},
		Done:     []analysis.ActionDone{doneAt(t, ledger.ActionPreUseCheck, "2026-02-12T06:30:00Z")},
	}
	item := func() analysis.PolicyItem {
		t.Helper()
		items := policyItems(t, in, "2026-02-12T09:00:00Z", days)
		if len(items) != 1 {
			t.Fatalf("%+v", items)
		}
		return items[0]
	}
	if i := item(); !i.BeforeUse || !i.PastDue || !i.DueAt.Equal(in.Shift.Start) {
		t.Errorf("checked before the shift, not in it: %+v", i)
	}
	in.Done[0].At = at(t, "2026-02-12T07:00:00Z")
	if i := item(); !i.BeforeUse || i.PastDue || !i.DueAt.Equal(in.Shift.End) {
		t.Errorf("checked at the start of the shift: %+v", i)
	}
	in.Events = []analysis.Event{{At: at(t, "2026-02-12T08:00:00Z"), Kind: ledger.NearMiss}}
	if i := item(); i.BeforeUse || i.Reason != analysis.PolicyByEvent || !i.PastDue {
		t.Errorf("an event after the check: %+v", i)
	}
	// Of no known shift the local day: 23:30 UTC on the 11th is the 12th in Berlin.
	in.Events, in.Shift, in.Location = nil, analysis.Shift{}, zone(t, "Europe/Berlin")
	in.Done[0].At = at(t, "2026-02-11T23:30:00Z")
	if i := item(); i.PastDue || !i.DueAt.Equal(at(t, "2026-02-12T23:00:00Z")) {
		t.Errorf("checked on the local day: %+v", i)
	}
}

// What the tool itself carries and the same as a policy give the same day, by
// the same reason.
func TestPolicyDueAgreesWithDue(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 7))
	asOf, dublin := at(t, "2026-06-01T12:00:00Z"), zone(t, "Europe/Dublin")
	reasons := map[analysis.DueReason]analysis.PolicyReason{
		analysis.DueByMonths: analysis.PolicyByMonths, analysis.DueByCycles: analysis.PolicyByCycles,
		analysis.DueByEvent: analysis.PolicyByEvent, analysis.DueNeverCalibrated: analysis.PolicyNeverDone,
	}
	seen := map[analysis.PolicyReason]int{}
	for range 500 {
		in := analysis.DueInput{Tool: wrench("W1", r.IntN(3)*6, r.IntN(3)*500), Location: dublin}
		in.Tool.DueAfterEvent = r.IntN(2) == 0
		p := analysis.PolicyInput{Tool: in.Tool, Location: dublin, Policies: analysis.PoliciesOf(in.Tool)}
		start := asOf.Add(-time.Duration(r.IntN(500)+1) * days)
		if r.IntN(5) > 0 {
			in.Last = calibration(t, start.Format(time.RFC3339))
			p.Done = []analysis.ActionDone{{Action: ledger.ActionCalibration, At: in.Last.OccurTime}}
		}
		for at := start.Add(time.Hour); at.Before(asOf); at = at.Add(time.Duration(1+r.IntN(40)) * days) {
			in.Uses = append(in.Uses, analysis.Use{At: at, Fasteners: int64(r.IntN(60))})
		}
		if r.IntN(8) == 0 {
			in.Events = []analysis.Event{{At: start.Add(2 * time.Hour), Custody: ledger.CustodyDropped}}
		}
		p.Uses, p.Events = in.Uses, in.Events
		want, err := analysis.Due([]analysis.DueInput{in}, asOf, 90*days)
		if err != nil {
			t.Fatal(err)
		}
		got, err := analysis.PolicyDue([]analysis.PolicyInput{p}, asOf, 90*days)
		if err != nil || len(got) != len(want) {
			t.Fatalf("%v: %+v; expected %+v", err, got, want)
		}
		if len(want) == 1 {
			seen[got[0].Reason]++
			if !got[0].DueAt.Equal(want[0].DueAt) || got[0].Reason != reasons[want[0].Reason] || got[0].PastDue != want[0].PastDue || got[0].Forecast != want[0].Forecast {
				t.Fatalf("%+v; expected %+v", got[0], want[0])
			}
		}
	}
	if len(seen) != 4 {
		t.Errorf("only reasons %v came up", seen)
	}
}

func TestPoliciesThatAreWrong(t *testing.T) {
	for field, policies := range map[string][]ledger.Policy{
		"policies[0].action":     {{Months: 12}},
		"policies[1].action":     {{Action: ledger.ActionProofTest, Months: 12}, {Action: ledger.ActionProofTest, Days: 7}},
		"policies[0].months":     {{Action: ledger.ActionProofTest, Months: -1}},
		"policies[0].days":       {{Action: ledger.ActionProofTest, Days: 5000}},
		"policies[0].cycles":     {{Action: ledger.ActionCalibration, Cycles: -5}},
		"policies[0].each_shift": {{Action: ledger.ActionCalibration, EachShift: true}},
	} {
		wrongField(t, field, analysis.CheckPolicies(policies))
	}
	wrongField(t, "policies[0].action", analysis.CheckPolicies([]ledger.Policy{{Action: ledger.ActionProofTest}}))
	in := analysis.PolicyInput{
		Tool: ledger.Tool{Serial: "S1"}, Location: time.UTC, Policies: []ledger.Policy{{Action: ledger.ActionProofTest, Months: 12}},
		Done: []analysis.ActionDone{{Action: ledger.ActionProofTest, At: at(t, "2026-02-02T00:00:00Z")}},
	}
	_, err := analysis.PolicyDue([]analysis.PolicyInput{in}, at(t, "2026-02-01T00:00:00Z"), 0)
	wrongField(t, "done[0].at", err)
}

func wrongField(t *testing.T, field string, err error) {
	t.Helper()
	var e *ledger.Error
	if !errors.As(err, &e) || e.Kind != ledger.KindInvalid || len(e.Fields) != 1 || e.Fields[0].Field != field {
		t.Errorf("%v; expected one wrong field, %s", err, field)
	}
}

// trade.md F and H: intervals and clauses, with their marks.
func TestPolicyDefaults(t *testing.T) {
	for _, c := range []struct {
		kind   ledger.ToolKind
		action ledger.PolicyAction
		want   ledger.Policy
		source string
	}{
		{ledger.ToolTorqueWrench, ledger.ActionCalibration, ledger.Policy{Months: 12, Cycles: 5000, AfterEvent: true}, "ISO 6789"},
		{ledger.ToolDialIndicator, ledger.ActionCalibration, ledger.Policy{Months: 12, AfterEvent: true}, "common practice, no source"},
		{ledger.ToolHoist, ledger.ActionPeriodicInspection, ledger.Policy{Months: 12, AfterEvent: true}, "ASME B30.16, periodic inspection (from memory)"},
		{ledger.ToolHoist, ledger.ActionPreUseCheck, ledger.Policy{Months: 1}, "ASME B30.16, frequent inspection (seen)"},
		{ledger.ToolSling, ledger.ActionPreUseCheck, ledger.Policy{EachShift: true}, "29 CFR, 1926.251(a)(6) (seen)"},
		{ledger.ToolSling, ledger.ActionPeriodicInspection, ledger.Policy{Months: 12, AfterEvent: true}, "29 CFR, 1910.184(e)(3) (seen)"},
		{ledger.ToolHarness, ledger.ActionPreUseCheck, ledger.Policy{EachShift: true}, "29 CFR, 1926.502(d)(21) (seen)"},
		{ledger.ToolHarness, ledger.ActionPeriodicInspection, ledger.Policy{Months: 12, AfterEvent: true}, "ANSI/ASSP Z359.2 (from memory)"},
		{ledger.ToolScaffold, ledger.ActionPreUseCheck, ledger.Policy{EachShift: true, AfterEvent: true}, "29 CFR, 1926.451(f)(3) (seen)"},
	} {
		c.want.Action = c.action
		found := false
		for _, d := range analysis.DefaultPolicies(c.kind) {
			if d.Policy.Action == c.action {
				found = d.Policy == c.want && strings.Contains(d.Sources[0].String(), c.source)
			}
		}
		if !found {
			t.Errorf("%s: no default %+v from %s", ledger.ToolKinds.Name(c.kind), c.want, c.source)
		}
	}
	if d := analysis.DefaultPolicies(ledger.ToolImpactWrench); len(d) != 0 {
		t.Errorf("an impact wrench measures nothing: %+v", d)
	}
	for _, d := range analysis.PolicyDefaults() {
		if err := analysis.CheckPolicies([]ledger.Policy{d.Policy}); err != nil || d.Rule == "" || len(d.Sources) == 0 {
			t.Errorf("%+v: %v", d, err)
		}
		for _, s := range d.Sources {
			if s.Mark == "" || s.Title == "" && s.Mark != metrology.Practice {
				t.Errorf("%+v: a source without mark or title", d)
			}
		}
	}
	for k := ledger.ToolTorqueWrench; k <= ledger.ToolScaffold; k++ {
		var policies []ledger.Policy
		for _, d := range analysis.DefaultPolicies(k) {
			policies = append(policies, d.Policy)
		}
		if err := analysis.CheckPolicies(policies); err != nil {
			t.Errorf("%s: %v", ledger.ToolKinds.Name(k), err)
		}
	}
}
