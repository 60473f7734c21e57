package analysis_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// Worked by hand: wrenches calibrated on 10 January 2026, 09:00; the moment is 2
// March 2026, 07:00, at RVB.
func TestLendingRefusals(t *testing.T) {
	asOf := at(t, "2026-03-02T07:00:00Z")
	wrench := func(changes ...func(*analysis.TrackedTool)) analysis.TrackedTool {
		w := trackedWrench(t, "TW-1", 100)
		w.Due.Tool.IntervalMonths = 12
		for _, change := range changes {
			change(&w)
		}
		return w
	}
	custody := func(kind ledger.CustodyKind, site, holder string) func(*analysis.TrackedTool) {
		return func(w *analysis.TrackedTool) {
			w.Custody = &analysis.ToolCustody{Kind: kind, Site: site, Holder: holder, Since: at(t, "2026-02-20T09:00:00Z")}
		}
	}
	held := func(w *analysis.TrackedTool) {
		w.Holds = []analysis.ToolHold{{ID: uuid.New(), Since: at(t, "2026-02-25T09:00:00Z"), Reason: "clicks late"}}
	}
	inspected := func(w *analysis.TrackedTool) {
		w.Policies = []ledger.Policy{{Action: ledger.ActionProofTest, Months: 1}, {Action: ledger.ActionPreUseCheck, EachShift: true}}
		w.Done = []analysis.ActionDone{{Action: ledger.ActionProofTest, At: at(t, "2026-01-10T09:00:00Z")}}
	}
	checked := func(action ledger.PolicyAction, failed bool, when string) func(*analysis.TrackedTool) {
		return func(w *analysis.TrackedTool) {
			w.Done = append(w.Done, analysis.ActionDone{Action: action, At: at(t, when), Failed: failed})
		}
	}
	today, later := "2026-03-02T06:00:00Z", "2026-03-02T06:30:00Z"
	eachShift := func(w *analysis.TrackedTool) {
		w.Policies = []ledger.Policy{{Action: ledger.ActionPreUseCheck, EachShift: true}}
	}
	for what, c := range map[string]struct {
		tool analysis.TrackedTool
		want []analysis.RefusalReason
	}{
		"failed a check that no policy asks for": {wrench(checked(ledger.ActionPreUseCheck, true, today)), []analysis.RefusalReason{analysis.RefusedFailed}},
		"failed the check for the shift":         {wrench(eachShift, checked(ledger.ActionPreUseCheck, true, today)), []analysis.RefusalReason{analysis.RefusedFailed}},
		"passed it after that":                   {wrench(checked(ledger.ActionPreUseCheck, true, today), checked(ledger.ActionPreUseCheck, false, later)), nil},
		"passed another after that":              {wrench(checked(ledger.ActionProofTest, true, today), checked(ledger.ActionPreUseCheck, false, later)), []analysis.RefusalReason{analysis.RefusedFailed}},
		"calibrated after that":                  {wrench(checked(ledger.ActionPreUseCheck, true, "2026-01-10T08:59:59Z")), nil},
		"passed a check":                         {wrench(checked(ledger.ActionPreUseCheck, false, today)), nil},
		"fit":                                    {wrench(), nil},
		"taken back":                             {wrench(custody(ledger.CustodyReturned, "RVB", "")), nil},
		"due tomorrow":                           {wrench(func(w *analysis.TrackedTool) { w.Due.Tool.IntervalMonths = 2 }), nil},
		"past due":                               {wrench(func(w *analysis.TrackedTool) { w.Due.Tool.IntervalMonths = 1 }), []analysis.RefusalReason{analysis.RefusedDue}},
		"never calibrated":                       {wrench(func(w *analysis.TrackedTool) { w.Due.Last = nil }), []analysis.RefusalReason{analysis.RefusedNeverDone}},
		"held":                                   {wrench(held), []analysis.RefusalReason{analysis.RefusedHeld}},
		"lent and held":                          {wrench(held, custody(ledger.CustodyIssued, "RVB", "ab")), []analysis.RefusalReason{analysis.RefusedHeld, analysis.RefusedLent}},
		"lost":                                   {wrench(custody(ledger.CustodyLost, "RVB", "")), []analysis.RefusalReason{analysis.RefusedLost}},
		"on its way":                             {wrench(custody(ledger.CustodySent, "RVB", "")), []analysis.RefusalReason{analysis.RefusedAway}},
		"elsewhere":                              {wrench(custody(ledger.CustodyReceived, "LKS", "")), []analysis.RefusalReason{analysis.RefusedElsewhere}},
		"proof test due, no check for the shift": {wrench(inspected), []analysis.RefusalReason{analysis.RefusedDue}},
	} {
		refusals, err := c.tool.LendingRefusals("RVB", asOf)
		var got []analysis.RefusalReason
		for _, r := range refusals {
			got = append(got, r.Reason)
		}
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: %+v, %v; expected %v", what, refusals, err, c.want)
		}
	}
	if err := analysis.LendingError("TW-1", "ab", nil); err != nil {
		t.Error(err)
	}
	w, err := analysis.WhereaboutsOf(wrench(held, custody(ledger.CustodyDropped, "RVB", "ab")), asOf)
	if err != nil || w.Station != analysis.Lent || w.Holder != "ab" || len(w.Refusals) != 1 || w.NextDue == nil || !w.NextDue.DueAt.Equal(at(t, "2027-01-10T23:59:59Z")) {
		t.Errorf("%+v, %v", w, err)
	}
	for kind, want := range map[ledger.CustodyKind]analysis.ToolStation{
		ledger.CustodyReturned: analysis.InCrib, ledger.CustodySent: analysis.InTransit, ledger.CustodyLost: analysis.Lost, ledger.CustodyRepaired: analysis.InCrib,
	} {
		if w, err := analysis.WhereaboutsOf(wrench(custody(kind, "RVB", "")), asOf); err != nil || w.Station != want {
			t.Errorf("%s: %+v, %v", ledger.CustodyKinds.Name(kind), w, err)
		}
	}
}

