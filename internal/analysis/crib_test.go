package analysis_test

import (
	"slices"
	"testing"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

func cribSerials(tools []analysis.CribTool) []string {
	var serials []string
	for _, t := range tools {
		serials = append(serials, t.Tool.Serial)
	}
	return serials
}

func refusalSerials(refusals []analysis.ToolRefusal) []string {
	var serials []string
	for _, r := range refusals {
		serials = append(serials, r.Serial)
	}
	return serials
}

// Worked by hand for Monday 2 March 2026, 07:00 at RVB; calibrations of 10
// January. Fourteen days reach to the end of 16 March.
func TestCribPage(t *testing.T) {
	custody := func(kind ledger.CustodyKind, site, holder, since string) *analysis.ToolCustody {
		return &analysis.ToolCustody{Kind: kind, Site: site, Holder: holder, Since: at(t, since)}
	}
	tool := func(serial string, months int, c *analysis.ToolCustody) analysis.TrackedTool {
		w := trackedWrench(t, serial, 100)
		w.Due.Tool.IntervalMonths, w.Custody = months, c
		return w
	}
	good := tool("GOOD", 12, nil)
	back := tool("BACK", 12, custody(ledger.CustodyReturned, "RVB", "", "2026-03-02T06:40:00Z"))
	late := tool("LATE", 1, nil)
	soon := tool("SOON", 2, nil) // due on 10 March
	out := tool("OUT", 1, custody(ledger.CustodyIssued, "RVB", "m.ortega", "2026-02-20T09:00:00Z"))
	out.Custody.ExpectedBack = at(t, "2026-03-01T17:00:00Z")
	longer := tool("LONGER", 12, custody(ledger.CustodyIssued, "RVB", "j.weir", "2026-02-01T09:00:00Z"))
	held := tool("HELD", 12, nil)
	held.Holds = []analysis.ToolHold{{ID: uuid.New(), Since: at(t, "2026-02-25T09:00:00Z"), Reason: "dropped"}}
	lost := tool("LOST", 12, custody(ledger.CustodyLost, "RVB", "", "2026-02-11T09:00:00Z"))
	elsewhere := tool("ELSEWHERE", 12, custody(ledger.CustodyReceived, "LKS", "", "2026-02-11T09:00:00Z"))
	guest := tool("GUEST", 12, custody(ledger.CustodyReceived, "RVB", "", "2026-02-11T09:00:00Z"))
	guest.Due.Tool.HomeSite = "LKS"
	stranger := tool("STRANGER", 1, nil)
	stranger.Due.Tool.HomeSite = "LKS"
	harness := analysis.TrackedTool{
		Due:      analysis.DueInput{Tool: ledger.Tool{Serial: "HN1", Kind: ledger.ToolHarness, HomeSite: "RVB"}, Location: zone(t, "Europe/Dublin")},
		Policies: []ledger.Policy{{Action: ledger.ActionPreUseCheck, EachShift: true}},
	}
	unsafe := tool("UNSAFE", 12, nil)
	unsafe.Done = []analysis.ActionDone{{Action: ledger.ActionPreUseCheck, At: at(t, "2026-03-02T06:50:00Z"), Failed: true}}
	in := analysis.CribInput{
		Site: "RVB", Location: zone(t, "Europe/Dublin"), AsOf: at(t, "2026-03-02T07:00:00Z"),
		Tools: []analysis.TrackedTool{soon, late, back, good, out, longer, held, lost, elsewhere, guest, stranger, harness, unsafe},
		Gaps:  []analysis.CoverageGap{{Site: "LKS"}, {Site: "RVB", From: "2026-03-11"}},
	}
	page, err := analysis.Crib(in)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ got, want []string }{
		"to lend":        {cribSerials(page.ToLend), []string{"BACK", "GOOD", "GUEST", "SOON", "HN1"}},
		"not to lend":    {refusalSerials(page.NotToLend), []string{"LATE", "UNSAFE"}},
		"out":            {cribSerials(page.Out), []string{"LONGER", "OUT"}},
		"back today":     {cribSerials(page.BackToday), []string{"BACK"}},
		"expected today": {cribSerials(page.ExpectedToday), []string{"OUT"}},
		"away":           {refusalSerials(page.Away), []string{"ELSEWHERE", "LOST"}},
		"before use":     {page.BeforeUse, []string{"HN1"}},
		"on hold":        {cribSerials(page.OnHold), []string{"HELD"}},
	} {
		if !slices.Equal(c.got, c.want) {
			t.Errorf("%s: %v; expected %v", name, c.got, c.want)
		}
	}
	var dueSerials []string
	for _, i := range page.Due {
		dueSerials = append(dueSerials, i.Tool.Serial)
	}
	if !slices.Equal(dueSerials, []string{"LATE", "OUT", "SOON"}) {
		t.Errorf("due: %v", dueSerials)
	}
	if page.Day != "2026-03-02" || len(page.Gaps) != 1 || page.Gaps[0].From != "2026-03-11" {
		t.Errorf("%s %+v", page.Day, page.Gaps)
	}
	if o := page.Out[1]; o.Holder != "m.ortega" || !o.Since.Equal(at(t, "2026-02-20T09:00:00Z")) ||
		o.Note != "OUT: calibration past due since 2026-02-10 (1 month since the calibration on 2026-01-10 end on 2026-02-10); call it in." {
		t.Errorf("%+v", o)
	}
	if h := page.OnHold[0]; h.Note != "HELD: on hold since 2026-02-25: dropped." {
		t.Errorf("%+v", h)
	}
	if next := page.ToLend[1].NextDue; !next.Equal(at(t, "2027-01-10T23:59:59Z")) {
		t.Errorf("next due %s", next)
	}
	in.DueWithinDays = 7 // to the end of 9 March
	if page, err = analysis.Crib(in); err != nil || len(page.Due) != 2 {
		t.Errorf("%v %+v", err, page.Due)
	}
}

func TestCribQuestionsThatAreWrong(t *testing.T) {
	for field, spoil := range map[string]func(*analysis.CribInput){
		"site":            func(in *analysis.CribInput) { in.Site = "" },
		"time_zone":       func(in *analysis.CribInput) { in.Location = nil },
		"due_within_days": func(in *analysis.CribInput) { in.DueWithinDays = -1 },
		"tools[0].serial": func(in *analysis.CribInput) { in.Tools = []analysis.TrackedTool{trackedWrench(t, "", 100)} },
	} {
		in := analysis.CribInput{Site: "RVB", Location: zone(t, "Europe/Dublin"), AsOf: at(t, "2026-03-02T07:00:00Z")}
		spoil(&in)
		_, err := analysis.Crib(in)
		wrongField(t, field, err)
	}
}
