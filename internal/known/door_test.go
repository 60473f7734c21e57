package known_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
)

// What speaks against a loan of the wrench of site(), which ab's colleague mk has: worked
// out by hand from what each case says.
func TestAtDoor(t *testing.T) {
	back := custody(1, -2, ledger.CustodyReturned)
	hold := &ledger.Hold{Entry: entry(2, -1), Action: ledger.HoldPlaced, Tool: "W1", Site: "HAR"}
	for name, tc := range map[string]struct {
		change func(*carried)
		before []ledger.Record
		now    time.Time
		want   []analysis.RefusalReason
	}{
		"lent already":           {nil, nil, noon, []analysis.RefusalReason{analysis.RefusedLent}},
		"taken back here":        {nil, []ledger.Record{back}, noon, nil},
		"held here":              {nil, []ledger.Record{back, hold}, noon, []analysis.RefusalReason{analysis.RefusedHeld}},
		"dropped here":           {nil, []ledger.Record{custody(3, -3, ledger.CustodyDropped), back}, noon, []analysis.RefusalReason{analysis.RefusedDue}},
		"past due":               {func(c *carried) { c.tool.Tool.IntervalCycles = 30 }, []ledger.Record{back}, noon, []analysis.RefusalReason{analysis.RefusedDue}},
		"lent by a clock ahead":  {nil, []ledger.Record{back, custody(4, 1, ledger.CustodyLost)}, hours(2), []analysis.RefusalReason{analysis.RefusedLost}},
		"lost after that moment": {nil, []ledger.Record{back, custody(4, 1, ledger.CustodyLost)}, noon, nil},
	} {
		c := site()
		if tc.change != nil {
			tc.change(c)
		}
		loan := custody(9, 0, ledger.CustodyIssued)
		loan.Holder = "ab"
		tool, ok := known.AtDoor(c, loan, tc.before, tc.now)
		if !ok {
			t.Fatalf("%s: the tool is not known", name)
		}
		refusals, err := tool.LendingRefusals("HAR", noon)
		var got []analysis.RefusalReason
		for _, r := range refusals {
			got = append(got, r.Reason)
		}
		if err != nil || !slices.Equal(got, tc.want) {
			t.Errorf("%s: %+v, %v; expected %v", name, refusals, err, tc.want)
		}
	}
	loan := custody(9, 0, ledger.CustodyIssued)
	loan.Tool = "W2"
	if _, ok := known.AtDoor(site(), loan, nil, noon); ok {
		t.Error("a tool that nobody knows is at the door")
	}
}

// A technician decides nothing; a crib attendant lets a tool pass, and releases no hold.
func TestWhoMay(t *testing.T) {
	for role, want := range map[ledger.Role][2]bool{
		ledger.RoleTechnician: {false, false}, ledger.RoleCrib: {false, true}, ledger.RoleSiteLead: {true, true},
		ledger.RoleQuality: {true, true}, ledger.RoleRegionalManager: {true, true}, ledger.RoleAdministrator: {true, true},
	} {
		p := ledger.Person{ID: "ab", Roles: []ledger.Role{role}}
		decide, pass := known.MayDecide(p), known.MayLetPass(p)
		if (decide == nil) != want[0] || (pass == nil) != want[1] {
			t.Errorf("%s: %v, %v", ledger.Roles.Name(role), decide, pass)
		}
		if decide != nil && !strings.HasPrefix(decide.Error(), "ab has no role that may decide this; it takes one of site-lead, quality,") {
			t.Error(decide)
		}
	}
}

// What a change of custody names besides its tool is known or is missing.
func TestMissingPeopleOfALoan(t *testing.T) {
	loan := custody(9, 0, ledger.CustodyIssued)
	loan.Holder, loan.OverrideBy = "zz", "mk"
	if got := known.Missing(site(), loan); !slices.Equal(got, []string{"people/zz"}) {
		t.Errorf("%q", got)
	}
}