// What Due says of calibrations, TrackedDue says too, and adds the other actions.
func TestTrackedDueAgreesWithDue(t *testing.T) {
	asOf := at(t, "2026-03-02T07:00:00Z")
	var tools []analysis.TrackedTool
	var inputs []analysis.DueInput
	for months, serial := range []string{"A", "B", "C", "D"} {
		w := trackedWrench(t, serial, 100)
		w.Due.Tool.IntervalMonths = months
		if serial == "D" {
			w.Due.Last = nil
		}
		tools, inputs = append(tools, w), append(inputs, w.Due)
	}
	tools[1].Policies = []ledger.Policy{{Action: ledger.ActionPeriodicInspection, Days: 7}, {Action: ledger.ActionPreUseCheck, EachShift: true}}
	tools[1].Done = []analysis.ActionDone{{Action: ledger.ActionPeriodicInspection, At: at(t, "2026-02-27T09:00:00Z")}}
	want, err := analysis.Due(inputs, asOf, 30*24*time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	for _, shift := range []bool{false, true} {
		got, err := analysis.TrackedDue(tools, analysis.DueQuestion{AsOf: asOf, Within: 30 * 24 * time.Hour, ShiftChecks: shift})
		if err != nil {
			t.Fatal(err)
		}
		var calibrations, others []analysis.DueItem
		for _, item := range got {
			if item.Action == ledger.ActionCalibration {
				calibrations = append(calibrations, item)
			} else {
				others = append(others, item)
			}
		}
		if len(calibrations) != len(want) {
			t.Fatalf("%d calibrations; expected %d", len(calibrations), len(want))
		}
		for i, c := range calibrations {
			if c.Tool.Serial != want[i].Tool.Serial || !c.DueAt.Equal(want[i].DueAt) || c.Reason != want[i].Reason || c.Detail != want[i].Detail || c.PastDue != want[i].PastDue {
				t.Errorf("%+v; expected %+v", c, want[i])
			}
		}
		// Seven days from 27 February 2026 end with 6 March.
		i := slices.IndexFunc(others, func(d analysis.DueItem) bool { return d.Reason == analysis.DueByDays })
		if i < 0 || !others[i].DueAt.Equal(at(t, "2026-03-06T23:59:59Z")) || len(others) != 1 && !shift || len(others) != 2 && shift {
			t.Errorf("shift checks %v: %+v", shift, others)
		}
	}
}
